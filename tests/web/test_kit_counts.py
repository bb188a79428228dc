"""Pages of kits ask a fixed number of queries, whatever the positions; ``tests/query_counts.json``.

The counts are of the whole request: session, person and roles are in them.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests.standing import Standing
from tests.web.kit_shop import KitShop, small_shop
from tests.world import World
from tooling.models import Kit, KitPosition, Person, Piece, SetPosition

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]
COUNTS: dict[str, int] = json.loads((Path(__file__).parents[1] / "query_counts.json").read_text())
PAGES = {
    "GET kit": "/kits/{kit}/",
    "GET kit, new to the screen": "/kits/{kit}/live/?v=0",
    "GET kit, nothing new": "/kits/{kit}/live/?v={version}",
    "GET shaft": "/kits/{kit}/stations/2/top/",
    "GET pull list": "/kits/{kit}/pull-list/",
    "GET kits": "/kits/",
    "GET today": "/today/",
}


@pytest.fixture(scope="module")
def standing_shop(standing: Standing) -> KitShop:
    return small_shop(World(at=timezone.now()))


@pytest.fixture(scope="module")
def standing_kit(standing_shop: KitShop, standing_cast: dict[str, Person]) -> Kit:
    return standing_shop.open(standing_cast["crew"])


@pytest.fixture
def shop(standing: Standing, standing_shop: KitShop) -> KitShop:
    return standing.copy(standing_shop)


@pytest.fixture
def kit(standing: Standing, standing_kit: Kit) -> Kit:
    return standing.copy(standing_kit)


def hold(kit: Kit, shop: KitShop, wanted: int) -> None:
    """Exactly this many positions: some taken away, or more of the same roll, bulk."""
    rows = list(kit.positions.order_by("-drawing__kind", "pk"))
    KitPosition.objects.filter(pk__in=[row.pk for row in rows[wanted:]]).delete()
    more = range(3, 3 + max(0, wanted - len(rows)))
    one = shop.pieces[(1, "top", 1)]
    places = SetPosition.objects.bulk_create(
        SetPosition(
            set_pass=shop.tool_set.passes.get(number=1), shaft="top", order=n, drawing=one.drawing
        )
        for n in more
    )
    pieces = Piece.objects.bulk_create(
        Piece(
            code=f"RX{n:06d}", mark=f"X{n}", drawing=one.drawing, revision=one.revision,
            owner=one.owner, place=shop.shelf, seen_at=shop.world.at,
        )
        for n in more
    )  # fmt: skip
    KitPosition.objects.bulk_create(
        KitPosition(
            kit=kit, set_position=at, station_number=2, pass_number=1, shaft="top",
            order=at.order, drawing=one.drawing, piece=piece,
        )
        for at, piece in zip(places, pieces, strict=True)
    )  # fmt: skip
    assert kit.positions.count() == wanted


@pytest.mark.parametrize("positions", [0, 1, 250])
@pytest.mark.parametrize("name", PAGES)
def test_queries_do_not_grow_with_positions(
    log_in: LogIn, crew: Person, shop: KitShop, kit: Kit, name: str, positions: int
) -> None:
    """One piece alone, or none, may ask less."""
    hold(kit, shop, positions)
    client = log_in(crew)
    url = PAGES[name].format(kit=kit.number, version=kit.version)
    client.get(url)
    with CaptureQueriesContext(connection) as asked:
        answer = client.get(url)
    assert answer.status_code in (200, 204)
    if positions > 1:
        assert len(asked) == COUNTS[name], [query["sql"][:90] for query in asked]
    else:
        assert len(asked) <= COUNTS[name]


def test_a_kit_in_every_trouble_stays_within_nineteen_queries(
    log_in: LogIn, crew: Person, shop: KitShop, kit: Kit
) -> None:
    hold(kit, shop, 250)
    lost = shop.world.place("Lost", kind="lost")
    grinder = shop.world.place("Grinding shop", kind="grinder")
    ids = list(kit.positions.exclude(piece=None).values_list("piece_id", flat=True))
    Piece.objects.filter(pk__in=ids[::4]).update(place=lost)
    Piece.objects.filter(pk__in=ids[1::4]).update(condition="hold", hold_reason="crack suspected")
    Piece.objects.filter(pk__in=ids[2::4]).update(place=grinder)
    kit.positions.filter(piece_id__in=ids[3::4][:9]).update(piece=None)
    client = log_in(crew)
    with CaptureQueriesContext(connection) as asked:
        answer = client.get(f"/kits/{kit.number}/")
    assert answer.content.count(b'data-state="missing"') > 60
    assert len(asked) <= 19


def test_a_poll_with_nothing_new_asks_at_most_three() -> None:
    assert COUNTS["GET kit, nothing new"] <= 3

"""A set is proved by a job that ran: its new pieces are sound, its chart holds, both on record."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from tests.rolling import Rolling
from tests.world import World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Job, Kit, Person, Piece, SetupChart
from tooling.queries.kits import kit_page
from tooling.services import kits, proving
from tooling.services.movements import move_pieces

NEW = ((1, "top", 1), (2, "bottom", 1))


@pytest.fixture
def shop(world: World) -> Rolling:
    shop = Rolling(world)
    Piece.objects.filter(pk__in=[shop.pieces[spot].pk for spot in NEW]).update(condition="new")
    return shop


def ran(shop: Rolling, crew: Person, **fields: object) -> Kit:
    """A kit whose job is over and whose pieces went home before it was closed."""
    kit = shop.stage(crew, shop.kit(crew, in_hours=-12, **fields))
    home = {"by": crew, "at": shop.world.at, "to": shop.rack}
    move_pieces(pieces=list(shop.pieces.values()), **home)
    return kits.close(by=crew, at=shop.world.at, kit=kit)


def conditions(shop: Rolling) -> list[str]:
    return [Piece.objects.get(pk=piece.pk).condition for piece in shop.pieces.values()]


def test_a_run_that_was_good_proves_new_pieces_and_the_chart(
    shop: Rolling, crew: Person, engineer: Person
) -> None:
    kit = ran(shop, crew)
    assert kit_page(kit.number, at=shop.world.at).new_pieces == 2
    assert proving.prove_set(by=engineer, at=shop.world.at, kit=kit, note="first coil good") == 2
    assert conditions(shop) == ["sound"] * 4
    assert (SetupChart.objects.get().state, kit_page(kit.number, at=shop.world.at).new_pieces) == (
        "proved", 0,
    )  # fmt: skip
    rows = Change.objects.filter(what="proved").values_list("subject", "reason")
    assert sorted(rows) == [
        ("Kit", "first coil good"), ("Piece", "first coil good"), ("Piece", "first coil good"),
        ("SetupChart", "first coil good"),
    ]  # fmt: skip
    with pytest.raises(ToolingError, match="proved_already"):
        proving.prove_set(by=engineer, at=shop.world.at, kit=kit)


def test_an_open_kit_and_a_job_that_did_not_run_prove_nothing(
    shop: Rolling, crew: Person, engineer: Person
) -> None:
    kit = shop.kit(crew)
    with pytest.raises(ToolingError, match="kit_is_open"):
        proving.prove_set(by=engineer, at=shop.world.at, kit=kit)
    closed = kits.close(by=crew, at=shop.world.at, kit=kit, reason="called off")
    with pytest.raises(ToolingError, match="job_not_run"):
        proving.prove_set(by=engineer, at=shop.world.at, kit=closed)
    assert "new" in conditions(shop)


def test_a_short_kit_proves_only_what_was_there(
    shop: Rolling, crew: Person, engineer: Person
) -> None:
    at, kit = shop.world.at, shop.kit(crew, in_hours=-12)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    came = [shop.pieces[1, "top", 1]]
    move_pieces(by=crew, at=at, pieces=came, to=shop.cart)
    move_pieces(by=crew, at=at, pieces=came, to=shop.rack)
    closed = kits.close(by=crew, at=at, kit=kit, reason="the rest from the other set")
    assert Job.objects.get().state == "done"
    assert proving.prove_set(by=engineer, at=at, kit=closed) == 1
    assert Piece.objects.get(pk=shop.pieces[2, "bottom", 1].pk).condition == "new"


def test_a_kit_says_how_many_of_it_are_new(shop: Rolling, crew: Person) -> None:
    page = kit_page(shop.kit(crew).number, at=shop.world.at)
    assert (page.new_pieces, "2 new, not proved yet" in page.header) == (2, True)
    assert [v.pass_number for v in page.positions if v.is_new] == [1, 2]


def test_crew_proves_nothing(shop: Rolling, crew: Person) -> None:
    with pytest.raises(NotAllowed):
        proving.prove_set(by=crew, at=shop.world.at, kit=ran(shop, crew))


def test_the_kits_page_and_the_api_prove_it(
    shop: Rolling, crew: Person, engineer: Person, client: Client, api_as: Any
) -> None:
    kit = ran(shop, crew)
    url = f"/api/v1/kits/{kit.number}/prove/"
    assert api_as(crew).post(url, {}, format="json").json()["code"] == "not_allowed"
    client.force_login(engineer, backend="django.contrib.auth.backends.ModelBackend")
    assert b"2 new pieces, not proved yet" in client.get(f"/kits/{kit.number}/").content
    client.post(f"/kits/{kit.number}/prove/", {"note": "good"})
    assert conditions(shop) == ["sound"] * 4
    again = client.post(f"/kits/{kit.number}/prove/", {"note": "good"})
    assert (again.status_code, b'data-code="proved_already"' in again.content) == (409, True)
    refused = api_as(engineer).post(url, {}, format="json")
    assert (refused.status_code, refused.json()["code"]) == (409, "proved_already")
    Piece.objects.filter(pk=shop.pieces[NEW[0]].pk).update(condition="new")
    told = api_as(engineer).post(url, {"note": "again"}, format="json").json()
    assert {row["is_new"] for row in told["positions"]} == {False}

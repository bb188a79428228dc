"""Scans that cannot both be right: kept and listed; until somebody has looked, the rule holds."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.services.counting import see
from tests.services.scanning import a_scan, put, send
from tests.world import World
from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import Contradiction, Movement, Person
from tooling.queries.contradictions import contrary_page, open_rows
from tooling.services import counts
from tooling.services.contradictions import settle
from tooling.services.rebuild import differences
from tooling.services.scans import record_batch

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def racks(world):
    return [world.place(f"Rack {n}") for n in range(3)]


@pytest.fixture
def piece(world, racks):
    return world.piece(world.drawing("D1"), racks[0])


def from_device(name: str, by: Person, at, scan):
    return record_batch(by=by, at=at, device=name, device_now=at, scans=[scan])[0]


def found() -> list[tuple[str, str]]:
    return [(row.kind, row.piece) for row in contrary_page().open]


# ---- two places


def test_two_devices_that_put_one_piece_in_two_places_at_once(racks, piece, attendant, at) -> None:
    from_device("phone", attendant, at, a_scan(piece.code, racks[1].code, at=at))
    later = at + MINUTE
    from_device("tablet", attendant, later, a_scan(piece.code, racks[2].code, at=later))
    assert found() == [("places", piece.code)]
    piece.refresh_from_db()
    assert piece.place == racks[2]
    said = contrary_page().open[0].said
    assert [(each.place, each.device) for each in said] == [
        (racks[1].code, "phone"), (racks[2].code, "tablet"),
    ]  # fmt: skip


def test_so_too_where_the_earlier_of_the_two_comes_late(racks, piece, attendant, at) -> None:
    from_device("tablet", attendant, at, a_scan(piece.code, racks[2].code, at=at))
    early = a_scan(piece.code, racks[1].code, at=at - MINUTE)
    from_device("phone", attendant, at + 30 * MINUTE, early)
    assert found() == [("places", piece.code)]
    piece.refresh_from_db()
    assert piece.place == racks[2]


@pytest.mark.parametrize(
    ("second", "minutes", "kind"),
    [("phone", 1, "rack"), ("tablet", 3, "rack"), ("tablet", 1, "cart"), ("tablet", 1, "person")],
)
def test_what_happens_every_day_is_no_contradiction(
    world, racks, piece, attendant, at, second, minutes, kind
) -> None:
    """The same hand, a while later, or a cart that is loaded and unloaded."""
    other = world.place("Other", kind=kind)
    from_device("phone", attendant, at, a_scan(piece.code, other.code, at=at))
    then = at + minutes * MINUTE
    from_device(second, attendant, then, a_scan(piece.code, racks[1].code, at=then))
    assert found() == []


def test_a_shelf_of_the_rack_is_no_other_place(world, racks, piece, attendant, at) -> None:
    shelf = world.place("Shelf", parent=racks[1])
    from_device("phone", attendant, at, a_scan(piece.code, racks[1].code, at=at))
    from_device("tablet", attendant, at + MINUTE, a_scan(piece.code, shelf.code, at=at + MINUTE))
    assert found() == []


# ---- late


def test_a_late_scan_that_moves_it_from_where_it_was_counted_since(
    racks, piece, attendant, engineer, at
) -> None:
    """Counted in rack 0 at nine; a phone then says it was put into rack 1 at eight."""
    count = counts.open_count(by=engineer, at=at, place=racks[0])
    assert see(engineer, at, count, piece, racks[0]).status == "taken"
    late = a_scan(piece.code, racks[1].code, at=at - 60 * MINUTE)
    assert put_late(attendant, at + MINUTE, late).status == "taken"
    assert found() == [("late", piece.code)]
    assert differences() == []


def put_late(by, at, scan):
    return send(by, at, scan)[0]


def test_a_late_scan_that_fits_in_between_is_history_only(racks, piece, attendant, at) -> None:
    put(attendant, at, piece.code, racks[1].code)
    put_late(attendant, at + MINUTE, a_scan(piece.code, racks[2].code, at=at - 60 * MINUTE))
    assert found() == []


# ---- gone


def test_scanned_into_a_rack_after_it_was_scrapped(world, racks, piece, attendant, at) -> None:
    scrap = world.place("Scrap", kind="scrap")
    put(attendant, at, piece.code, scrap.code)
    later = at + 60 * MINUTE
    assert put(attendant, later, piece.code, racks[1].code).status == "taken"
    assert found() == [("gone", piece.code)]
    piece.refresh_from_db()
    assert piece.place == racks[1]


def test_a_late_scan_says_that_it_was_scrapped_before_it_was_seen(
    world, racks, piece, attendant, at
) -> None:
    scrap = world.place("Scrap", kind="scrap")
    put(attendant, at, piece.code, racks[1].code)
    put_late(attendant, at + MINUTE, a_scan(piece.code, scrap.code, at=at - 30 * MINUTE))
    assert found() == [("gone", piece.code)]
    piece.refresh_from_db()
    assert piece.place == racks[1]


# ---- refused


def test_what_came_late_and_was_refused_is_listed_and_what_was_told_at_once_is_not(
    world, racks, piece, attendant, at
) -> None:
    gone = world.place("Old rack", is_active=False)
    for ago in (0, 30):
        scan = a_scan(piece.code, gone.code, at=at - ago * MINUTE)
        assert put_late(attendant, at, scan).code == "place_not_used"
    assert found() == [("refused", piece.code)]
    [row] = contrary_page().open
    assert (row.said[0].place, row.said[0].refused[:8]) == (gone.code, "Old rack")


def test_a_count_that_would_go_below_nothing(world, racks, attendant, at) -> None:
    line = world.stock(world.drawing("SP", kind="spacer"), racks[0], 2)
    late = a_scan(line.code, racks[1].code, at=at - 30 * MINUTE, quantity=3)
    assert put_late(attendant, at, late).code == "stock_short"
    [row] = contrary_page().open
    assert (row.kind, row.bin) == ("count", line.code)


def test_sending_it_again_lists_it_once(racks, piece, attendant, at) -> None:
    late = a_scan("no such mark", racks[1].code, at=at - 30 * MINUTE)
    for _twice in range(2):
        put_late(attendant, at, late)
    assert [row.read for row in contrary_page().open] == ["no such mark"]


# ---- settling


@pytest.fixture
def contrary(world, racks, piece, attendant, at) -> Contradiction:
    test_two_devices_that_put_one_piece_in_two_places_at_once(racks, piece, attendant, at)
    return Contradiction.objects.get()


def test_settled_as_the_ledger_has_it_nothing_moves(contrary, racks, attendant, at) -> None:
    before = Movement.objects.count()
    settle(by=attendant, at=at + 9 * MINUTE, contradiction=contrary, reason="looked", to=racks[2])
    contrary.refresh_from_db()
    assert (contrary.settled_by, contrary.settled_how) == (attendant, "It is in Rack 2: looked")
    assert Movement.objects.count() == before
    assert found() == []


def test_settled_otherwise_a_further_movement_says_so(contrary, racks, piece, crew, at) -> None:
    later = at + 9 * MINUTE
    row = settle(by=crew, at=later, contradiction=contrary, reason="it hangs there", to=racks[1])
    assert row.settling is not None
    assert (row.settling.to, row.settling.by, row.settling.note) == (
        racks[1], crew, "it hangs there",
    )  # fmt: skip
    piece.refresh_from_db()
    assert piece.place == racks[1]
    assert contrary_page().settled[0].settled_how == "It is in Rack 1: it hangs there"
    assert differences() == []


def test_it_is_settled_once_with_a_reason_by_who_may(contrary, racks, crew, viewer, at) -> None:
    with pytest.raises(NotAllowed):
        settle(by=viewer, at=at, contradiction=contrary, reason="looked")
    with pytest.raises(ToolingError) as empty:
        settle(by=crew, at=at, contradiction=contrary, reason=" ")
    assert empty.value.code == "empty_text"
    settle(by=crew, at=at, contradiction=contrary, reason="looked")
    with pytest.raises(Conflict) as twice:
        settle(by=crew, at=at, contradiction=contrary, reason="looked", to=racks[1])
    assert twice.value.code == "already_settled"


def test_no_place_settles_what_is_about_a_bin(world, racks, attendant, at) -> None:
    test_a_count_that_would_go_below_nothing(world, racks, attendant, at)
    row = Contradiction.objects.get()
    with pytest.raises(ToolingError) as refused:
        settle(by=attendant, at=at, contradiction=row, reason="x", to=racks[1])
    assert refused.value.code == "not_about_a_piece"
    settle(by=attendant, at=at, contradiction=row, reason="counted anew")
    assert found() == []


def test_a_refused_settling_keeps_it_open(world, contrary, piece, attendant, at) -> None:
    gone = world.place("Old rack", is_active=False)
    with pytest.raises(Conflict):
        settle(by=attendant, at=at, contradiction=contrary, reason="looked", to=gone)
    assert found() == [("places", piece.code)]


# ---- what it costs


@pytest.mark.parametrize("count", [0, 1, 250])
def test_the_list_costs_the_same_whatever_is_on_it(world: World, racks, at, count) -> None:
    drawing = world.drawing("D9")
    pieces = [world.piece(drawing, racks[0]) for _n in range(count)]
    Contradiction.objects.bulk_create(
        Contradiction(kind="late", piece=piece, first=piece.placed_by, found_at=at)
        for piece in pieces
    )
    with CaptureQueriesContext(connection) as seen:
        page = contrary_page()
    assert (page.count, len(seen) <= 3) == (count, True)
    with CaptureQueriesContext(connection) as seen:
        assert len(open_rows(size=100)) == min(count, 100)
    assert len(seen) == 1


def test_a_scan_that_nothing_contradicts_asks_nothing_more(racks, piece, attendant, at) -> None:
    put(attendant, at, piece.code, racks[1].code)
    with CaptureQueriesContext(connection) as seen:
        put(attendant, at + 60 * MINUTE, piece.code, racks[2].code)
    assert not [each for each in seen if "contradiction" in each["sql"]]


# ---- carts


@pytest.fixture
def cart(world, racks):
    return world.place("Cart 1", kind="cart", parent=world.place("Toolroom", kind="area"))


def two_places(cart, racks, attendant, at, *, second="tablet", minutes=1, to=None):
    from_device("phone", attendant, at, a_scan(cart.code, racks[1].code, at=at))
    then = at + minutes * MINUTE
    other = (to or racks[2]).code
    return from_device(second, attendant, then, a_scan(cart.code, other, at=then))


def test_a_cart_in_two_places_at_once(racks, cart, attendant, at) -> None:
    two_places(cart, racks, attendant, at)
    [row] = contrary_page().open
    assert (row.kind, row.cart, row.cart_name, row.piece) == ("places", cart.code, "Cart 1", "")
    assert [(each.place, each.device) for each in row.said] == [
        (racks[1].code, "phone"), (racks[2].code, "tablet"),
    ]  # fmt: skip
    assert row.choices == ((racks[2].code, "Rack 2"), (racks[1].code, "Rack 1"))
    assert [each.id for each in open_rows(piece=cart.code)] == [row.id]


def test_what_happens_to_carts_every_day_is_no_contradiction(
    world, racks, cart, attendant, at
) -> None:
    shelf = world.place("Bay 1", kind="area", parent=racks[1])
    person = world.place("Ben", kind="person")
    for changed in ({"second": "phone"}, {"minutes": 3}, {"to": shelf}, {"to": person}):
        two_places(cart, racks, attendant, at, **changed)
        at += 30 * MINUTE
    assert contrary_page().open == ()


def test_a_cart_is_settled_where_it_was_found(racks, cart, attendant, at) -> None:
    two_places(cart, racks, attendant, at)
    settled = settle(
        by=attendant, at=at + 9 * MINUTE, contradiction=Contradiction.objects.get(),
        reason="looked", to=racks[1],
    )  # fmt: skip
    cart.refresh_from_db()
    assert cart.parent == racks[1]
    assert settled.settling.cart == cart
    assert settled.settled_how == "It is in Rack 1: looked"
    assert differences() == []


def test_a_cart_that_is_where_the_ledger_has_it_stays(racks, cart, attendant, at) -> None:
    two_places(cart, racks, attendant, at)
    row = Contradiction.objects.get()
    settled = settle(by=attendant, at=at + 9 * MINUTE, contradiction=row, reason="looked")
    assert (settled.settling, settled.settled_how) == (None, "It is in Rack 2: looked")


def test_a_late_refused_scan_of_a_cart_names_it(racks, cart, attendant, at) -> None:
    late = a_scan(cart.code, cart.code, at=at - 30 * MINUTE)
    assert from_device("phone", attendant, at, late).code == "place_inside_itself"
    [row] = contrary_page().open
    assert (row.kind, row.cart) == ("refused", cart.code)

"""Taking movements back in any order: what is left is what would be if they had not been."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.services.scanning import a_scan, put, send
from tests.services.test_rebuild import a_kit
from tooling.models import DueBack, KitPosition, Movement, Piece, Place, StockLine
from tooling.queries.homes import homes_of_pieces
from tooling.queries.out import standing_dues
from tooling.queries.piece_history import piece_history
from tooling.queries.places import place_news
from tooling.services.corrections import undo
from tooling.services.loans import set_due
from tooling.services.movements import find_movement
from tooling.services.rebuild import differences, rebuild

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def racks(world) -> list[Place]:
    return [world.place(f"Rack {name}") for name in "ABC"]


@pytest.fixture
def piece(world, racks) -> Piece:
    return world.piece(world.drawing("D1"), racks[0])


def place_of(thing) -> str:
    thing.refresh_from_db()
    return (thing.place if isinstance(thing, Piece) else thing.parent).name


def take_back(by, at, *scans):
    """Undo scans one after the other, a minute apart from an hour on; the answers."""
    return [
        put(by, at + timedelta(hours=1) + n * MINUTE, "", "", corrects=scan.id)
        for n, scan in enumerate(scans)
    ]


@pytest.mark.parametrize("newest_first", [True, False])
@pytest.mark.parametrize("what", ["piece", "cart", "cart with a first row"])
def test_two_moves_undone_in_either_order_lead_back_to_the_start(
    world, racks, piece, attendant, at, newest_first, what
) -> None:
    thing = piece
    if what != "piece":
        thing = world.place("Cart 1", kind="cart", parent=racks[0])
    if what == "cart with a first row":
        put(attendant, at - MINUTE, thing.code, racks[0].code)
    moves = [put(attendant, at + n * MINUTE, thing.code, racks[n].code) for n in (1, 2)]
    if newest_first:
        moves.reverse()
    answers = take_back(attendant, at, *moves)
    assert place_of(thing) == "Rack A"
    on_the_way = "Rack B" if newest_first else "Rack C"
    assert [answer.place for answer in answers] == [
        next(rack.code for rack in racks if rack.name == on_the_way), racks[0].code,
    ]  # fmt: skip
    assert ("is back in" in answers[0].message) is newest_first
    assert differences() == []


def test_the_history_says_where_it_did_not_go(racks, piece, attendant, at) -> None:
    moves = [put(attendant, at + n * MINUTE, piece.code, racks[n].code) for n in (1, 2)]
    take_back(attendant, at, *reversed(moves))
    told = [(entry.said, entry.is_corrected) for entry in piece_history(piece.code).entries]
    assert sorted(told) == sorted(
        [
            ("entered at Rack A", False),
            ("moved to Rack B", True),
            ("moved to Rack C", True),
            ("taken back: it did not go to Rack B", False),
            ("taken back: it did not go to Rack C", False),
        ]
    )


def test_the_journeys_of_a_cart_say_it_too(world, racks, attendant, at) -> None:
    cart = world.place("Cart 1", kind="cart", parent=racks[0])
    take_back(attendant, at, put(attendant, at, cart.code, racks[1].code))
    assert {news.said for news in place_news(cart.code)} == {
        "taken back: it did not go to Rack B", "moved to Rack B",
    }  # fmt: skip


def test_a_late_scan_between_shows_when_what_came_after_it_is_undone(
    racks, piece, attendant, at
) -> None:
    last = put(attendant, at + 5 * MINUTE, piece.code, racks[2].code)
    take_back(attendant, at, last)
    assert place_of(piece) == "Rack A"
    [late] = send(attendant, at + 90 * MINUTE, a_scan(piece.code, racks[1].code, at=at + MINUTE))
    assert (late.status, place_of(piece)) == ("taken", "Rack B")
    undo(by=attendant, at=at + 95 * MINUTE, movement=find_movement(late.id))
    assert place_of(piece) == "Rack A"
    assert differences() == []


def test_a_late_scan_from_before_the_piece_was_entered_can_be_undone(
    racks, piece, attendant, at
) -> None:
    long_ago = a_scan(piece.code, racks[1].code, at=at - timedelta(days=3))
    [late] = send(attendant, at, long_ago)
    [undone] = take_back(attendant, at, late)
    assert (undone.status, place_of(piece)) == ("taken", "Rack A")
    assert differences() == []


def test_an_undone_correction_brings_back_what_it_corrected(
    world, racks, piece, attendant, at
) -> None:
    other = world.place("Rack D")
    put(attendant, at, piece.code, racks[1].code)
    wrong = put(attendant, at + MINUTE, piece.code, racks[2].code)
    right = put(attendant, at + 2 * MINUTE, piece.code, other.code, corrects=wrong.id)
    assert place_of(piece) == "Rack D"
    take_back(attendant, at, right)
    assert place_of(piece) == "Rack C"
    assert differences() == []


def test_an_undo_undone_and_undone_again(racks, piece, attendant, at) -> None:
    first = put(attendant, at, piece.code, racks[1].code)
    wrong = put(attendant, at + MINUTE, piece.code, racks[2].code)
    places = []
    for n in range(4):
        wrong = put(attendant, at + (n + 2) * MINUTE, piece.code, "", corrects=wrong.id)
        places.append(place_of(piece))
    assert places == ["Rack B", "Rack C", "Rack B", "Rack C"]
    undo(by=attendant, at=at + 9 * MINUTE, movement=find_movement(wrong.id))
    take_back(attendant, at, first)
    assert place_of(piece) == "Rack A"
    assert differences() == []


def test_a_correction_of_an_undo_names_the_place(racks, piece, attendant, at) -> None:
    wrong = put(attendant, at, piece.code, racks[1].code)
    [undone] = take_back(attendant, at, wrong)
    put(attendant, at + 2 * timedelta(hours=1), piece.code, racks[2].code, corrects=undone.id)
    assert place_of(piece) == "Rack C"
    assert differences() == []


def test_putting_right_what_was_moved_since_says_so(world, racks, piece, attendant, at) -> None:
    wrong = put(attendant, at, piece.code, racks[1].code)
    put(attendant, at + MINUTE, piece.code, racks[2].code)
    other = world.place("Rack D")
    answer = put(attendant, at + 2 * MINUTE, piece.code, other.code, corrects=wrong.id)
    assert answer.message.endswith("was in Rack D then; it has been moved since.")
    assert place_of(piece) == "Rack C"


def test_whole_sets_undone_newest_first_are_all_where_they_were(
    world, racks, attendant, at
) -> None:
    drawing = world.drawing("D2")
    positions = {(1, "top", n): drawing for n in (1, 2)}
    tool_set = world.tool_set("S1", positions)
    pieces = [world.piece(drawing, place) for place in racks[:2]]
    world.copy(tool_set, "A", dict(zip(positions, pieces, strict=True)))
    halls = [world.place(name) for name in ("Hall 1", "Hall 2")]
    moves = [
        put(attendant, at + n * MINUTE, tool_set.code, hall.code) for n, hall in enumerate(halls)
    ]
    assert [answer.status for answer in take_back(attendant, at, *reversed(moves))] == ["taken"] * 2
    assert [place_of(each) for each in pieces] == ["Rack A", "Rack B"]
    assert differences() == []


def test_counts_undone_newest_first_are_what_they_were(world, racks, attendant, at) -> None:
    line = world.stock(world.drawing("SP", kind="spacer"), racks[0], 9)
    moves = [put(attendant, at + n * MINUTE, line.code, racks[n].code, quantity=n) for n in (1, 2)]
    take_back(attendant, at, *reversed(moves))
    counts = dict(StockLine.objects.values_list("place__name", "count"))
    assert counts == {"Rack A": 9, "Rack B": 0, "Rack C": 0}
    assert differences() == []


def test_what_was_staged_is_staged_again_and_then_no_more(world, attendant, at) -> None:
    kit, piece = a_kit(world, at)
    staged = put(attendant, at, piece.code, kit.number)
    away = put(attendant, at + MINUTE, piece.code, world.place("Hall").code)
    undo(by=attendant, at=at + 2 * MINUTE, movement=find_movement(away.id))
    assert KitPosition.objects.get(kit=kit).is_staged
    [undone] = undo(by=attendant, at=at + 3 * MINUTE, movement=find_movement(staged.id))
    assert not KitPosition.objects.get(kit=kit).is_staged
    [again] = undo(by=attendant, at=at + 4 * MINUTE, movement=undone)
    assert KitPosition.objects.get(kit=kit).is_staged
    assert (again.kit, again.sees) == (kit, True)
    assert differences() == []


def test_a_place_that_was_taken_back_is_no_home(racks, piece, attendant, at) -> None:
    moves = [put(attendant, at + n * MINUTE, piece.code, racks[n].code) for n in (1, 2)]
    take_back(attendant, at, *reversed(moves))
    homes = homes_of_pieces([piece.pk])
    assert homes[piece.pk].place == racks[0]


def test_a_date_changed_meanwhile_outlives_the_second_scan(world, piece, attendant, at) -> None:
    grinder = world.place("Grinder West", kind="grinder")
    first = put(attendant, at, piece.code, grinder.code, due_on=date(2027, 1, 4))
    again = put(attendant, at + MINUTE, piece.code, grinder.code)
    set_due(
        by=attendant, at=at + 2 * MINUTE, ids=[again.id], due_on=date(2027, 2, 1), reason="busy"
    )
    take_back(attendant, at, again)
    stands = Movement.objects.get(uuid=first.id)
    piece.refresh_from_db()
    assert piece.placed_by == stands
    assert standing_dues([stands.pk])[stands.pk].due_on == date(2027, 2, 1)
    take_back(attendant, at + MINUTE, first)
    assert place_of(piece) == "Rack A"
    assert DueBack.objects.filter(movement__corrects__isnull=False).count() == 0


def test_of_a_cart_that_no_row_placed_any_more_a_lie_is_mended(world, racks, attendant, at) -> None:
    cart = world.place("Cart 1", kind="cart", parent=racks[0])
    wrong = put(attendant, at, cart.code, racks[1].code)
    take_back(attendant, at, wrong)
    cart.refresh_from_db()
    assert (cart.placed_by, cart.placed_effective_at, differences()) == (None, None, [])
    lie = Movement.objects.get(uuid=wrong.id)
    Place.objects.filter(pk=cart.pk).update(parent=racks[1], placed_by=lie)
    assert {each.what for each in rebuild()} >= {"cart", "cart placed by"}
    assert place_of(cart) == "Rack A"
    assert (cart.placed_by, differences()) == (None, [])


def test_a_piece_without_any_row_goes_back_to_where_its_first_scan_found_it(
    world, racks, attendant, at
) -> None:
    stray = world.piece(world.drawing("D1"), racks[0])
    twin = Piece.objects.create(
        code=world.code("R"), drawing=stray.drawing, revision=stray.revision, owner=world.shop,
        place=racks[0],
    )  # fmt: skip
    moves = [put(attendant, at + n * MINUTE, twin.code, racks[n].code) for n in (1, 2)]
    take_back(attendant, at, *moves)
    assert place_of(twin) == "Rack A"
    assert (twin.placed_by, twin.placed_effective_at, differences()) == (None, None, [])


def test_when_even_its_entry_was_taken_back_a_piece_is_where_it_was_entered(
    racks, piece, attendant, at
) -> None:
    entered = piece.placed_by
    long_ago = a_scan(piece.code, racks[1].code, at=at - timedelta(days=3))
    [late] = send(attendant, at, long_ago)
    undo(by=attendant, at=at + MINUTE, movement=entered)
    assert place_of(piece) == "Rack B"
    take_back(attendant, at, late)
    assert place_of(piece) == "Rack A"
    assert differences() == []

"""Into a kit comes what it chose; everything else is told what it is and where it belongs."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.services.scanning import put
from tooling.models import Kit, KitPosition, KitState, RefusedScan
from tooling.services.rebuild import differences
from tooling.services.staging import restage

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def drawing(world):
    return world.drawing("R-1")


@pytest.fixture
def make_kit(world, drawing, rack):
    """``make_kit("J1", n)``: an open kit on a cart of its own, with n pieces it chose."""

    def _make(number: str, count: int = 2, **fields):
        positions = {(1 + n // 2, ("top", "bottom")[n % 2], 1): drawing for n in range(count)}
        tool_set = world.tool_set(f"S-{number}", positions)
        mill = world.mill(f"M-{number}", stations=3)
        kit = Kit.objects.create(
            number=world.code("K"),
            job=world.job(tool_set, mill, number=number, **fields),
            place=world.place(f"Cart {number}", kind="cart"),
        )
        for set_pass in tool_set.passes.all():
            for position in set_pass.positions.all():
                KitPosition.objects.create(
                    kit=kit,
                    set_position=position,
                    station_number=set_pass.number,
                    pass_number=set_pass.number,
                    shaft=position.shaft,
                    order=position.order,
                    drawing=drawing,
                    piece=world.piece(drawing, rack, mark=f"{number}-{set_pass.number}"),
                )
        return kit

    return _make


def pieces_of(kit):
    return [each.piece for each in kit.positions.order_by("pass_number", "-shaft")]


def test_a_chosen_piece_is_staged_and_the_kits_screens_are_told(make_kit, attendant, at) -> None:
    kit = make_kit("J1")
    piece = pieces_of(kit)[0]
    result = put(attendant, at, piece.code, kit.number)
    position = KitPosition.objects.get(piece=piece)
    assert (result.status, result.place) == ("taken", kit.place.code)
    assert (position.is_staged, position.holds_piece) == (True, True)
    assert Kit.objects.get(pk=kit.pk).version > kit.version


def test_the_gathering_place_and_a_peg_in_it_stage_too(world, make_kit, attendant, at) -> None:
    kit = make_kit("J1")
    one, two = pieces_of(kit)
    peg = world.place("Peg 1", kind="peg", parent=kit.place)
    put(attendant, at, one.code, kit.place.code)
    put(attendant, at, two.code, peg.code)
    assert kit.positions.filter(is_staged=True).count() == 2
    assert Kit.objects.get(pk=kit.pk).state == KitState.STAGED
    assert differences() == []


def test_a_piece_taken_out_again_is_to_be_fetched(make_kit, rack, attendant, at) -> None:
    kit = make_kit("J1")
    for piece in pieces_of(kit):
        put(attendant, at, piece.code, kit.number)
    put(attendant, at + MINUTE, pieces_of(kit)[0].code, rack.code)
    assert kit.positions.filter(is_staged=True).count() == 1
    assert Kit.objects.get(pk=kit.pk).state == KitState.GATHERING


def test_an_undone_staging_is_no_staging(make_kit, attendant, at) -> None:
    kit = make_kit("J1")
    piece = pieces_of(kit)[0]
    wrong = put(attendant, at, piece.code, kit.number)
    put(attendant, at + MINUTE, piece.code, kit.number, corrects=wrong.id)
    assert not KitPosition.objects.get(piece=piece).is_staged
    assert differences() == []


def test_a_closed_kit_takes_nothing(make_kit, attendant, at) -> None:
    kit = make_kit("J1")
    piece = pieces_of(kit)[0]
    Kit.objects.filter(pk=kit.pk).update(state=KitState.CLOSED, closed_at=at)
    result = put(attendant, at, piece.code, kit.number)
    assert result.code == "kit_closed"
    assert "J1" in result.message


def test_a_kit_without_a_place_says_what_to_choose(make_kit, attendant, at) -> None:
    kit = make_kit("J1")
    Kit.objects.filter(pk=kit.pk).update(place=None)
    assert put(attendant, at, pieces_of(kit)[0].code, kit.number).code == "kit_has_no_place"


def test_a_piece_of_another_kit_is_taken(make_kit, rack, attendant, at) -> None:
    mine, theirs = make_kit("J1"), make_kit("J2")
    piece = pieces_of(theirs)[0]
    put(attendant, at, piece.code, theirs.number)
    result = put(attendant, at + MINUTE, piece.code, mine.number)
    assert result.code == "piece_taken"
    assert theirs.number in result.message
    assert "J2" in result.message
    refused = RefusedScan.objects.get()
    assert (refused.piece, refused.kit) == (piece, mine)
    piece.refresh_from_db()
    assert piece.place == theirs.place


def test_a_piece_that_no_kit_chose_says_what_was_wanted(
    world, make_kit, drawing, rack, attendant, at
) -> None:
    kit = make_kit("J1")
    stray = world.piece(drawing, rack, mark="stray")
    result = put(attendant, at, stray.code, kit.number)
    assert result.code == "wrong_position"
    assert f"{stray.code} (stray) is a R-1" in result.message
    assert any(piece.code in result.message for piece in pieces_of(kit))
    assert "Put R" in result.message
    assert "back to Rack A" in result.message


def test_a_piece_of_another_drawing_says_where_it_belongs(
    world, make_kit, rack, attendant, at
) -> None:
    stray = world.piece(world.drawing("X-9"), rack)
    result = put(attendant, at, stray.code, make_kit("J1").number)
    assert result.code == "wrong_position"
    assert "calls for no such piece" in result.message
    assert "belongs in Rack A" in result.message


@pytest.mark.parametrize(
    ("condition", "code"),
    [("hold", "piece_held"), ("cracked", "piece_not_fit"), ("chipped", "piece_not_fit")],
)
def test_a_held_or_broken_piece_is_not_staged(make_kit, attendant, at, condition, code) -> None:
    kit = make_kit("J1")
    piece = pieces_of(kit)[0]
    piece.condition, piece.hold_reason = condition, "crash on 12 November"
    piece.save(update_fields=["condition", "hold_reason"])
    result = put(attendant, at, piece.code, kit.number)
    assert result.code == code
    assert kit.number in result.message


@pytest.mark.parametrize(("mine", "wanted", "code"), [(0, 1, "wrong_shaft"), (0, 2, "wrong_pass")])
def test_a_peg_is_for_its_own_position(world, make_kit, attendant, at, mine, wanted, code) -> None:
    kit = make_kit("J1", 3)
    pieces = pieces_of(kit)
    peg = world.place("Peg", kind="peg", parent=kit.place)
    KitPosition.objects.filter(piece=pieces[wanted]).update(peg=peg)
    result = put(attendant, at, pieces[mine].code, peg.code)
    assert result.code == code
    assert pieces[wanted].code in result.message
    assert put(attendant, at + MINUTE, pieces[wanted].code, peg.code).status == "taken"


def test_a_station_takes_the_pieces_of_its_own_pass(make_kit, attendant, at) -> None:
    kit = make_kit("J1", 3)
    first, third = pieces_of(kit)[0], pieces_of(kit)[2]
    stations = kit.job.mill.stations.order_by("number")
    wrong = put(attendant, at, third.code, stations[0].code)
    assert wrong.code == "wrong_pass"
    assert "at station 2; this is station 1 of Mill M-J1" in wrong.message
    assert put(attendant, at, first.code, stations[0].code).status == "taken"
    assert KitPosition.objects.get(piece=first).is_staged
    assert differences() == []


def test_a_mark_that_the_kit_claims_once_is_understood(world, make_kit, attendant, at) -> None:
    mine, theirs = make_kit("J1", 1), make_kit("J2", 1)
    piece = pieces_of(mine)[0]
    other = pieces_of(theirs)[0]
    type(piece).objects.filter(pk__in=[piece.pk, other.pk]).update(mark="12-T")
    assert put(attendant, at, "12-T", mine.number).status == "taken"
    assert KitPosition.objects.get(piece=piece).is_staged


def test_on_one_mill_a_piece_is_here_for_the_earlier_job_only(
    world, make_kit, attendant, at
) -> None:
    early = make_kit("J1", 1, in_hours=10)
    late = make_kit("J2", 1, in_hours=40)
    late.job.mill = early.job.mill
    late.job.save(update_fields=["mill"])
    piece = pieces_of(early)[0]
    late.positions.update(piece=piece)
    put(attendant, at, piece.code, early.job.mill.stations.get(number=1).code)
    held = KitPosition.objects.filter(piece=piece, holds_piece=True)
    assert [each.kit for each in held] == [early]
    assert differences() == []


def test_a_kits_cart_moves_with_what_is_staged_on_it(world, make_kit, attendant, at) -> None:
    kit = make_kit("J1")
    piece = pieces_of(kit)[0]
    put(attendant, at, piece.code, kit.number)
    put(attendant, at + MINUTE, kit.number, world.place("Beside mill 1").code)
    kit.place.refresh_from_db()
    assert kit.place.path_name == "Beside mill 1 / Cart J1"
    assert KitPosition.objects.get(piece=piece).is_staged


def test_a_bin_scanned_into_a_kit_gives_what_the_kit_wants(
    world, make_kit, rack, attendant, at
) -> None:
    kit = make_kit("J1")
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 9)
    kit.positions.update(piece=None, stock_line=line, drawing=line.drawing)
    result = put(attendant, at, line.code, kit.number)
    assert "2 of SP are in Cart J1" in result.message
    assert kit.positions.filter(is_staged=True).count() == 2
    line.refresh_from_db()
    assert line.count == 7
    assert put(attendant, at + MINUTE, line.code, kit.number).code == "wrong_position"
    put(attendant, at + MINUTE, line.code, kit.number, corrects=result.id)
    assert not kit.positions.filter(is_staged=True).exists()


def test_a_new_gathering_place_is_looked_at_for_what_lies_there_already(
    world, make_kit, rack, attendant, at
) -> None:
    kit = make_kit("J1")
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 9)
    counted = kit.positions.order_by("pk").last()
    KitPosition.objects.filter(pk=counted.pk).update(
        piece=None, stock_line=line, drawing=line.drawing
    )
    Kit.objects.filter(pk=kit.pk).update(place=rack)
    restage(by=attendant, at=at, kit_ids=[kit.pk])
    assert kit.positions.filter(is_staged=True).count() == 2
    assert Kit.objects.get(pk=kit.pk).state == KitState.STAGED
    assert differences() == []

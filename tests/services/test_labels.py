"""Labels: what is recorded when they are printed, made void and replaced, and what still holds."""

from __future__ import annotations

import pytest

from tests.paper.reading import codes as some_codes
from tests.paper.reading import pages, read
from tests.services.scanning import put
from tests.world import World
from tooling.errors import Conflict, NotAllowed, ToolingError, Unknown
from tooling.models import Change, Kit, KitPosition, LabelEvent, Piece, Place, StoredFile, Task
from tooling.queries.piece_history import piece_history
from tooling.services import labels, tasks
from tooling.services.rebuild import differences
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

NOBODYS = some_codes(1, "P")[0]
pytestmark = pytest.mark.django_db


@pytest.fixture
def rack(world: World):
    return world.place("Rack A")


@pytest.fixture
def roll(world: World, rack):
    return world.piece(world.drawing("1472-01-T1"), rack, mark="1472-01")


def what_happened(code: str) -> list[str]:
    return list(LabelEvent.objects.filter(code=code).order_by("pk").values_list("what", flat=True))


def test_the_first_print_issues_and_the_next_prints_again(roll, attendant, at) -> None:
    for _time in range(2):
        labels.issue(by=attendant, at=at, codes=[roll.code], size="a4-24")
    assert what_happened(roll.code) == ["issue", "print"]
    event = LabelEvent.objects.first()
    assert event is not None
    assert (event.by, event.at, event.size) == (attendant, at, "a4-24")


@pytest.mark.parametrize("who", ["viewer", "crew"])
def test_who_may_not_print_records_nothing(who, roll, cast, at) -> None:
    for act in (
        lambda: labels.issue(by=cast[who], at=at, codes=[roll.code], size="a4-24"),
        lambda: labels.ask_for_sheets(by=cast[who], at=at, codes=[roll.code], size="a4-24", skip=0),
        lambda: labels.void(by=cast[who], at=at, code=roll.code, reason="lost"),
        lambda: labels.reissue(by=cast[who], at=at, code=roll.code, reason="lost"),
    ):
        with pytest.raises(NotAllowed):
            act()
    assert not LabelEvent.objects.exists()


@pytest.mark.parametrize(
    ("size", "skip", "code"),
    [("a5", 0, "unknown_label_size"), ("a4-24", 24, "label_skip_too_large")],
)
def test_sheets_that_cannot_be_made_record_nothing(size, skip, code, roll, attendant, at) -> None:
    with pytest.raises(ToolingError) as refused:
        labels.ask_for_sheets(by=attendant, at=at, codes=[roll.code], size=size, skip=skip)
    assert refused.value.code == code
    assert not LabelEvent.objects.exists()


def test_one_unknown_code_among_many_records_nothing(roll, attendant, at) -> None:
    with pytest.raises(Unknown) as refused:
        labels.issue(by=attendant, at=at, codes=[roll.code, NOBODYS], size="a4-24")
    assert refused.value.code == "unknown_code"
    assert NOBODYS in refused.value.message
    assert not LabelEvent.objects.exists()


def test_three_hundred_are_printed_at_once_and_one_more_by_the_worker(
    world, rack, attendant, at
) -> None:
    drawing = world.drawing("D1")
    codes = [world.piece(drawing, rack).code for _n in range(301)]
    ask = {"by": attendant, "at": at, "size": "a4-65", "skip": 0}
    assert labels.ask_for_sheets(codes=codes[:300], **ask) is None
    assert LabelEvent.objects.count() == 300
    labels.ask_for_sheets(codes=codes, **ask)
    assert LabelEvent.objects.count() == 300  # recorded when they are made, not when asked
    assert work_once(HANDLERS)
    task = Task.objects.get()
    assert (task.state, task.result, LabelEvent.objects.count()) == ("done", {"count": 301}, 601)
    assert what_happened(codes[-1]) == ["issue"]
    assert task.file is not None
    printed = pages(labels.files.read(task.file))
    assert sorted(code for page in printed for code in read(page)) == sorted(codes)


def test_work_that_was_stopped_leaves_no_label_recorded(world, rack, attendant, at) -> None:
    drawing = world.drawing("D1")
    codes = [world.piece(drawing, rack).code for _n in range(301)]
    labels.ask_for_sheets(by=attendant, at=at, codes=codes, size="a4-24", skip=0)
    tasks.cancel(by=attendant, at=at, task=Task.objects.get())
    assert not work_once(HANDLERS)
    assert not LabelEvent.objects.exists()
    assert not StoredFile.objects.exists()


def test_a_label_made_void_while_the_worker_waited_fails_the_whole_print(
    world, rack, attendant, at
) -> None:
    drawing = world.drawing("D1")
    codes = [world.piece(drawing, rack).code for _n in range(301)]
    labels.ask_for_sheets(by=attendant, at=at, codes=codes, size="a4-24", skip=0)
    labels.void(by=attendant, at=at, code=codes[7], reason="stuck on the wrong roll")
    assert work_once(HANDLERS)
    task = Task.objects.get()
    assert (task.state, task.result, task.file) == ("failed", {"code": "void_label"}, None)
    assert list(LabelEvent.objects.values_list("what", flat=True)) == ["void"]


def test_a_void_label_is_neither_printed_nor_made_void_again(roll, attendant, at) -> None:
    labels.void(by=attendant, at=at, code=roll.code.lower(), reason="lost")
    for act in (
        lambda: labels.draw(codes=[roll.code], size="a4-24"),
        lambda: labels.issue(by=attendant, at=at, codes=[roll.code], size="a4-24"),
        lambda: labels.void(by=attendant, at=at, code=roll.code, reason="lost"),
    ):
        with pytest.raises(Conflict) as refused:
            act()
        assert refused.value.code == "void_label"
    assert what_happened(roll.code) == ["void"]


@pytest.mark.parametrize("reason", ["", "   ", "x" * 201])
def test_a_reason_is_needed_and_fits(reason, roll, attendant, at) -> None:
    for act in (labels.void, labels.reissue):
        with pytest.raises(ToolingError) as refused:
            act(by=attendant, at=at, code=roll.code, reason=reason)
        assert refused.value.code == ("reason_too_long" if reason.strip() else "no_reason")
    assert not LabelEvent.objects.exists()


@pytest.mark.parametrize(
    ("code", "problem"),
    [("R000001", "not_a_code"), ("R0000010", "bad_check_character"), (NOBODYS, "unknown_code")],
)
def test_what_is_no_label_here_cannot_be_void(code, problem, attendant, at) -> None:
    for act in (labels.void, labels.reissue):
        with pytest.raises(ToolingError) as refused:
            act(by=attendant, at=at, code=code, reason="lost")
        assert refused.value.code == problem


def test_a_new_code_takes_the_place_of_a_void_one(roll, rack, world, attendant, at) -> None:
    old, other = roll.code, world.place("Rack B")
    new = labels.reissue(by=attendant, at=at, code=old, reason="lost")
    roll.refresh_from_db()
    assert (roll.code, new[0], new != old) == (new, "R", True)
    assert (what_happened(old), what_happened(new)) == (["void"], ["reissue"])
    refused = put(attendant, at, old, other.code)
    assert refused.code == "void_label"
    assert new in refused.message
    assert put(attendant, at, new, other.code).status == "taken"
    assert differences() == []


def test_after_two_replacements_the_first_label_names_the_newest(
    roll, world, attendant, at
) -> None:
    first = roll.code
    second = labels.reissue(by=attendant, at=at, code=first, reason="lost")
    third = labels.reissue(by=attendant, at=at, code=second, reason="lost again")
    message = put(attendant, at, first, world.place("Rack B").code).message
    assert third in message
    assert second not in message


def test_a_label_only_made_void_can_be_replaced_later(roll, attendant, at) -> None:
    labels.void(by=attendant, at=at, code=roll.code, reason="lost")
    new = labels.reissue(by=attendant, at=at, code=roll.code, reason="found the roll")
    assert what_happened(roll.code) == ["void"]
    labels.issue(by=attendant, at=at, codes=[new], size="a4-24")
    with pytest.raises(Conflict) as refused:
        labels.reissue(by=attendant, at=at, code=roll.code, reason="again")
    assert new in refused.value.message


def test_the_history_of_a_piece_goes_on_under_its_new_label(roll, attendant, at) -> None:
    old = roll.code
    labels.issue(by=attendant, at=at, codes=[old], size="a4-24")
    new = labels.reissue(by=attendant, at=at, code=old, reason="lost")
    told = [entry.said for entry in piece_history(new).entries if entry.kind == "label"]
    assert told == [f"label {new} in the place of {old}", f"label {old} voided",
                    f"label {old} issued"]  # fmt: skip


def test_a_place_takes_all_that_is_in_it_along_under_its_new_label(world, attendant, at) -> None:
    room = world.place("Room", kind="area")
    rack = world.place("Rack A", parent=room)
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    piece = world.piece(world.drawing("D1"), shelf)
    new = labels.reissue(by=attendant, at=at, code=rack.code, reason="torn")
    shelf.refresh_from_db()
    assert shelf.path == f"/{room.code}/{new}/{shelf.code}/"
    assert put(attendant, at, piece.code, new).status == "taken"
    assert piece.code in Piece.objects.filter(place__path__contains=f"/{new}/").values_list(
        "code", flat=True
    )
    assert differences() == []


def test_a_cart_still_moves_with_its_pegs_under_its_new_label(world, rack, attendant, at) -> None:
    bay = world.place("Bay", kind="area")
    cart = world.place("Cart 7", kind="cart", parent=rack)
    peg = world.place("Peg 1", kind="peg", parent=cart)
    new = labels.reissue(by=attendant, at=at, code=cart.code, reason="torn")
    assert new[0] == "C"
    assert put(attendant, at, new, bay.code).status == "taken"
    assert Place.objects.get(pk=peg.pk).path == f"/{bay.code}/{new}/{peg.code}/"
    assert differences() == []


def test_a_bin_keeps_its_count_under_its_new_label(world, rack, attendant, at) -> None:
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 9)
    other = world.place("Rack B")
    new = labels.reissue(by=attendant, at=at, code=line.code, reason="torn")
    assert put(attendant, at, new, other.code, quantity=4).status == "taken"
    line.refresh_from_db()
    assert (line.code, line.count) == (new, 5)
    assert differences() == []


def test_a_station_is_scanned_as_a_place_under_its_new_label(world, roll, attendant, at) -> None:
    station = world.mill("M1", stations=1).stations.get()
    old = station.code
    new = labels.reissue(by=attendant, at=at, code=old, reason="oil")
    assert put(attendant, at, roll.code, old).code == "void_label"
    assert put(attendant, at, roll.code, new).status == "taken"
    roll.refresh_from_db()
    assert (roll.place, differences()) == (station.place, [])


def test_a_set_is_put_away_whole_under_its_new_label(world, rack, attendant, at) -> None:
    drawing = world.drawing("D1")
    piece = world.piece(drawing, rack)
    tool_set = world.tool_set("1472", {(1, "top", 1): drawing})
    world.copy(tool_set, "A", {(1, "top", 1): piece})
    other = world.place("Rack B")
    new = labels.reissue(by=attendant, at=at, code=tool_set.code, reason="torn")
    assert put(attendant, at, f"{new}-A", other.code).status == "taken"
    piece.refresh_from_db()
    assert (piece.place, differences()) == (other, [])


def open_kit(world: World, piece: Piece) -> Kit:
    tool_set = world.tool_set("1472", {(1, "top", 1): piece.drawing})
    kit = Kit.objects.create(number=world.code("K"), job=world.job(tool_set, world.mill("M1")))
    KitPosition.objects.create(
        kit=kit, set_position=tool_set.passes.get().positions.get(), station_number=1,
        pass_number=1, shaft="top", order=1, drawing=piece.drawing, piece=piece,
    )  # fmt: skip
    return kit


def test_a_kit_keeps_its_number_for_good(world, roll, attendant, at) -> None:
    kit = open_kit(world, roll)
    with pytest.raises(ToolingError) as refused:
        labels.reissue(by=attendant, at=at, code=kit.number, reason="torn")
    assert refused.value.code == "kit_label_is_its_number"
    assert not LabelEvent.objects.exists()


def test_open_screens_of_a_kit_hear_of_a_new_label(world, roll, rack, attendant, at) -> None:
    kit = open_kit(world, roll)
    labels.reissue(by=attendant, at=at, code=roll.code, reason="lost")
    labels.reissue(by=attendant, at=at, code=rack.code, reason="torn")
    kit.refresh_from_db()
    assert kit.version == 3


def test_a_new_label_is_an_edit_with_who_when_before_and_after(roll, attendant, at) -> None:
    old = roll.code
    new = labels.reissue(by=attendant, at=at, code=old, reason="lost")
    change = Change.objects.get()
    assert (change.by, change.at, change.what, change.reason) == (
        attendant, at, "relabelled", "lost",
    )  # fmt: skip
    assert (change.before, change.after) == ({"code": old}, {"code": new})


def test_when_its_history_cannot_be_written_the_label_stays(
    roll, attendant, at, monkeypatch
) -> None:
    def broken(**_fields: object) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(labels, "record_change", broken)
    with pytest.raises(RuntimeError):
        labels.reissue(by=attendant, at=at, code=roll.code, reason="lost")
    assert Piece.objects.get().code == roll.code
    assert not LabelEvent.objects.exists()

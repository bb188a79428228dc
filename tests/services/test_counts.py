"""Counts from opening to close, with results worked out by hand."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from django.db import DatabaseError, connection

from tests.services.counting import MINUTE, Rack, close, figures, kept, see
from tests.services.scanning import put
from tests.world import World
from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import (
    Change,
    Count,
    CountEntry,
    CountLine,
    Movement,
    Owner,
    OwnerReport,
    Person,
    Piece,
    Place,
    StockLine,
)
from tooling.services import count_entries, counts, stock
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db


@pytest.fixture
def rack(world: World) -> Rack:
    return Rack(world)


@pytest.fixture
def count(rack: Rack, attendant: Person, at: datetime) -> Count:
    return rack.count(attendant, at)


@pytest.fixture
def later(at: datetime) -> datetime:
    return at + 5 * MINUTE


def place_of(piece: Piece) -> Place:
    return Piece.objects.select_related("place").get(pk=piece.pk).place


def test_opening_writes_down_what_should_be_there_in_all_nested_places(count, rack) -> None:
    assert count.number == 1
    assert figures(count) == (6, 0, 6, 0)  # a bin is expected once somebody has counted it
    lines = CountLine.objects.filter(count=count)
    assert set(lines.values_list("piece", flat=True)) == {p.pk for p in rack.pieces} | {None}
    assert lines.get(stock_line=rack.bin).expected == 10
    assert Change.objects.get(subject="Count").what == "created"


def test_a_scan_counts_a_piece_and_moves_nothing(count, rack, attendant, later) -> None:
    before = Movement.objects.count()
    result = see(attendant, later, count, rack.pieces[0])
    assert (result.status, result.code) == ("taken", "")
    assert result.message == f"{rack.pieces[0].code} (M0): found in Rack A / Shelf 1."
    assert figures(count) == (6, 1, 5, 0)
    assert Movement.objects.count() == before
    rack.pieces[0].refresh_from_db()
    assert rack.pieces[0].seen_at == later


def test_two_people_find_a_piece_once_and_the_second_is_told(
    count, rack, attendant, crew, later
) -> None:
    see(attendant, later, count, rack.pieces[0])
    result = see(crew, later + MINUTE, count, rack.pieces[0], rack.shelf)
    assert result.status == "repeated"
    assert result.message == f"Attendant counted {rack.pieces[0].code} already. It counts once."
    assert figures(count) == (6, 1, 5, 0)
    assert CountEntry.objects.count() == 1


def test_a_piece_at_another_shelf_is_found_and_moved_there(count, rack, attendant, later) -> None:
    result = see(attendant, later, count, rack.pieces[0], rack.row)
    assert (result.status, result.code) == ("taken", "moved_here")
    assert figures(count) == (6, 1, 5, 0)
    assert place_of(rack.pieces[0]) == rack.row
    assert Movement.objects.get(by=attendant).how == "count"


def test_an_extra_piece_is_told_where_it_was_expected_and_moved_here(
    count, rack, world, attendant, later
) -> None:
    stray = world.piece(rack.drawing, rack.other, mark="X")
    result = see(attendant, later, count, stray, rack.shelf)
    assert (result.status, result.code) == ("taken", "extra")
    assert result.message == (
        f"{stray.code} (X) was expected in Rack B. From now on it is in Rack A / Shelf 1."
    )
    assert figures(count) == (6, 0, 6, 1)
    assert place_of(stray) == rack.shelf
    # met again at another shelf it is still an extra of this count
    see(attendant, later + MINUTE, count, stray, rack.row)
    assert figures(count) == (6, 0, 6, 1)


def test_an_entry_is_taken_back_with_the_movement_it_made(
    count, rack, world, attendant, later
) -> None:
    stray = world.piece(rack.drawing, rack.other)
    extra = see(attendant, later, count, stray, rack.shelf)
    found = see(attendant, later, count, rack.pieces[0])
    undone = see(attendant, later + MINUTE, count, "", corrects=extra.id)
    assert undone.status == "taken"
    count_entries.take_back(by=attendant, at=later + MINUTE, count=count, entries=[found.id])
    assert figures(count) == (6, 0, 6, 0)
    assert place_of(stray) == rack.other
    again = see(attendant, later + MINUTE, count, "", corrects=extra.id)
    assert (again.status, again.code) == ("refused", "already_corrected")
    assert differences() == []


def test_what_was_seen_only_by_a_mark_that_was_taken_back_is_not_seen(
    world, rack, attendant, later, at
) -> None:
    paper = world.piece(rack.drawing, rack.shelf, seen=False)
    count = rack.count(attendant, at)
    found = see(attendant, later, count, paper)
    paper.refresh_from_db()
    assert paper.seen_at == later
    count_entries.take_back(by=attendant, at=later + MINUTE, count=count, entries=[found.id])
    paper.refresh_from_db()
    assert paper.seen_at is None


def test_what_others_move_meanwhile_is_neither_missing_nor_extra(
    count, rack, world, attendant, crew, later
) -> None:
    comes = world.piece(rack.drawing, rack.other)
    put(crew, later, rack.pieces[0].code, rack.other.code)  # taken away
    put(crew, later, rack.pieces[1].code, rack.row.code)  # put elsewhere on the rack: seen
    put(crew, later, comes.code, rack.shelf.code)  # brought here
    result = see(attendant, later + MINUTE, count, comes)
    assert "came to Rack A / Shelf 1 while you count" in result.message
    assert figures(count) == (5, 1, 4, 0)
    close(attendant, later + 2 * MINUTE, count)
    assert kept(count) == (5, 1, 4, 0)
    assert figures(count) == (5, 1, 4, 0)
    assert place_of(rack.pieces[0]) == rack.other
    assert place_of(comes) == rack.shelf


def test_a_cart_that_rolls_away_takes_its_pieces_out_of_the_count(
    world, rack, attendant, at, later
) -> None:
    cart = world.place("Cart 1", kind="cart", parent=rack.rack)
    world.piece(rack.drawing, cart)
    count = rack.count(attendant, at)
    assert figures(count) == (7, 0, 7, 0)
    put(attendant, later, cart.code, rack.other.code)
    assert figures(count) == (6, 0, 6, 0)


def test_a_row_of_pegs_is_counted_in_one_tap(count, rack, attendant, later) -> None:
    see(attendant, later, count, rack.pieces[3])
    made = count_entries.tick_row(by=attendant, at=later, count=count, place=rack.row)
    assert [entry.piece_id for entry in made] == [rack.pieces[4].pk]
    made = count_entries.tick_row(by=attendant, at=later, count=count, place=rack.shelf)
    assert len(made) == 3
    assert figures(count) == (6, 5, 1, 0)
    with pytest.raises(Conflict) as refused:
        count_entries.tick_row(by=attendant, at=later, count=count, place=rack.shelf)
    assert refused.value.code == "nothing_to_count"


def test_a_bin_is_counted_by_number_and_corrected_at_the_close(
    count, rack, attendant, crew, later
) -> None:
    asked = see(attendant, later, count, rack.bin)
    assert (asked.status, asked.code) == ("refused", "how_many")
    result = see(attendant, later, count, rack.bin, quantity=12)
    assert result.message == f"12 SP in bin {rack.bin.code}; the record had 10."
    assert figures(count) == (16, 10, 6, 2)
    see(crew, later + MINUTE, count, rack.bin, quantity=7)  # the newest number stands
    assert figures(count) == (16, 7, 9, 0)
    rack.bin.refresh_from_db()
    assert rack.bin.count == 10
    close(attendant, later + 2 * MINUTE, count)
    rack.bin.refresh_from_db()
    assert (rack.bin.count, rack.bin.seen_at) == (7, later + MINUTE)
    assert kept(count) == (16, 7, 9, 0)
    assert figures(count) == (16, 7, 9, 0)
    assert differences() == []


def test_what_leaves_a_bin_after_it_was_counted_is_no_difference(
    count, rack, attendant, later
) -> None:
    stock.move(by=attendant, at=later, line=rack.bin, quantity=2, to=rack.other)
    see(attendant, later + MINUTE, count, rack.bin, quantity=7)  # 8 by the record
    stock.move(by=attendant, at=later + 2 * MINUTE, line=rack.bin, quantity=4, to=rack.other)
    assert figures(count) == (14, 7, 7, 0)
    close(attendant, later + 3 * MINUTE, count)
    rack.bin.refresh_from_db()
    assert rack.bin.count == 3  # 7 counted, then 4 taken out
    assert kept(count) == (14, 7, 7, 0)
    assert differences() == []


def test_a_bin_counted_anew_elsewhere_keeps_that_number(count, rack, attendant, later) -> None:
    see(attendant, later, count, rack.bin, quantity=7)
    stock.count(by=attendant, at=later + MINUTE, line=rack.bin, counted=8)
    close(attendant, later + 2 * MINUTE, count)
    rack.bin.refresh_from_db()
    assert rack.bin.count == 8
    assert differences() == []


def test_a_bin_that_nobody_counted_stays_and_is_in_no_figure(count, rack, attendant, later) -> None:
    for piece in rack.pieces:
        see(attendant, later, count, piece)
    close(attendant, later, count)
    rack.bin.refresh_from_db()
    assert rack.bin.count == 10
    assert kept(count) == (6, 6, 0, 0)


def test_closing_loses_what_is_missing_with_its_reason(count, rack, attendant, crew, later) -> None:
    for piece in rack.pieces[:4]:
        see(crew, later, count, piece)
    reasons = {rack.pieces[4].code: "lent to the next hall"}
    close(attendant, later + MINUTE, count, reasons=reasons)
    count.refresh_from_db()
    assert (count.state, count.closed_at, count.closed_by) == (
        "closed", later + MINUTE, attendant,
    )  # fmt: skip
    assert kept(count) == (6, 4, 2, 0)
    lost = Place.objects.get(kind="lost")
    assert {place_of(piece) for piece in rack.pieces[4:]} == {lost}
    assert place_of(rack.pieces[0]) == rack.shelf
    row = Movement.objects.get(piece=rack.pieces[4], to=lost)
    assert (row.how, row.sees, row.note) == ("count", False, "count 1: lent to the next hall")
    said = dict(CountLine.objects.exclude(reason="").values_list("piece", "reason"))
    assert said == {rack.pieces[4].pk: "lent to the next hall", rack.pieces[5].pk: "still looking"}
    assert Change.objects.filter(subject="Count", what="closed").count() == 1
    assert not OwnerReport.objects.exists()
    assert differences() == []


def test_every_missing_piece_needs_a_reason(count, rack, attendant, later) -> None:
    with pytest.raises(ToolingError) as refused:
        close(attendant, later, count, otherwise=" ", reasons={rack.pieces[0].code: "scrapped"})
    assert refused.value.code == "reason_missing"
    assert refused.value.values["count"] == 5
    count.refresh_from_db()
    assert count.state == "open"
    assert place_of(rack.pieces[0]) == rack.shelf


def test_a_list_that_grew_since_it_was_shown_is_shown_again(count, rack, attendant, later) -> None:
    shown = [piece.code for piece in rack.pieces[1:]]
    with pytest.raises(Conflict) as refused:
        close(attendant, later, count, listed=shown)
    assert refused.value.code == "list_changed"
    assert refused.value.values["codes"] == rack.pieces[0].code
    assert close(attendant, later, count, listed=[p.code for p in rack.pieces]).missing == 6


def test_a_lost_piece_that_is_counted_is_back_and_its_owner_s_report_says_so(
    world, rack, attendant, at, later
) -> None:
    owner = Owner.objects.create(code="ACME", name="Acme")
    theirs = world.piece(rack.drawing, rack.shelf, owner=owner)
    lost_in = rack.count(attendant, at)
    close(attendant, at + MINUTE, lost_in)
    report = OwnerReport.objects.get(piece=theirs)
    assert report.what_happened == "Not found in count 1 of Rack A: still looking"
    count = counts.open_count(by=attendant, at=later, place=rack.other)
    result = see(attendant, later + MINUTE, count, theirs)
    assert (result.status, result.code) == ("taken", "was_lost")
    assert result.message == f"{theirs.code} was lost. It is back, in Rack B."
    close(attendant, later + 2 * MINUTE, count)
    assert kept(count) == (0, 0, 0, 1)
    assert place_of(theirs) == rack.other
    assert [note.what for note in report.notes.all()] == ["found"]
    assert differences() == []


def test_a_lost_piece_that_is_scanned_anywhere_returns(world, rack, attendant, at, later) -> None:
    owner = Owner.objects.create(code="ACME", name="Acme")
    theirs = world.piece(rack.drawing, rack.shelf, owner=owner)
    close(attendant, at + MINUTE, rack.count(attendant, at))
    assert put(attendant, later, theirs.code, rack.other.code).status == "taken"
    assert place_of(theirs) == rack.other
    assert [note.what for note in OwnerReport.objects.get().notes.all()] == ["found"]


def test_an_owner_is_told_of_spacers_that_are_missing(world, rack, attendant, at, later) -> None:
    owner = Owner.objects.create(code="ACME", name="Acme")
    line = world.stock(world.drawing("S2", kind="spacer"), rack.shelf, 8, owner=owner)
    count = rack.count(attendant, at)
    see(attendant, later, count, line, quantity=5)
    close(attendant, later, count, reasons={line.code: "used up last week"})
    report = OwnerReport.objects.get()
    assert (report.stock_line, report.quantity, report.kind) == (line, 3, "loss")
    assert report.what_happened == "Not found in count 1 of Rack A: used up last week"


def test_dropping_a_count_changes_nothing(world, rack, attendant, at, later) -> None:
    paper = world.piece(rack.drawing, rack.shelf, seen=False)
    stray = world.piece(rack.drawing, rack.other)
    where = dict(Piece.objects.values_list("code", "place"))
    count = rack.count(attendant, at)
    for piece in (paper, stray):
        assert see(attendant, later, count, piece, rack.row).status == "taken"
    see(attendant, later + MINUTE, count, stray, rack.shelf)  # met twice, at two shelves
    see(attendant, later, count, rack.bin, quantity=3)
    counts.drop(by=attendant, at=later + 2 * MINUTE, count=count)
    assert dict(Piece.objects.values_list("code", "place")) == where
    paper.refresh_from_db()
    assert paper.seen_at is None
    rack.bin.refresh_from_db()
    assert rack.bin.count == 10
    assert kept(count) == (0, 0, 0, 0)
    late = see(attendant, later + 3 * MINUTE, count, rack.pieces[0])
    assert (late.status, late.code) == ("refused", "count_closed")
    assert rack.count(attendant, later + 4 * MINUTE).number == 2
    assert differences() == []


def test_a_closed_count_takes_no_more(count, rack, attendant, later) -> None:
    first = see(attendant, later, count, rack.pieces[0])
    close(attendant, later + MINUTE, count)
    late = see(attendant, later + 2 * MINUTE, count, rack.pieces[1])
    assert (late.status, late.code) == ("refused", "count_closed")
    for act in (
        lambda: close(attendant, later, count),
        lambda: counts.drop(by=attendant, at=later, count=count),
        lambda: count_entries.tick_row(by=attendant, at=later, count=count, place=rack.row),
        lambda: count_entries.take_back(by=attendant, at=later, count=count, entries=[first.id]),
    ):
        with pytest.raises(Conflict) as refused:
            act()
        assert refused.value.code == "count_closed"
    assert kept(count) == (6, 1, 5, 0)


def test_what_is_counted_already_is_not_opened_again(count, rack, world, attendant, at) -> None:
    owner = Owner.objects.create(code="ACME", name="Acme")
    around = Place.objects.get(pk=rack.rack.pk)
    for place in (around, rack.shelf):
        with pytest.raises(Conflict) as refused:
            counts.open_count(by=attendant, at=at, place=place)
        assert refused.value.code == "already_counting"
        assert refused.value.values["count"] == 1
    counts.open_count(by=attendant, at=at, place=rack.other)
    counts.open_count(by=attendant, at=at, owner=owner)
    with pytest.raises(Conflict) as refused:
        counts.open_count(by=attendant, at=at, owner=owner)
    assert refused.value.code == "already_counting"


def test_a_piece_of_two_open_counts_is_lost_once(world, rack, attendant, at, later) -> None:
    owner = Owner.objects.create(code="ACME", name="Acme")
    gone = world.piece(rack.drawing, rack.shelf, owner=owner)
    seen = world.piece(rack.drawing, rack.shelf, owner=owner)
    of_rack = rack.count(attendant, at)
    of_owner = counts.open_count(by=attendant, at=at, owner=owner)
    assert see(attendant, later, of_rack, seen).status == "taken"
    assert figures(of_owner) == (2, 1, 1, 0)  # seen anywhere is found
    close(attendant, later + MINUTE, of_owner)
    assert kept(of_owner) == (2, 1, 1, 0)
    assert figures(of_rack) == (7, 1, 6, 0)  # the lost one has moved away
    close(attendant, later + 2 * MINUTE, of_rack)
    assert OwnerReport.objects.count() == 1
    assert Movement.objects.filter(piece=gone, to__kind="lost").count() == 1


class TestOwnersAndCopies:
    """Counts that are of pieces wherever they are."""

    @pytest.fixture
    def acme(self, world: World) -> Owner:
        return Owner.objects.create(code="ACME", name="Acme")

    @pytest.fixture
    def theirs(self, world: World, rack: Rack, acme: Owner) -> list[Piece]:
        grinder = world.place("Outside grinder", kind="grinder")
        lost, scrap = world.place("Lost", kind="lost"), world.place("Scrap", kind="scrap")
        spots = [rack.shelf, rack.other, grinder, lost, scrap]
        return [world.piece(rack.drawing, spot, owner=acme) for spot in spots]

    def test_what_is_away_is_not_missing_and_what_is_lost_not_expected(
        self, acme, theirs, attendant, at, later
    ) -> None:
        count = counts.open_count(by=attendant, at=at, owner=acme)
        assert figures(count) == (2, 0, 2, 0)
        assert see(attendant, later, count, theirs[1]).status == "taken"
        close(attendant, later, count)
        assert kept(count) == (2, 1, 1, 0)
        assert place_of(theirs[0]).kind == "lost"
        assert place_of(theirs[2]).kind == "grinder"

    def test_what_the_record_has_away_or_lost_needs_a_place(
        self, rack, acme, theirs, attendant, at, later
    ) -> None:
        count = counts.open_count(by=attendant, at=at, owner=acme)
        for piece in theirs[2:4]:
            assert see(attendant, later, count, piece).code == "no_place"
        assert see(attendant, later, count, theirs[2], rack.shelf).status == "taken"
        assert see(attendant, later, count, theirs[3], rack.shelf).code == "was_lost"
        assert figures(count) == (3, 1, 2, 1)
        close(attendant, later, count)
        assert kept(count) == (3, 1, 2, 1)
        assert figures(count) == (3, 1, 2, 1)

    def test_another_owner_s_piece_or_bin_is_said(
        self, rack, acme, theirs, attendant, at, later
    ) -> None:
        count = counts.open_count(by=attendant, at=at, owner=acme)
        refused = see(attendant, later, count, rack.pieces[0])
        assert (refused.status, refused.code) == ("refused", "not_this_owner")
        assert "belongs to The shop; this count is of the tooling of Acme" in refused.message
        assert see(attendant, later, count, rack.bin, quantity=1).code == "not_this_owner"

    def test_a_copy_s_pieces_are_found_anywhere_and_others_sent_home(
        self, world, rack, attendant, at, later
    ) -> None:
        positions = {(1, "top", 1): rack.drawing, (1, "bottom", 1): rack.drawing}
        tool_set = world.tool_set("S1", positions)
        places = list(positions)
        copy = world.copy(tool_set, "A", dict(zip(places, rack.pieces[:2], strict=True)))
        world.copy(tool_set, "B", dict(zip(places, rack.pieces[2:4], strict=True)))
        count = counts.open_count(by=attendant, at=at, set_copy=copy)
        assert figures(count) == (2, 0, 2, 0)
        assert see(attendant, later, count, rack.pieces[0], rack.other).code == "moved_here"
        refused = see(attendant, later, count, rack.pieces[2])
        assert (refused.status, refused.code) == ("refused", "not_of_this_copy")
        assert "is no piece of S1-A but of S1-B" in refused.message
        assert see(attendant, later, count, rack.bin, quantity=1).code == "not_of_this_copy"
        close(attendant, later, count)
        assert kept(count) == (2, 1, 1, 0)

    def test_a_copy_known_from_paper_becomes_pieces_to_count(
        self, world, rack, attendant, at
    ) -> None:
        tool_set = world.tool_set("S1", {(1, "top", 1): rack.drawing})
        copy = world.copy(tool_set, "A", from_paper_count=1, home=rack.shelf)
        count = counts.open_count(by=attendant, at=at, set_copy=copy)
        assert figures(count) == (1, 0, 1, 0)


def test_codes_that_are_nothing_here_are_said(count, rack, world, attendant, at, later) -> None:
    cart = world.place("Cart 1", kind="cart")
    elsewhere = world.stock(world.drawing("S9", kind="spacer"), rack.other, 3)
    wrong = rack.pieces[0].code[:-1] + ("0" if rack.pieces[0].code[-1] != "0" else "1")
    said = {
        "nonsense": see(attendant, later, count, "no such mark").code,
        "misread": see(attendant, later, count, wrong).code,
        "cart": see(attendant, later, count, cart.code).code,
        "bin": see(attendant, later, count, elsewhere, quantity=2).code,
        "place": see(attendant, later, count, rack.pieces[0], rack.other).code,
        "many": see(attendant, later, count, rack.bin, quantity=-1).code,
    }
    assert said == {
        "nonsense": "unknown_code",
        "misread": "bad_check_character",
        "cart": "not_a_piece",
        "bin": "bin_elsewhere",
        "place": "not_in_count",
        "many": "absurd_quantity",
    }
    assert not CountEntry.objects.exists()


def test_a_mark_that_several_bear_means_the_one_that_is_expected(
    world, rack, attendant, at, later
) -> None:
    world.piece(rack.drawing, rack.other, mark="M0")
    count = rack.count(attendant, at)
    assert see(attendant, later, count, "m0").status == "taken"
    assert CountEntry.objects.get().piece == rack.pieces[0]


def test_the_same_id_counts_once_and_never_for_something_else(
    count, rack, attendant, later
) -> None:
    first = see(attendant, later, count, rack.pieces[0])
    again = see(attendant, later, count, rack.pieces[0], id=first.id)
    other = see(attendant, later, count, rack.pieces[1], id=first.id)
    assert (again.status, other.status, other.code) == ("repeated", "refused", "id_reused")
    assert figures(count) == (6, 1, 5, 0)


def test_places_where_nothing_lies_are_not_counted(world, rack, attendant, at) -> None:
    for place in (world.place("Lost", kind="lost"), world.place("Nowhere", kind="unknown")):
        with pytest.raises(Conflict) as refused:
            counts.open_count(by=attendant, at=at, place=place)
        assert refused.value.code == "not_countable"
    with pytest.raises(ToolingError) as refused:
        counts.open_count(by=attendant, at=at)
    assert refused.value.code == "one_subject"


def test_what_is_lost_inside_the_counted_place_is_not_expected(
    world, rack, attendant, at, later
) -> None:
    inside = world.place("Lost box", kind="lost", parent=rack.rack)
    lost = world.piece(rack.drawing, inside)
    count = rack.count(attendant, at)
    assert figures(count) == (6, 0, 6, 0)
    assert see(attendant, later, count, lost).code == "was_lost"
    assert place_of(lost) == rack.rack
    close(attendant, later, count)
    assert kept(count) == (6, 0, 6, 1)


def test_viewers_do_not_count_and_crew_do_not_close(count, rack, viewer, crew, at, later) -> None:
    with pytest.raises(NotAllowed):
        see(viewer, later, count, rack.pieces[0])
    for act in (
        lambda: rack.count(crew, at),
        lambda: close(crew, later, count),
        lambda: counts.drop(by=crew, at=later, count=count),
    ):
        with pytest.raises(NotAllowed):
            act()


@pytest.mark.parametrize("size", [0, 1, 250])
def test_any_size(world: World, attendant: Person, at: datetime, size: int) -> None:
    rack = world.place("Rack")
    drawing = world.drawing("D1")
    pieces = [world.piece(drawing, rack) for _n in range(size)]
    count = counts.open_count(by=attendant, at=at, place=rack)
    assert figures(count) == (size, 0, size, 0)
    if size > 1:
        for piece in pieces[:2]:
            see(attendant, at + MINUTE, count, piece)
        count_entries.tick_row(by=attendant, at=at + MINUTE, count=count, place=rack)
        assert figures(count) == (size, size, 0, 0)
        assert CountEntry.objects.count() == size
    close(attendant, at + 2 * MINUTE, count)
    assert kept(count) == (size, size if size > 1 else 0, 0 if size > 1 else size, 0)
    assert differences() == []


def test_nothing_is_half_closed(count, rack, attendant, later) -> None:
    """The database refuses the last row of the close: no piece is lost, no bin corrected."""
    see(attendant, later, count, rack.bin, quantity=3)

    def refuse(execute: Any, sql: str, *rest: Any) -> Any:
        if sql.startswith('INSERT INTO "tooling_change"'):
            raise DatabaseError("no room for the history row")
        return execute(sql, *rest)

    with pytest.raises(DatabaseError), connection.execute_wrapper(refuse):
        close(attendant, later + MINUTE, count)
    count.refresh_from_db()
    assert count.state == "open"
    assert not Piece.objects.filter(place__kind="lost").exists()
    assert StockLine.objects.get(pk=rack.bin.pk).count == 10
    assert not CountLine.objects.exclude(reason="").exists()

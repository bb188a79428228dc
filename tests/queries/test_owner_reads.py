"""An owner's tooling as it is read: what stands in it, and in a fixed number of queries."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.world import MM, World
from tooling.models import (
    Allotment,
    Approval,
    ApprovalPiece,
    Count,
    CountEntry,
    KitPosition,
    LengthEntry,
    Movement,
    Owner,
    OwnerMarkCheck,
    OwnerReport,
    Picture,
    Piece,
    Place,
    ReportNote,
    SetPass,
    SetPosition,
    StoredFile,
)
from tooling.queries.dormant import dormant_list, months_before
from tooling.queries.owner_marks import mark_walk
from tooling.queries.owner_register import BY_PLACE, bin_rows, pieces_of, register_rows
from tooling.queries.owner_reports import report_list, report_page
from tooling.queries.owner_values import insured_page, value_rows
from tooling.queries.owner_waiting import waiting
from tooling.queries.owners import owner_list, owner_page, owner_side
from tooling.queries.owners_today import owners_today
from tooling.services import kits

pytestmark = pytest.mark.django_db
COUNTS: dict[str, int] = json.loads(
    (Path(__file__).resolve().parent.parent / "query_counts.json").read_text()
)


class Theirs:
    """A customer with one piece of which everything is known, and then N more of the same."""

    def __init__(self, world: World) -> None:
        self.world, self.at = world, world.at
        self.owner = Owner.objects.create(code="ORN", name="Orn & Sons")
        self.rack = world.place("Rack", walking_order=1)
        world.place("Scrap", kind="scrap")
        world.place("Lost", kind="lost")
        self.drawing = world.drawing("D-1", bore_nm=60 * MM)
        self.tool_set = world.tool_set("1472", {})
        self.copy = world.copy(self.tool_set)
        self.file = StoredFile.objects.create(
            sha256="0" * 64, content_type="image/jpeg", size=1, stored_at=self.at
        )
        self.count = Count.objects.create(number=1, owner=self.owner, opened_at=self.at)
        self.piece = world.piece(self.drawing, self.rack, mark="1", owner=self.owner)
        self.know([self.piece])
        self.report = OwnerReport.objects.get().pk

    def grow(self, n: int) -> None:
        pieces = Piece.objects.bulk_create(
            Piece(
                code=f"RX{i:06d}", mark="1", drawing=self.drawing, place=self.rack,
                revision=self.drawing.revisions.get(), owner=self.owner, value_cents=100,
            )
            for i in range(n)
        )  # fmt: skip
        Movement.objects.bulk_create(
            Movement(piece=piece, to=self.rack, how="import", **self.times(400)) for piece in pieces
        )
        self.know(pieces)
        for i in range(min(n, 5)):
            shelf = self.world.place(f"B{i}", parent=self.rack)
            self.world.stock(self.drawing, shelf, 3, owner=self.owner)

    def times(self, days: int) -> dict[str, object]:
        then = self.at - timedelta(days=days)
        return {"happened_at": then, "received_at": then, "effective_at": then}

    def know(self, pieces: list[Piece]) -> None:
        """One of every row that a piece of an owner's may have."""
        at, owner, n = self.at, self.owner, len(pieces)
        first = SetPass.objects.filter(tool_set=self.tool_set).count() + 1
        passes = SetPass.objects.bulk_create(
            SetPass(tool_set=self.tool_set, number=first + i) for i in range(n)
        )
        positions = SetPosition.objects.bulk_create(
            SetPosition(set_pass=each, shaft="top", order=1, drawing=self.drawing)
            for each in passes
        )
        Allotment.objects.bulk_create(
            Allotment(copy=self.copy, position=position, piece=piece)
            for position, piece in zip(positions, pieces, strict=True)
        )
        OwnerMarkCheck.objects.bulk_create(
            OwnerMarkCheck(piece=piece, is_there=True, checked_at=at, at=at) for piece in pieces
        )
        CountEntry.objects.bulk_create(
            CountEntry(count=self.count, piece=piece, how="scan", happened_at=at, at=at)
            for piece in pieces
        )
        Picture.objects.bulk_create(
            Picture(file=self.file, small=self.file, width=1, height=1, piece=piece, at=at)
            for piece in pieces
        )
        reports = OwnerReport.objects.bulk_create(
            OwnerReport(owner=owner, piece=piece, kind="damage", what_happened="x", opened_at=at)
            for piece in pieces
        )
        ReportNote.objects.bulk_create(
            ReportNote(report=report, what="found", happened_at=at, at=at) for report in reports
        )
        asked = Approval.objects.bulk_create(
            Approval(owner=owner, kind="scrap", answer="asked", dated_on=at.date(), at=at)
            for _piece in pieces
        )
        ApprovalPiece.objects.bulk_create(
            ApprovalPiece(approval=approval, piece=piece)
            for approval, piece in zip(asked, pieces, strict=True)
        )


PAGES: dict[str, Callable[[Theirs], object]] = {
    "owner list": lambda c: owner_list(at=c.at),
    "owner page": lambda c: owner_page("ORN", at=c.at),
    "owner register": lambda c: register_rows(pieces_of(c.owner).order_by(*BY_PLACE)),
    "owner bins": lambda c: bin_rows(c.owner),
    "owner side": lambda c: owner_side(c.piece.code, at=c.at),
    "owner marks": lambda c: mark_walk(c.owner, which="all"),
    "owner questions": lambda c: waiting(at=c.at),
    "owner reports": lambda c: report_list(only_open=True),
    "owner report": lambda c: report_page(c.report),
    "owners today": lambda c: owners_today(at=c.at),
    "insured": lambda c: insured_page(),
    "value rows": lambda c: list(value_rows()),
    "dormant": lambda c: dormant_list(at=c.at),
}


@pytest.mark.parametrize("rows", [0, 1, 250])
def test_it_asks_no_more_queries_when_there_is_more_to_show(rows: int, world: World) -> None:
    theirs = Theirs(world)
    theirs.grow(rows)
    asked = {}
    for name, read in PAGES.items():
        with CaptureQueriesContext(connection) as captured:
            read(theirs)
        asked[name] = len(captured)
    assert {name: n for name, n in asked.items() if n > COUNTS[name]} == {}
    if rows:
        assert asked == {name: COUNTS[name] for name in PAGES}


@pytest.fixture
def theirs(world: World) -> Theirs:
    return Theirs(world)


def test_the_register_says_of_a_piece_all_that_its_owner_asks(theirs: Theirs) -> None:
    (row,) = register_rows(pieces_of(theirs.owner))
    assert (row.drawing, row.revision, row.set_and_pass) == ("D-1", "A", "1472-A, pass 1")
    assert (row.has_mark, row.counted_at, row.open_reports) == (True, theirs.at, 1)
    assert (row.place, row.small, row.value_cents) == ("Rack", "0" * 64, None)


def test_what_was_scrapped_is_not_theirs_to_show_but_what_is_lost_is(theirs: Theirs) -> None:
    scrap = theirs.world.place("Skip", kind="shelf", parent=_place("scrap"))
    theirs.world.piece(theirs.drawing, scrap, owner=theirs.owner)
    lost = theirs.world.piece(theirs.drawing, _place("lost"), owner=theirs.owner)
    codes = {row.code for row in register_rows(pieces_of(theirs.owner))}
    assert codes == {theirs.piece.code, lost.code}


def _place(kind: str) -> Place:
    return Place.objects.get(kind=kind)


def test_the_newest_look_at_a_mark_stands_and_a_taken_back_count_does_not(theirs: Theirs) -> None:
    later = theirs.at + timedelta(hours=1)
    OwnerMarkCheck.objects.create(piece=theirs.piece, is_there=False, checked_at=later, at=later)
    entry = CountEntry.objects.get()
    CountEntry.objects.create(
        count=theirs.count, piece=theirs.piece, how="tick", happened_at=later, at=later,
        is_taken_back=True, corrects=entry,
    )  # fmt: skip
    (row,) = register_rows(pieces_of(theirs.owner))
    assert (row.has_mark, row.mark_checked_at, row.counted_at) == (False, later, None)


def test_the_page_of_an_owner_with_nothing_is_a_page_with_nothing(world: World) -> None:
    Owner.objects.create(code="NIL", name="Nobody")
    page = owner_page("NIL", at=world.at, page=9)
    assert (page.rows, page.bins, page.page, page.pages, page.marks.pieces) == ((), (), 1, 1, 0)


def test_pages_of_a_register_hold_each_piece_once_by_place(theirs: Theirs) -> None:
    theirs.grow(120)
    pages = [owner_page("ORN", at=theirs.at, page=number) for number in (1, 2, 3)]
    codes = [row.code for page in pages for row in page.rows]
    assert (pages[0].pages, len(codes), len(set(codes))) == (3, 121, 121)


# Questions.


def ask(theirs: Theirs, answer: str, *, pieces=(), kind="scrap", hours=1, days=0) -> Approval:
    at = theirs.at + timedelta(hours=hours)
    made = Approval.objects.create(
        owner=theirs.owner, kind=kind, answer=answer, at=at, reference="letter",
        dated_on=(theirs.at - timedelta(days=days)).date(),
    )  # fmt: skip
    ApprovalPiece.objects.bulk_create(ApprovalPiece(approval=made, piece=p) for p in pieces)
    return made


def test_a_question_waits_until_its_answer_and_says_how_long(theirs: Theirs) -> None:
    second = theirs.world.piece(theirs.drawing, theirs.rack, owner=theirs.owner)
    both = [theirs.piece, second]
    ask(theirs, "asked", pieces=both, kind="regrind", days=20)
    ask(theirs, "asked", pieces=both, kind="regrind", hours=2, days=2)
    found = next(row for row in waiting(at=theirs.at) if row.kind == "regrind")
    assert (found.days, found.pieces, found.asked_again_on) == (20, 2, date(2026, 11, 23))
    ask(theirs, "given", pieces=[theirs.piece], kind="regrind", hours=3)
    left = next(row for row in waiting(at=theirs.at) if row.kind == "regrind")
    assert left.codes == (second.code,)
    ask(theirs, "refused", kind="regrind", hours=4)
    assert [row.kind for row in waiting(at=theirs.at)] == ["scrap"]


def test_a_question_about_everything_waits_and_what_changed_hands_waits_no_more(
    theirs: Theirs,
) -> None:
    ask(theirs, "asked", kind="transfer")
    Piece.objects.update(owner=theirs.world.shop)
    (row,) = waiting(at=theirs.at)
    assert (row.kind, row.of_all, row.pieces) == ("transfer", True, 0)


# Value.


def test_values_are_whole_hundredths_by_owner_and_by_outermost_place(theirs: Theirs) -> None:
    inner = theirs.world.place("Shelf", parent=theirs.rack)
    hall = theirs.world.place("Hall 2")
    for place, cents in ((inner, 10), (inner, 20_000_000_000_001), (hall, None)):
        theirs.world.piece(theirs.drawing, place, owner=theirs.owner, value_cents=cents)
    theirs.world.piece(theirs.drawing, hall, value_cents=5)
    page = insured_page()
    assert [
        (each.name, each.pieces, each.unvalued, each.value_cents) for each in page.by_place
    ] == [
        ("Hall 2", 2, 1, 5),
        ("Rack", 3, 1, 20_000_000_000_011),
    ]
    assert [(each.key, each.value_cents) for each in page.by_owner] == [
        ("ORN", 20_000_000_000_011),
        ("SHOP", 5),
    ]
    assert insured_page(theirs.owner).total.value_cents == 20_000_000_000_011


# What lies still.


def still(theirs: Theirs, piece: Piece) -> bool:
    return piece.code in {row.code for row in dormant_list(at=theirs.at).rows}


@pytest.fixture
def old(theirs: Theirs) -> Piece:
    """A piece that came two years ago and has not been touched."""
    piece = theirs.world.piece(theirs.drawing, theirs.rack)
    Movement.objects.create(piece=piece, to=theirs.rack, how="import", **theirs.times(730))
    return piece


def test_what_nobody_used_for_twelve_months_lies_still_and_what_just_came_does_not(
    theirs: Theirs, old: Piece
) -> None:
    assert still(theirs, old)
    assert not still(theirs, theirs.world.piece(theirs.drawing, theirs.rack))


@pytest.mark.parametrize("what", ["run", "moved", "staged", "counted"])
@pytest.mark.parametrize(("days", "expected"), [(360, False), (370, True)])
def test_a_run_a_move_for_a_job_and_a_count_wake_it(
    theirs: Theirs, old: Piece, engineer, what: str, days: int, expected: bool
) -> None:
    then = theirs.at - timedelta(days=days)
    if what == "run":
        LengthEntry.objects.create(piece=old, length_nm=1, happened_at=then, received_at=then)
    elif what == "counted":
        CountEntry.objects.create(
            count=theirs.count, piece=old, how="scan", happened_at=then, at=then
        )
    else:
        mill = theirs.world.mill()
        tool_set = theirs.world.tool_set("9", {(1, "top", 1): theirs.drawing})
        job = theirs.world.job(tool_set, mill)
        kit = kits.open_kit(by=engineer, at=theirs.at, job=job)
        if what == "moved":
            Movement.objects.create(
                piece=old, to=theirs.rack, how="scan", kit=kit, **theirs.times(days)
            )
        else:
            KitPosition.objects.filter(kit=kit).update(piece=old, is_staged=True, is_open=False)
            type(kit).objects.filter(pk=kit.pk).update(state="closed", closed_at=then)
    assert still(theirs, old) is expected


def test_months_are_calendar_months_and_a_short_month_ends_early(at) -> None:
    assert months_before(at, 12).date() == date(2025, 11, 25)
    assert months_before(at.replace(month=3, day=31), 1).date() == date(2026, 2, 28)

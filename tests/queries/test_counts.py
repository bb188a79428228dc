"""What the pages of counts read: groups, candidates, the plan, accuracy; how many queries."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.services.counting import MINUTE, Rack, close, see
from tests.services.scanning import put
from tests.world import World
from tooling.models import (
    Count,
    CountEntry,
    CountLine,
    Movement,
    Owner,
    Person,
    Piece,
    Place,
    RefusedScan,
    Setting,
)
from tooling.queries.count_accuracy import accuracy_record
from tooling.queries.count_candidates import missing_pieces
from tooling.queries.count_plan import count_plan, counts_today
from tooling.queries.count_state import state_of
from tooling.queries.count_words import Figures
from tooling.queries.counts import count_list, count_page, count_token
from tooling.queries.piece_history import piece_history
from tooling.services import count_entries, counts, stock

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
COUNTS: dict[str, int] = json.loads(
    (Path(__file__).resolve().parent.parent / "query_counts.json").read_text()
)


@pytest.fixture
def rack(world: World) -> Rack:
    return Rack(world)


def test_pegs_stand_in_their_row_and_each_place_tells_its_progress(
    rack: Rack, attendant: Person, at: datetime
) -> None:
    count = rack.count(attendant, at)
    see(attendant, at + MINUTE, count, rack.pieces[3])
    see(attendant, at + MINUTE, count, rack.bin, quantity=12)
    page = count_page(count.number)
    told = [(group.name, group.figures, group.missing, len(group.pieces)) for group in page.groups]
    assert told == [
        ("Rack A", Figures(11, 10, 1, 2), 1, 1),
        ("Shelf 1", Figures(3, 0, 3, 0), 3, 3),
        ("Shelf 2", Figures(2, 1, 1, 0), 1, 2),
    ]
    assert page.figures == Figures(16, 11, 5, 2)
    seen = page.groups[2].pieces[0]
    assert (seen.by, seen.at, seen.outcome) == ("Attendant", at + MINUTE, "found")
    assert [row.difference for row in page.differing] == [2]


def test_a_large_count_unfolds_one_place_at_a_time(
    rack: Rack, world: World, attendant: Person, at: datetime
) -> None:
    for _n in range(50):
        world.piece(rack.drawing, rack.row)
    count = rack.count(attendant, at)
    unfolded = {group.name: group.is_unfolded for group in count_page(count.number).groups}
    assert unfolded == {"Rack A": False, "Shelf 1": False, "Shelf 2": False}
    page = count_page(count.number, at_place=rack.row.code.lower())
    assert [len(group.pieces) for group in page.groups] == [0, 0, 52]


def test_the_last_marks_tell_who_and_a_ticked_row_is_one(
    rack: Rack, attendant: Person, crew: Person, at: datetime
) -> None:
    count = rack.count(attendant, at)
    found = see(attendant, at + MINUTE, count, rack.pieces[0])
    count_entries.tick_row(by=crew, at=at + 2 * MINUTE, count=count, place=rack.row)
    count_entries.take_back(by=crew, at=at + 3 * MINUTE, count=count, entries=[found.id])
    row, one = count_page(count.number).last
    assert (row.by, len(row.entries), row.is_undone) == ("Crew", 2, False)
    assert (one.by, one.code, one.entries, one.is_undone) == (
        "Attendant", rack.pieces[0].code, (), True,
    )  # fmt: skip


def test_the_token_moves_with_every_mark_and_every_move_of_what_is_expected(
    rack: Rack, world: World, attendant: Person, at: datetime
) -> None:
    stranger = world.piece(rack.drawing, rack.other)
    count = rack.count(attendant, at)
    tokens = [count_token(count.number)]

    def moved() -> bool:
        tokens.append(count_token(count.number))
        return tokens[-1] != tokens[-2]

    assert not moved()
    see(attendant, at + MINUTE, count, rack.pieces[0])
    assert moved()
    put(attendant, at + 2 * MINUTE, rack.pieces[1].code, rack.other.code)
    assert moved()
    stock.use_up(by=attendant, at=at + 3 * MINUTE, line=rack.bin, quantity=1)
    assert moved()
    put(attendant, at + 4 * MINUTE, stranger.code, world.place("Far away").code)
    assert not moved()
    close(attendant, at + 5 * MINUTE, count)
    assert moved()


def test_a_missing_piece_is_told_with_where_to_look(
    rack: Rack, world: World, attendant: Person, crew: Person, at: datetime
) -> None:
    lost = rack.pieces[0]
    Piece.objects.filter(pk=lost.pk).update(home=rack.row)
    put(crew, at + MINUTE, lost.code, rack.other.code)
    put(attendant, at + 2 * MINUTE, lost.code, rack.shelf.code)
    stray = world.piece(rack.drawing, rack.other, mark=lost.mark.lower())
    count = rack.count(attendant, at + 3 * MINUTE)
    RefusedScan.objects.create(
        uuid=uuid.uuid4(), scan=uuid.uuid4(), happened_at=at, received_at=at + 4 * MINUTE,
        effective_at=at + 4 * MINUTE, code_read=lost.code, how="scan", by=crew, piece=lost,
        error_code="piece_held", message="held for a crack",
    )  # fmt: skip
    see(attendant, at + 5 * MINUTE, count, stray)
    told = missing_pieces(state_of(Count.objects.select_related("place").get()))
    [row] = [row for row in told if row.piece.code == lost.code]
    assert (row.seen_at, row.seen_by) == (at + 2 * MINUTE, "Attendant")
    assert row.seen_place == "Rack A / Shelf 1"
    assert [each.said for each in row.candidates] == [
        "Crew scanned it, and it was refused: held for a crack",
        f"{stray.code} bears the same mark and was found: mixed up?",
        "Attendant took it from Rack B.",
        "It belongs in Rack A / Shelf 2.",
    ]


class TestPlan:
    """Ten racks with a piece each; the first is moved most, the next three a little."""

    @pytest.fixture
    def at(self) -> datetime:
        """Long after everything was entered from paper."""
        return datetime(2026, 11, 25, 9, 0, tzinfo=UTC)

    @pytest.fixture
    def world(self, db: None, at: datetime) -> World:
        return World(at=at - 500 * DAY)

    @pytest.fixture
    def racks(self, world: World, attendant: Person, at: datetime) -> list[Place]:
        drawing = world.drawing("D1")
        racks = [world.place(f"Rack {n}", walking_order=n) for n in range(10)]
        pieces = [world.piece(drawing, rack) for rack in racks]
        shelf = world.place("Shelf", kind="shelf", parent=racks[0])
        for turn in range(3):
            put(attendant, at - 9 * DAY + turn * DAY, pieces[0].code, shelf.code)
            put(attendant, at - 9 * DAY + turn * DAY + MINUTE, pieces[0].code, racks[0].code)
        for n in (1, 2, 3):
            put(attendant, at - 7 * DAY, pieces[n].code, racks[n].code)
        put(attendant, at - 100 * DAY, pieces[9].code, racks[9].code)  # too long ago to matter
        return racks

    def test_the_most_moved_fifth_is_counted_often(self, racks, at: datetime) -> None:
        plan = count_plan(at=at)
        told = {row.name: (row.how_often, row.every_days) for row in plan.places}
        assert told["Rack 0"] == told["Rack 1"] == ("often", 30)
        assert told["Rack 2"] == told["Rack 3"] == ("middle", 91)
        assert {told[f"Rack {n}"] for n in range(4, 10)} == {("rest", 365)}
        assert {row.due for row in plan.places} == {"never"}
        assert plan.places[0].name == "Rack 0"
        assert plan.places[0].moves == 6  # three times to the shelf and back

    def test_a_place_is_due_by_its_last_count_or_one_around_it(self, racks, at: datetime) -> None:
        days = {0: 31, 1: 30, 2: 90, 4: 365 + 5, 5: 1}
        for n, ago in days.items():
            when = at - ago * DAY
            Count.objects.create(
                number=n + 1, place=racks[n], state="closed", opened_at=when, closed_at=when
            )
        rows = {row.name: row for row in count_plan(at=at).places}
        assert {n: str(rows[f"Rack {n}"].due) for n in days} == {
            0: "overdue", 1: "today", 2: "soon", 4: "overdue", 5: "later",
        }  # fmt: skip
        assert rows["Rack 0"].due_on == date(2026, 11, 24)
        assert rows["Rack 0"].moves_since == 6
        assert rows["Rack 5"].moves_since == 0
        assert rows["Rack 6"].moves_since is None
        assert counts_today(at=at).pressing == 8  # three late or due, five never counted

    def test_a_cart_is_counted_by_itself_and_what_is_away_or_on_a_mill_is_not(
        self, racks, world: World, at: datetime
    ) -> None:
        drawing = world.drawing("D2")
        cart = world.place("Cart 1", kind="cart", parent=racks[0])
        mill = world.mill("M1", stations=1)
        away = world.place("Grinder", kind="grinder")
        for place in (cart, mill.stations.get().place, away, world.place("Lost", kind="lost")):
            world.piece(drawing, place)
        floor = world.place("Floor", kind="area")
        world.piece(drawing, floor)
        names = {row.name for row in count_plan(at=at).places}
        assert {"Rack 0 / Cart 1", "Floor"} <= names
        assert len(names) == 12

    def test_a_shop_that_sets_other_shares_and_days_gets_them(self, racks, at: datetime) -> None:
        Setting.objects.create(name="count_often_share", value=10)
        Setting.objects.create(name="count_often_days", value=7)
        often = [row for row in count_plan(at=at).places if row.how_often == "often"]
        assert [(row.name, row.every_days) for row in often] == [("Rack 0", 7)]

    def test_customers_are_counted_yearly(
        self, racks, world: World, attendant: Person, at: datetime
    ) -> None:
        acme = Owner.objects.create(code="ACME", name="Acme")
        Owner.objects.create(code="NONE", name="Has nothing here")
        world.piece(world.drawing("D2"), racks[0], owner=acme)
        assert [(row.code, row.due) for row in count_plan(at=at).owners] == [("ACME", "never")]
        count = counts.open_count(by=attendant, at=at - 366 * DAY, owner=acme)
        assert count_plan(at=at).owners[0].open_number == count.number
        close(attendant, at - 366 * DAY, count)
        Piece.objects.filter(owner=acme).update(place=racks[0])
        [row] = count_plan(at=at).owners
        assert (row.due, row.due_on, row.last_number) == ("overdue", date(2026, 11, 24), 1)


def test_accuracy_is_found_of_expected_by_count_month_and_place(
    world: World, attendant: Person, at: datetime
) -> None:
    racks = [world.place("Rack A"), world.place("Rack B")]
    told = [(0, "2026-10-05", 10, 9), (0, "2026-11-02", 10, 10), (1, "2026-11-03", 30, 27)]
    for number, (rack, day, expected, found) in enumerate(told, start=1):
        closed = datetime.fromisoformat(f"{day}T12:00:00+00:00")
        Count.objects.create(
            number=number, place=racks[rack], state="closed", opened_at=closed, closed_at=closed,
            expected=expected, found=found, missing=expected - found, extra=number,
        )  # fmt: skip
    record = accuracy_record()
    assert [count.figures.accuracy for count in record.counts] == [0.9, 1.0, 0.9]
    assert [(row.month, row.counts, row.figures) for row in record.months] == [
        (date(2026, 10, 1), 1, Figures(10, 9, 1, 1)),
        (date(2026, 11, 1), 2, Figures(40, 37, 3, 5)),
    ]
    assert [(row.subject, row.figures.accuracy, row.last_number) for row in record.subjects] == [
        ("Rack B", 0.9, 3),
        ("Rack A", 0.95, 2),
    ]
    assert record.total == Figures(50, 46, 4, 6)


QUERIES = {
    "count page": lambda count, at: count_page(count.number),
    "count version": lambda count, at: count_token(count.number),
    "count list": lambda count, at: count_list(),
    "count close list": lambda count, at: missing_pieces(state_of(count)),
    "count plan": lambda count, at: count_plan(at=at),
    "counts today": lambda count, at: counts_today(at=at),
    "count accuracy": lambda count, at: accuracy_record(),
}


def test_a_count_asks_no_more_queries_when_there_is_more_to_count(
    world: World, attendant: Person, at: datetime
) -> None:
    counted = {}
    for size in (1, 250):
        drawing = world.drawing(f"X{size}")
        place = world.place(f"Big rack {size}")
        shelves = Place.objects.bulk_create(
            Place(code=f"PX{size:03d}{n:03d}", kind="rack", name=f"S{size}-{n}",
                  path=f"{place.path}PX{size:03d}{n:03d}/", path_name=f"Big {n}", parent=place)
            for n in range(size)
        )  # fmt: skip
        revision = drawing.revisions.get()
        pieces = Piece.objects.bulk_create(
            Piece(code=f"RX{size:03d}{n:03d}", drawing=drawing, revision=revision,
                  place=shelves[n], owner=world.shop)
            for n in range(size)
        )  # fmt: skip
        stray = Piece.objects.bulk_create(
            Piece(code=f"RY{size:03d}{n:03d}", drawing=drawing, revision=revision, place=place,
                  owner=world.shop)
            for n in range(size)
        )  # fmt: skip
        before = counts.open_count(by=attendant, at=at - 2 * DAY, place=place)
        close(attendant, at - DAY, before)
        Piece.objects.filter(pk__in=[p.pk for p in pieces]).update(place=shelves[0])
        count = counts.open_count(by=attendant, at=at, place=place)
        line = world.stock(drawing, place, 5)
        CountLine.objects.create(count=count, stock_line=line, place=place, expected=5)
        made = {"count": count, "how": "scan", "happened_at": at, "at": at, "by": attendant}
        CountEntry.objects.create(stock_line=line, quantity=4, place=place, **made)
        moved = [
            Movement(piece=piece, to=place, from_seen=place, how="count", happened_at=at,
                     received_at=at, effective_at=at)
            for piece in stray
        ]  # fmt: skip
        CountEntry.objects.bulk_create(
            CountEntry(piece=row.piece, place=place, movement=row, **made)
            for row in Movement.objects.bulk_create(moved)
        )
        asked = {}
        count = Count.objects.select_related("place").get(pk=count.pk)
        for name, read in QUERIES.items():
            with CaptureQueriesContext(connection) as captured:
                read(count, at + MINUTE)
            asked[name] = len(captured)
        counted[size] = asked
    wanted = {name: COUNTS[name] for name in QUERIES}
    assert counted == {1: wanted, 250: wanted}


def test_a_piece_s_line_of_time_tells_of_a_count_that_saw_it(
    rack: Rack, attendant: Person, at: datetime
) -> None:
    count = rack.count(attendant, at)
    see(attendant, at + MINUTE, count, rack.pieces[0])
    told = piece_history(rack.pieces[0].code).entries[0]
    assert (told.kind, told.by, told.at) == ("count", "Attendant", at + MINUTE)
    assert told.said == "seen in count 1 at Rack A / Shelf 1"

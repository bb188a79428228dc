"""Strokes of line tooling add up, are counted anew from a sharpening, and never lie."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from fractions import Fraction

import pytest

from tests.world import World
from tooling.errors import ToolingError
from tooling.models import Job, LengthEntry, Person, Piece
from tooling.queries.kit_views import PositionView
from tooling.queries.kits import kit_page
from tooling.queries.strokes import Strokes, strokes_of
from tooling.services import kits, lengths_run, work
from tooling.services.rebuild import differences

M = 10**9
DAY = timedelta(days=1)


@pytest.fixture
def blade(world: World) -> Piece:
    drawing = world.drawing("CB-01", kind="line_tooling", strokes_to_sharpen=20_000)
    return world.piece(drawing, world.place("Rack A"), mark="CB-01")


def made(by: Person, at: datetime, blade: Piece, strokes: int, **fields: object) -> LengthEntry:
    return lengths_run.record_length(by=by, at=at, piece=blade, strokes=strokes, **fields)


def now(blade: Piece) -> Piece:
    return Piece.objects.select_related("revision").get(pk=blade.pk)


def test_strokes_add_up_beside_the_strip_and_a_correction_replaces(
    crew: Person, at: datetime, blade: Piece
) -> None:
    made(crew, at, blade, 4_000, length_nm=12_000 * M)
    wrong = made(crew, at, blade, 90_000)
    assert now(blade).strokes_run == 94_000
    made(crew, at, blade, 9_000, corrects=wrong)
    assert (now(blade).strokes_run, now(blade).length_run_nm) == (13_000, 12_000 * M)
    assert differences() == []


def test_a_sharpening_counts_from_its_day_on_until_it_is_taken_back(
    crew: Person, engineer: Person, at: datetime, blade: Piece
) -> None:
    made(crew, at - 3 * DAY, blade, 15_000)
    made(crew, at - DAY, blade, 7_000)
    assert strokes_of([now(blade)])[blade.pk] == Strokes(22_000, 20_000)
    sharpened = {"by": engineer, "at": at, "piece": blade, "done_on": date(2026, 11, 24)}
    done = work.record_work(kind="sharpen", **sharpened)
    made(crew, at, blade, 100)
    assert strokes_of([now(blade)])[blade.pk].since == 7_100
    work.record_work(kind="polish", corrects=done, **sharpened)
    assert strokes_of([now(blade)])[blade.pk].since == 22_100


def test_strokes_of_a_job_follow_from_what_tools_alike_made_to_a_length(
    world: World, crew: Person, at: datetime, blade: Piece
) -> None:
    twin = world.piece(blade.drawing, blade.place)
    made(crew, at, blade, 1_000, length_nm=3_000 * M)
    made(crew, at, twin, 3_000, length_nm=9_000 * M)
    made(crew, at, blade, 18_000)
    found = strokes_of([now(blade)])[blade.pk]
    # 4 000 strokes to 12 000 m: one in 3 m; 19 000 made of 20 000, so 3 000 m is the last that fits
    assert (found.since, found.per_nm) == (19_000, Fraction(4_000, 12_000 * M))
    assert (found.of_job(2_999 * M), found.of_job(3_001 * M)) == (1_000, 1_001)
    assert (found.is_over_with(3_000 * M), found.is_over_with(3_001 * M)) == (False, True)
    assert found.of_job(0) is None


def test_nothing_is_said_of_a_tool_without_a_limit_or_without_strokes(
    world: World, crew: Person, at: datetime, blade: Piece
) -> None:
    free = world.piece(world.drawing("G-1", kind="line_tooling"), blade.place)
    made(crew, at, free, 5)
    assert strokes_of([now(free), now(blade)]) == {}
    made(crew, at, blade, 1)
    assert strokes_of([now(blade)])[blade.pk].of_job(10**15) is None


@pytest.mark.parametrize("strokes", [-1, 1_000_000_001])
def test_absurd_strokes_and_nothing_at_all_are_refused(
    strokes: int, crew: Person, at: datetime, blade: Piece
) -> None:
    with pytest.raises(ToolingError, match="absurd_strokes"):
        made(crew, at, blade, strokes)
    with pytest.raises(ToolingError, match="absurd_length"):
        made(crew, at, blade, 0)
    assert now(blade).strokes_run == 0


def on_the_line(world: World, blade: Piece, crew: Person, **job: object) -> str:
    """The number of a kit that calls for a roll and, on the line, the blade's drawing."""
    roll = world.drawing("R-1")
    tool_set = world.tool_set("T-1", {(1, "top", 1): roll, (1, "line", 1): blade.drawing})
    world.copy(tool_set, "A", {(1, "line", 1): blade})
    plan = world.job(tool_set, world.mill("M1"), **job)
    kit = kits.open_kit(by=crew, at=world.at, job=plan)
    return kits.assemble(by=crew, at=world.at, kit=kit).number


def of_blade(number: str, at: datetime) -> PositionView:
    return kit_page(number, at=at).line[0]


def test_a_blunt_tool_is_worn_until_it_is_sharpened(
    world: World, crew: Person, engineer: Person, at: datetime, blade: Piece
) -> None:
    made(crew, at - DAY, blade, 20_000)
    number = on_the_line(world, blade, crew)
    assert of_blade(number, at).state == "to_fetch"
    made(crew, at - DAY, blade, 1)
    seen = of_blade(number, at)
    assert (seen.state, seen.to_sharpen) == ("worn", True)
    assert "20\u202f001 strokes" in seen.reason
    spare = world.piece(blade.drawing, blade.place)
    offered = of_blade(number, at).alternative
    assert offered is not None
    assert offered.code == spare.code
    work.record_work(by=engineer, at=at, piece=blade, kind="sharpen", done_on=date(2026, 11, 25))
    assert of_blade(number, at).state == "to_fetch"


def test_a_tool_that_the_job_would_blunt_may_not_last(
    world: World, crew: Person, at: datetime, blade: Piece
) -> None:
    made(crew, at, blade, 4_000, length_nm=12_000 * M)
    made(crew, at, blade, 15_000)
    number = on_the_line(world, blade, crew, length_nm=3_001 * M)
    page = kit_page(number, at=at)
    assert (page.line[0].state, page.next_step.code) == ("may_not_last", "choose_place")
    assert "1 to sharpen before this run" in page.header
    assert "to measure" not in page.header
    Job.objects.update(length_nm=3_000 * M)
    assert of_blade(number, at).state == "to_fetch"


def test_a_blunt_spare_is_not_offered(
    world: World, crew: Person, at: datetime, blade: Piece
) -> None:
    spare = world.piece(blade.drawing, blade.place)
    made(crew, at, spare, 20_001)
    number = on_the_line(world, blade, crew)
    Piece.objects.filter(pk=blade.pk).update(condition="cracked")
    assert of_blade(number, at).alternative is None

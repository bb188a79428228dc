"""The setup sheet's numbers against those worked out by hand in ``tests/four_passes.py``."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.four_passes import FourPasses, four_passes
from tests.standing import Standing
from tests.world import MM, World
from tooling.engineering.last_good import Struck
from tooling.errors import Unknown
from tooling.models import (
    AsSet,
    ChartPass,
    Job,
    Kit,
    Person,
    Piece,
    Reading,
    SetPosition,
    Setup,
    SetupChart,
    Work,
)
from tooling.queries.setup_sheet import setup_sheet
from tooling.queries.setup_sheet_views import LastGood, SetupSheetView, SheetStation
from tooling.queries.sizes_at import sizes_at
from tooling.services import kit_assembly, kits

COUNTS: dict[str, int] = json.loads(
    (Path(__file__).parent.parent / "query_counts.json").read_text()
)
pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_shop(standing_world: World, standing_cast: dict[str, Person]) -> FourPasses:
    return four_passes(standing_world, standing_cast["engineer"])


@pytest.fixture
def shop(standing: Standing, standing_shop: FourPasses) -> FourPasses:
    return standing.copy(standing_shop)


def sheet(shop: FourPasses) -> SetupSheetView:
    return setup_sheet(shop.kit.number, at=shop.world.at)


def station(shop: FourPasses, number: int) -> SheetStation:
    return next(each for each in sheet(shop).stations if each.number == number)


def last(shop: FourPasses, number: int) -> dict[tuple[str, str], LastGood]:
    rows = station(shop, number).settings
    return {(row.name, row.end): row.last for row in rows if row.last is not None}


def test_the_head_says_what_is_set_up_where_and_that_it_is_unproved(shop: FourPasses) -> None:
    view = sheet(shop)
    assert (view.number, view.copy_letter, view.unit) == (shop.kit.number, "A", "mm")
    assert (view.proof, view.chart_revision, view.is_begun) == ("unproved", "A", False)
    assert (view.idle, view.off_the_chart) == ((3, 6), ())
    assert view.last is not None
    assert (view.last.is_this_mill, view.last.strip_nm) == (True, 1_500_000)
    assert view.kg == pytest.approx(8 * 24)


def test_a_gap_over_the_strip_with_its_packs_centres_and_moves(shop: FourPasses) -> None:
    one = station(shop, 1)
    gap, moves = one.gap, one.moves
    assert gap is not None
    assert moves is not None
    assert (gap.target_nm, gap.packs, gap.point) == (1_250_000, "feelers", "web")
    assert gap.go is not None
    assert gap.no_go is not None
    assert gap.go.leaves_nm == (150_000, 1_000_000)
    assert gap.no_go.leaves_nm == (350_000, 1_000_000)
    assert (gap.centres_nm, gap.is_by_drive, gap.unmeasured) == (155_550_000, False, ())
    assert (moves.top_nm, moves.bottom_nm, moves.pass_line_nm) == (-700_000, 0, -400_000)
    assert (moves.top_turns, moves.reset) == (pytest.approx(-0.35), True)


def test_an_inclined_face_shows_what_the_feeler_sees(shop: FourPasses) -> None:
    two = station(shop, 2)
    assert two.gap is not None
    assert two.moves is not None
    assert two.gap.go is not None
    assert two.gap.no_go is not None
    assert (two.gap.target_nm, two.gap.feeler_nm) == (2 * MM, MM)
    assert two.gap.go.leaves_nm == (950_000,)
    assert two.gap.no_go.leaves_nm == (50_000, 1_000_000)
    assert (two.gap.centres_nm, two.moves.is_none) == (162 * MM, True)
    assert two.gap.unmeasured == ("top_nm", "bottom_nm")


def test_a_near_vertical_face_is_set_by_spacers_and_an_adjustable_bottom_goes_up(
    shop: FourPasses,
) -> None:
    three = station(shop, 4)
    assert three.gap is not None
    assert three.moves is not None
    assert (three.gap.packs, three.gap.go, three.gap.is_by_drive) == ("spacers", None, True)
    assert three.gap.centres_nm == 165_900_000
    moves = three.moves
    assert (moves.top_nm, moves.bottom_nm, moves.pass_line_nm) == (-200_000, 100_000, 0)
    assert (moves.reset, three.note) == (False, "Watch the lip.")


def test_last_good_numbers_are_translated(shop: FourPasses) -> None:
    found = last(shop, 1)
    assert (found["", "inboard"].was_nm, found["", "inboard"].now_nm) == (1_550_000, 1_250_000)
    assert found["", "outboard"].now_nm == 1_260_000
    assert (found["Top screw", ""].was, found["Top screw", ""].now) == (6.5, 6.0)
    assert (found["guide", ""].now_nm, found["guide", ""].reset) == (45 * MM, True)


def test_last_good_numbers_of_another_method_loading_or_zero_are_struck_out(
    shop: FourPasses,
) -> None:
    found = last(shop, 5)
    assert found["", "inboard"].struck == (Struck.METHOD, Struck.LOADED)
    assert ("", "outboard") not in found
    assert found["Top screw", ""].struck == (Struck.ZERO,)
    assert found["Top screw", ""].now is None
    four = station(shop, 5)
    assert four.gap is not None
    assert (four.gap.packs, four.gap.method) == ("other", "plug")


def test_a_number_that_only_the_last_setup_set_is_shown_without_a_target(shop: FourPasses) -> None:
    at = shop.last.started_at
    AsSet.objects.create(
        setup=shop.last, station_number=2, name="straightener", value=2, unit="bar",
        happened_at=at, received_at=at,
    )  # fmt: skip
    (row,) = (each for each in station(shop, 2).settings if each.name == "straightener")
    assert row.last is not None
    assert (row.target, row.unit, row.last.now) == (None, "bar", 2.0)


def test_numbers_of_another_mill_are_struck_out_and_ones_own_mill_counts_first(
    shop: FourPasses, engineer: Person
) -> None:
    world = shop.world
    other = world.mill("M2", stations=6)
    world.chart(shop.tool_set, other)
    ChartPass.objects.filter(chart__mill=other).update(gap_nm=MM)
    job = world.job(shop.tool_set, other, number="J-3", thickness_nm=1_200_000)
    kit = kits.open_kit(by=engineer, at=world.at, job=job)
    kit_assembly.assemble(by=engineer, at=world.at, kit=kit)
    there = replace(shop, kit=kit)
    assert last(there, 1)["", "inboard"].struck == (Struck.MILL,)
    assert station(there, 1).moves is None
    newer = Setup.objects.create(
        kit=kit, mill=other, state="struck", started_at=world.at, good_at=world.at,
        struck_at=world.at,
    )  # fmt: skip
    assert newer.mill_id != shop.last.mill_id
    assert last(shop, 1)["", "inboard"].now_nm == 1_250_000


def test_a_set_that_never_ran_has_no_last_good_numbers(shop: FourPasses) -> None:
    Setup.objects.update(good_at=None)
    view = sheet(shop)
    assert view.last is None
    assert all(row.last is None for each in view.stations for row in each.settings)
    assert all(each.moves is None for each in view.stations)


def test_no_strip_no_target_over_it_and_struck_gaps(shop: FourPasses) -> None:
    Job.objects.update(thickness_nm=None)
    one = station(shop, 1)
    assert one.gap is not None
    assert (one.gap.target_nm, one.gap.packs, one.gap.centres_nm) == (None, "", None)
    assert last(shop, 1)["", "inboard"].struck == (Struck.STRIP,)
    assert last(shop, 1)["guide", ""].struck == ()


def test_centres_that_the_mill_does_not_reach_are_said(shop: FourPasses) -> None:
    stations = shop.kit.job.mill.stations
    stations.filter(number=1).update(vertical_least_nm=155_550_001)
    stations.filter(number=2).update(vertical_most_nm=161_999_999)
    found = [station(shop, number).gap for number in (1, 2, 4)]
    assert [gap.centres_problem for gap in found if gap] == ["below_stop", "above_most", ""]


def test_without_a_chart_or_a_piece_the_stacks_still_stand_there(
    world: World, engineer: Person
) -> None:
    roll = world.drawing("R-9", bore_nm=60 * MM, face_width_nm=40 * MM)
    tool_set, mill = world.tool_set("T-9", {(1, "top", 1): roll}), world.mill("M9", stations=1)
    kit = kits.open_kit(by=engineer, at=world.at, job=world.job(tool_set, mill))
    empty = setup_sheet(kit.number, at=world.at)
    assert (empty.proof, empty.last) == ("none", None)
    kit_assembly.assemble(by=engineer, at=world.at, kit=kit)
    view = setup_sheet(kit.number, at=world.at)
    (one,) = view.occupied
    assert one.gap is None
    assert [each.position.drawing for each in one.top.pieces] == ["R-9"]


def test_a_proved_chart_is_proved_unless_it_is_turned(shop: FourPasses) -> None:
    SetupChart.objects.update(state="proved")
    assert sheet(shop).proof == "proved"
    Setup.objects.create(
        kit=shop.kit, mill=shop.kit.job.mill, chart=SetupChart.objects.get(), is_turned=True,
        started_at=shop.world.at,
    )  # fmt: skip
    view = sheet(shop)
    assert (view.proof, view.is_turned, view.is_begun) == ("drawn", True, True)


def test_what_is_not_there_is_said(world: World) -> None:
    with pytest.raises(Unknown) as refused:
        setup_sheet("K0000000", at=world.at)
    assert refused.value.code == "unknown_kit"


@pytest.mark.parametrize("more", [0, 8])
def test_more_positions_ask_no_more_queries(shop: FourPasses, engineer: Person, more: int) -> None:
    """By hand: nine of the kit page's twelve, as nothing here is counted; setup, chart, passes,
    axes, last setup, its positions, their revisions, readings, work, numbers, stations and
    settings."""
    roll = Piece.objects.first()
    assert roll is not None
    set_pass = SetPosition.objects.filter(shaft="top").order_by("set_pass__number")[0].set_pass
    for order in range(2, 2 + more):
        SetPosition.objects.create(
            set_pass=set_pass, shaft="top", order=order, drawing=roll.drawing
        )
    kit_assembly.assemble(by=engineer, at=shop.world.at, kit=Kit.objects.get(pk=shop.kit.pk))
    with CaptureQueriesContext(connection) as captured:
        sheet(shop)
    assert len(captured) == COUNTS["setup sheet"]


def test_sizes_at_a_moment_are_what_was_told_until_then_or_first_afterwards(
    world: World, at: datetime
) -> None:
    piece = world.piece(world.drawing("R-9"), world.place("Rack 9"))

    def read(days: int, nm: int) -> None:
        Reading.objects.create(
            piece=piece, dimension="drive_diameter", value_nm=nm, unit="mm",
            happened_at=at + timedelta(days=days), received_at=at,
        )  # fmt: skip

    def size(days: int) -> int | None:
        found = sizes_at([piece.pk], at=at + timedelta(days=days))
        return found.get((piece.pk, "drive_diameter"))

    assert size(0) is None
    read(0, 150)
    read(10, 149)
    assert [size(-5), size(0), size(5), size(10)] == [150, 150, 150, 149]
    day = (at + timedelta(days=20)).date()
    work = Work.objects.create(
        piece=piece, kind="regrind", done_on=day, received_at=at + timedelta(days=20)
    )
    work.measures.create(dimension="drive_diameter", before_nm=148, after_nm=140)
    assert [size(15), size(25)] == [149, 140]
    work.measures.create(dimension="outside_diameter", after_nm=100)
    assert (piece.pk, "outside_diameter") not in sizes_at([piece.pk], at=at)
    work.measures.create(dimension="root_diameter", before_nm=110, after_nm=100)
    assert sizes_at([piece.pk], at=at)[piece.pk, "root_diameter"] == 110

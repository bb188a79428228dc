"""Sets with positions and allotments, sets from paper, setup charts and jobs from sheets."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import override_settings

from tests.conftest import AT
from tests.services.importing import CHARTS, JOBS, PAPER, SETS, WHOLE_SHOP, bring, look, told
from tests.world import MM
from tooling.models import (
    Allotment,
    ChartAxis,
    ChartPass,
    ChartState,
    Job,
    Kit,
    KitPosition,
    Person,
    Piece,
    SetCopy,
    SetPosition,
    SetupChart,
    Shop,
    Station,
    ToolSet,
)
from tooling.services.codes import next_codes

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture(scope="module")
def shop(standing_cast: dict[str, Person], tmp_path_factory: Any) -> None:
    with override_settings(FILES_DIR=tmp_path_factory.mktemp("files")):
        bring(standing_cast["engineer"], AT, **WHOLE_SHOP)


def allotted(copy: str) -> dict[tuple[int, str, int], str]:
    rows = Allotment.objects.filter(copy__letter=copy, copy__tool_set__number="100")
    return {
        (each.position.set_pass.number, each.position.shaft, each.position.order): (
            each.piece.aliases.get().text
        )
        for each in rows
    }


def test_a_set_has_its_passes_positions_variants_and_copies(shop: None) -> None:
    tool_set = ToolSet.objects.get(number="100")
    assert [each.number for each in tool_set.passes.all()] == [1, 2]
    variant = SetPosition.objects.get(variant__name="wide")
    assert variant.drawing.number == "SP-5"
    assert allotted("A") == {(1, "top", 1): "R-1", (1, "bottom", 1): "R-3"}
    assert allotted("B") == {(1, "top", 1): "R-2"}


def test_allotments_of_two_copies_can_be_swapped(
    engineer: Person, at: datetime, shop: None
) -> None:
    swapped = SETS.replace("R-1", "R-x").replace("R-2", "R-1").replace("R-x", "R-2")
    made = look(engineer, at, sets=swapped)
    assert made.rows["change"] == 2
    bring(engineer, at, sets=swapped)
    assert allotted("A")[1, "top", 1] == "R-2"
    assert allotted("B")[1, "top", 1] == "R-1"


def test_two_positions_of_one_copy_can_exchange_their_pieces(
    engineer: Person, at: datetime, shop: None
) -> None:
    heads = "Set,Pass,Shaft,Order,Drawing,Copy,Piece"
    row = "100,{},top,{},D-1,A,{}"
    two = [row.format(3, 1, "R-1"), row.format(3, 2, "R-2")]
    bring(engineer, at, pieces="Old number,Mark,Drawing\nR-7,M-7,D-1\nR-8,M-8,D-1")
    sheet = "\n".join([heads, row.format(3, 1, "R-7"), row.format(3, 2, "R-8")])
    bring(engineer, at, sets=sheet)
    swapped = "\n".join([heads, row.format(3, 1, "R-8"), row.format(3, 2, "R-7")])
    bring(engineer, at, sets=swapped)
    assert (allotted("A")[3, "top", 1], allotted("A")[3, "top", 2]) == ("R-8", "R-7")
    assert len(two) == 2


def test_another_drawing_at_a_position_takes_its_old_allotments_back(
    engineer: Person, at: datetime, shop: None
) -> None:
    bring(engineer, at, sets="Set,Pass,Shaft,Order,Drawing,Copy,Piece\n100,1,top,1,D-2,,")
    position = SetPosition.objects.get(set_pass__number=1, shaft="top")
    assert position.drawing.number == "D-2"
    assert (1, "top", 1) not in allotted("A") | allotted("B")


@pytest.mark.parametrize(
    ("row", "column", "value", "code"),
    [
        ("100,1,top,1,D-1,A,R-3", "Piece", "R-3", "does_not_fit"),
        ("100,1,top,1,D-1,A,R-99", "Piece", "R-99", "unknown_piece"),
        ("100,1,top,1,D-1,A,D-1", "Piece", "D-1", "ambiguous_mark"),
        ("100,9,top,1,D-1,A,R-1", "Piece", "R-1", "allotted_elsewhere"),
        ("100,1,top,1,D-9,A,", "Drawing", "D-9", "unknown_drawing"),
        ("100,1,middle,1,D-1,A,", "Shaft", "middle", "unknown_choice"),
        ("100,0,top,1,D-1,A,", "Pass", "0", "absurd_value"),
    ],
)
def test_bad_positions_are_told(
    engineer: Person, at: datetime, shop: None, row: str, column: str, value: str, code: str
) -> None:
    made = look(engineer, at, sets=f"Set,Pass,Shaft,Order,Drawing,Copy,Piece\n{row}")
    assert told(made) == [("sets", 2, column, value, code)]


def test_a_position_that_a_kit_is_gathered_with_keeps_its_drawing(
    engineer: Person, at: datetime, shop: None
) -> None:
    kit = _kit()
    made = look(engineer, at, sets="Set,Pass,Shaft,Order,Drawing\n100,1,top,1,D-2")
    assert told(made) == [("sets", 2, "Drawing", "D-2", "kit_is_open")]
    assert kit.number in made.problems[0]["message"]


def _kit() -> Kit:
    position = SetPosition.objects.get(set_pass__number=1, shaft="top")
    kit = Kit.objects.create(number=next_codes(kind="K")[0], job=Job.objects.get())
    KitPosition.objects.create(
        kit=kit, set_position=position, station_number=1, pass_number=1, shaft="top", order=1,
        drawing=position.drawing,
    )  # fmt: skip
    return kit


# Sets from paper --------------------------------------------------------------------------------


def test_a_set_from_paper_is_one_line_until_it_is_handled(
    engineer: Person, at: datetime, shop: None
) -> None:
    copy = SetCopy.objects.get(tool_set__number="200")
    assert (copy.letter, copy.from_paper_count, copy.home.name) == ("A", 48, "Cart 7")  # type: ignore[union-attr]
    assert copy.tool_set.note == "binder 3"


def test_a_set_that_became_pieces_is_not_paper_again(
    engineer: Person, at: datetime, shop: None
) -> None:
    copy = SetCopy.objects.get(tool_set__number="100", letter="A")
    made = look(engineer, at, paper_sets=PAPER.replace("200,Ridge cap", "100,Gutter 100"))
    imports_rows = made.rows
    bring(engineer, at, paper_sets=PAPER.replace("200,Ridge cap", "100,Gutter 100"))
    copy.refresh_from_db()
    assert copy.from_paper_count is None
    assert imports_rows["create"] == 0


# Setup charts -----------------------------------------------------------------------------------


def test_a_chart_says_where_each_pass_stands(shop: None) -> None:
    chart = SetupChart.objects.get()
    placed = {each.set_pass.number: each.station.number for each in chart.chart_passes.all()}
    assert placed == {1: 1, 2: 3}
    assert ChartPass.objects.get(set_pass__number=1).gap_nm == 1_500_000


def test_two_passes_can_exchange_their_stations(engineer: Person, at: datetime, shop: None) -> None:
    SetupChart.objects.update(state=ChartState.PROVED)
    bring(engineer, at, charts=CHARTS.replace("1,1,1.5", "1,3,1.5").replace("2,3,", "2,1,"))
    placed = {each.set_pass.number: each.station.number for each in ChartPass.objects.all()}
    assert placed == {1: 3, 2: 1}
    assert SetupChart.objects.get().state == ChartState.UNPROVED


@pytest.mark.parametrize(
    ("row", "column", "value", "code"),
    [
        ("100,M1,2,1", "Station", "1", "station_taken"),
        ("100,M1,7,2", "Pass", "7", "unknown_pass"),
        ("100,M1,2,9", "Station", "9", "unknown_station"),
        ("100,M9,2,2", "Mill", "M9", "unknown_mill"),
        ("900,M1,2,2", "Set", "900", "unknown_set"),
    ],
)
def test_bad_charts_are_told(
    engineer: Person, at: datetime, shop: None, row: str, column: str, value: str, code: str
) -> None:
    made = look(engineer, at, charts=f"Set,Mill,Pass,Station\n{row}")
    assert told(made) == [("charts", 2, column, value, code)]


def test_a_gap_gives_way_to_so_much_over_the_strip_and_back(
    engineer: Person, at: datetime, shop: None
) -> None:
    SetupChart.objects.update(state=ChartState.PROVED)
    bring(engineer, at, charts="Set,Mill,Pass,Station,Gap over strip mm\n100,M1,1,1,0.05")
    row = ChartPass.objects.get(set_pass__number=1)
    assert (row.gap_nm, row.gap_allowance_nm) == (None, 50_000)
    assert SetupChart.objects.get().state == ChartState.UNPROVED
    bring(engineer, at, charts="Set,Mill,Pass,Station,Gap mm\n100,M1,1,1,1.4")
    row.refresh_from_db()
    assert (row.gap_nm, row.gap_allowance_nm) == (1_400_000, None)


GAPS = [
    ("charts", "Set,Mill,Pass,Station,Gap mm,Gap over strip mm\n100,M1,1,1,1,0.1",
     "Gap over strip mm", "0.1 mm", "two_targets"),
    ("charts", "Set,Mill,Pass,Station,Gap mm\n100,M1,1,1,-1", "Gap mm", "-1", "negative_length"),
    ("sets", "Set,Pass,Shaft,Order,Drawing,Gap diameter mm\n100,1,side,1,D-2,150",
     "Gap diameter mm", "150 mm", "only_on_a_shaft"),
    ("sets", "Set,Pass,Gap inclination,Shaft,Order,Drawing\n100,1,91,top,1,D-1",
     "Gap inclination", "91", "absurd_value"),
    ("fills", "Set,Pass,Shaft,After position,Fill length mm,Shorter by mm\n100,1,top,1,5,5",
     "Shorter by mm", "5 mm", "window_beyond_fill"),
    ("fills", "Set,Pass,Shaft,After position,Fill length mm\n100,9,top,1,5", "Pass", "9",
     "unknown_pass"),
    ("characteristics", "Set,Characteristic,Unit,Nominal,Lower limit,Upper limit\n"
     "100,web,mm,5,6,4", "Lower limit", "6", "window_turned_round"),
    ("characteristics", "Set,Characteristic,Unit,Nominal\n100,web,°,wide", "Nominal", "wide",
     "not_a_number"),
    ("axes", "Set,Mill,Pass,Setting,Unit,Setting target\n100,M1,1,guide,mm,4 bar",
     "Setting target", "4 bar", "not_a_length"),
    ("axes", "Set,Mill,Pass,Setting,Unit\n100,M1,7,guide,mm", "Pass", "7", "unknown_pass"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "sheet", "column", "value", "code"), GAPS)
def test_bad_gaps_fills_and_settings_are_told(
    engineer: Person, at: datetime, shop: None, kind: str, sheet: str, column: str, value: str,
    code: str,
) -> None:  # fmt: skip
    assert told(look(engineer, at, **{kind: sheet})) == [(kind, 2, column, value, code)]


def test_a_setting_may_go_from_a_length_to_turns(
    engineer: Person, at: datetime, shop: None
) -> None:
    head = "Set,Mill,Pass,Setting,Unit,Setting target\n"
    bring(engineer, at, axes=head + "100,M1,1,Guide,mm,2.5")
    bring(engineer, at, axes=head + "100,M1,1,guide,turns,3")
    (axis,) = ChartAxis.objects.all()
    assert (axis.unit, axis.target_nm, axis.target) == ("turns", None, 3.0)


def test_a_bore_smaller_than_the_shaft_cannot_go_on(
    engineer: Person, at: datetime, shop: None
) -> None:
    made = look(
        engineer, at,
        mills="Mill,Station,Shaft,Shaft diameter mm,Roll space mm\nM1,2,top,61,300",
        charts="Set,Mill,Pass,Station\n100,M1,1,2",
    )  # fmt: skip
    assert told(made) == [("charts", 2, "Station", "2", "bore_smaller_than_shaft")]


def test_rolls_are_not_for_the_line_and_line_tooling_for_no_shaft(
    engineer: Person, at: datetime, shop: None
) -> None:
    made = look(
        engineer, at,
        drawings="Drawing,Kind,Outer diameter mm\nCB-1,line tooling,",
        sets="Set,Pass,Shaft,Order,Drawing,Where\n"
        "100,1,on the line,1,CB-1,cut-off press\n"
        "100,1,on the line,2,D-1,\n"
        "100,1,top,9,CB-1,",
    )  # fmt: skip
    assert told(made) == [
        ("sets", 3, "Shaft", "line", "not_for_the_line"),
        ("sets", 4, "Shaft", "top", "only_on_the_line"),
    ]


# Jobs -------------------------------------------------------------------------------------------


def test_a_job_starts_at_the_shops_own_hour(engineer: Person, at: datetime, shop: None) -> None:
    Shop.objects.update_or_create(pk=1, defaults={"name": "S", "time_zone": "America/Chicago"})
    bring(engineer, at, jobs=JOBS.replace("J-1", "J-2").replace("2026-12-01", "2026-07-01"))
    job = Job.objects.get(number="J-2")
    assert job.starts_at == datetime(2026, 7, 1, 12, 30, tzinfo=UTC)  # 07:30 there, in summer
    assert job.gathers_at == job.starts_at - timedelta(hours=24)
    assert job.length_nm == 4_000 * 1_000 * MM


@pytest.mark.parametrize(
    ("said", "due"),
    [
        ("2026-12-03,14:00", datetime(2026, 12, 3, 20, 0, tzinfo=UTC)),
        ("2026-12-03,", datetime(2026, 12, 4, 5, 59, tzinfo=UTC)),  # all of that day there
        (",", None),
    ],
)
def test_a_job_says_when_it_must_have_run(
    engineer: Person, at: datetime, shop: None, said: str, due: datetime | None
) -> None:
    Shop.objects.update_or_create(pk=1, defaults={"name": "S", "time_zone": "America/Chicago"})
    bring(engineer, at, jobs=f"Job,Set,Mill,Date,Due date,Due time\nJ-8,100,M1,2026-12-01,{said}")
    assert Job.objects.get(number="J-8").due_at == due


@pytest.mark.parametrize(
    ("row", "column", "value", "code"),
    [
        ("J-9,900,,M1,2026-12-01,,", "Set", "900", "unknown_set"),
        ("J-9,100,narrow,M1,2026-12-01,,", "Variant", "narrow", "unknown_variant"),
        ("J-9,100,,M9,2026-12-01,,", "Mill", "M9", "unknown_mill"),
        ("J-9,100,,M1,03/04/2026,,", "Date", "03/04/2026", "ambiguous_date"),
        ("J-9,100,,M1,2026-12-01,ELM,", "Customer", "ELM", "unknown_owner"),
        (
            "J-9,100,,M1,2026-12-01,,2026-12-09",
            "Gather date",
            "9 December 2026",
            "gathers_after_start",
        ),
    ],
)
def test_bad_jobs_are_told(
    engineer: Person, at: datetime, shop: None, row: str, column: str, value: str, code: str
) -> None:
    made = look(engineer, at, jobs=f"Job,Set,Variant,Mill,Date,Customer,Gather date\n{row}")
    assert told(made) == [("jobs", 2, column, value, code)]


def test_a_job_with_an_open_kit_keeps_its_tooling_but_may_be_put_off(
    engineer: Person, at: datetime, shop: None
) -> None:
    kit = _kit()
    bring(engineer, at, sets="Set,Pass,Shaft,Order,Drawing\n300,1,top,1,D-1")
    other = JOBS.replace("J-1,100,wide", "J-1,300,")
    assert told(look(engineer, at, jobs=other)) == [("jobs", 2, "Set", "300", "job_has_kit")]
    bring(engineer, at, jobs=JOBS.replace("2026-12-01", "2026-12-02"))
    before = kit.version
    kit.refresh_from_db()
    assert kit.version == before + 1


def test_a_job_that_is_over_is_not_changed(engineer: Person, at: datetime, shop: None) -> None:
    Job.objects.update(state="done")
    made = look(engineer, at, jobs=JOBS.replace("4000", "5000"))
    assert [each[-1] for each in told(made)] == ["job_is_over"]


def test_every_station_and_piece_has_one_label(shop: None) -> None:
    codes = [*Station.objects.values_list("code", flat=True)]
    codes += [*Piece.objects.values_list("code", flat=True)]
    assert len(set(codes)) == len(codes) == 6

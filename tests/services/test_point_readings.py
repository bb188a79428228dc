"""Gauge points and what is read at them: every bad input is refused with its own code."""

from __future__ import annotations

import uuid
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from tests.world import MM, World
from tooling.errors import ToolingError
from tooling.models import Gauge, GaugePoint, Person, Piece, Reading, WearState
from tooling.services import gauge_points, point_readings, readings, work
from tooling.services.movements import move_pieces

pytestmark = pytest.mark.django_db


@pytest.fixture
def piece(world: World) -> Piece:
    drawing = world.drawing("R-1", root_diameter_nm=150 * MM, face_width_nm=40 * MM)
    found = world.piece(drawing, world.place("Rack"))
    return Piece.objects.select_related("drawing", "revision", "place").get(pk=found.pk)


@pytest.fixture
def root(engineer: Person, at: datetime, piece: Piece) -> GaugePoint:
    return gauge_points.save_gauge_point(
        by=engineer, at=at, drawing=piece.drawing, name="root", dimension="root_diameter",
        limit_nm=149 * MM,
    )  # fmt: skip


@pytest.fixture
def radius(engineer: Person, at: datetime, piece: Piece) -> GaugePoint:
    return gauge_points.save_gauge_point(
        by=engineer, at=at, drawing=piece.drawing, name="radius", kind="template",
        has_two_ends=True, where="both edges",
    )  # fmt: skip


def read(by: Person, at: datetime, point: GaugePoint, piece: Piece, **fields: Any) -> Reading:
    return point_readings.record_point_reading(by=by, at=at, piece=piece, point=point, **fields)


def code_of(call: Any, *args: Any, **fields: Any) -> str:
    with pytest.raises(ToolingError) as error:
        call(*args, **fields)
    return error.value.code


def test_a_reading_of_a_points_dimension_is_its_reading_whichever_door(
    crew: Person, at: datetime, piece: Piece, root: GaugePoint
) -> None:
    first = read(crew, at, root, piece, value_nm=149_950_000)
    other = readings.record_reading(
        by=crew, at=at + timedelta(minutes=1), piece=piece, dimension="root_diameter",
        value_nm=149_940_000, unit="mm",
    )  # fmt: skip
    assert (first.gauge_point, other.gauge_point) == (root, root)
    piece.refresh_from_db()
    assert piece.now_root_diameter_nm == 149_940_000
    assert WearState.objects.get().readings == 2


def test_a_template_is_told_by_a_word_at_each_end(
    crew: Person, at: datetime, piece: Piece, radius: GaugePoint
) -> None:
    read(crew, at, radius, piece, verdict="light", end="inboard")
    read(crew, at, radius, piece, verdict="fits", end="outboard")
    assert list(Reading.objects.order_by("pk").values_list("dimension", "verdict", "end")) == [
        ("wear", "light", "inboard"), ("wear", "fits", "outboard"),
    ]  # fmt: skip
    assert code_of(read, crew, at, radius, piece, verdict="so so", end="inboard") == "no_verdict"
    assert code_of(read, crew, at, radius, piece, verdict="fits") == "which_end"
    assert set(WearState.objects.values_list("end", flat=True)) == {"inboard", "outboard"}


def test_a_reading_while_the_piece_is_away_is_refused(
    crew: Person, at: datetime, piece: Piece, root: GaugePoint, world: World
) -> None:
    grinder = world.place("Grinder", kind="grinder")
    move_pieces(by=crew, at=at, pieces=[piece], to=grinder)
    piece.refresh_from_db()
    later = at + timedelta(hours=2)
    assert code_of(read, crew, later, root, piece, value_nm=149_950_000) == "piece_away"
    read(crew, later, root, piece, value_nm=149_950_000, happened_at=at - timedelta(hours=1))
    move_pieces(by=crew, at=later, pieces=[piece], to=world.place("Rack 2"))
    piece.refresh_from_db()
    end = later + timedelta(hours=1)
    read(crew, end, root, piece, value_nm=149_940_000)
    away = {"value_nm": 149_940_000, "happened_at": at + timedelta(hours=1)}
    assert code_of(read, crew, end, root, piece, **away) == "piece_away"


def test_a_reading_dated_before_the_cut_is_refused_but_a_correction_is_not(
    crew: Person, engineer: Person, at: datetime, piece: Piece, root: GaugePoint
) -> None:
    before = at - timedelta(days=9)
    wrong = read(crew, at, root, piece, value_nm=149_500_000, happened_at=before)
    work.record_work(
        by=engineer, at=at, piece=piece, kind="regrind", done_on=(at - timedelta(days=5)).date(),
        sizes={"root_diameter": (149_500_000, 149_400_000)},
    )  # fmt: skip
    late = {"value_nm": 149_520_000, "happened_at": before}
    assert code_of(read, crew, at, root, piece, **late) == "before_cut"
    fixed = read(crew, at, root, piece, corrects=wrong, **late)
    assert fixed.corrects == wrong


def test_metal_does_not_grow_unless_somebody_says_so(
    crew: Person, at: datetime, piece: Piece, root: GaugePoint
) -> None:
    fine = Gauge.objects.create(number="G-1", name="m", resolution_nm=1_000, uncertainty_nm=2_000)
    way = {"gauge": fine, "soaked": True}
    read(crew, at, root, piece, value_nm=149_900_000, **way)
    later = at + timedelta(days=1)
    assert code_of(read, crew, later, root, piece, value_nm=149_960_000, **way) == "grown"
    read(crew, later, root, piece, value_nm=149_905_000, **way)
    kept = read(crew, later, root, piece, value_nm=149_960_000, sure=True, **way)
    assert kept.value_nm == 149_960_000


def test_on_the_day_of_the_cut_metal_grows_from_then_on_as_little(
    crew: Person, engineer: Person, at: datetime, piece: Piece, root: GaugePoint
) -> None:
    read(crew, at, root, piece, value_nm=149_090_000, sure=True)
    work.record_work(
        by=engineer, at=at + timedelta(hours=1), piece=piece, kind="regrind", done_on=at.date(),
        sizes={"root_diameter": (149_400_000, 149_100_000)},
    )  # fmt: skip
    read(crew, at + timedelta(hours=2), root, piece, value_nm=149_100_000)
    assert Reading.objects.count() == 2, "what was read before the cut is no measure of it"
    later = at + timedelta(hours=3)
    assert code_of(read, crew, later, root, piece, value_nm=149_160_000) == "grown"


def test_a_gauge_that_does_not_read_so_far_is_asked_about(
    crew: Person, at: datetime, piece: Piece, root: GaugePoint
) -> None:
    small = Gauge.objects.create(number="G-3", name="m", least_nm=0, most_nm=25 * MM)
    asked = {"value_nm": 149_900_000, "gauge": small}
    assert code_of(read, crew, at, root, piece, **asked) == "beyond_range"
    assert read(crew, at, root, piece, sure=True, **asked).gauge == small


def test_an_overdue_gauge_blocks_no_reading(
    crew: Person, at: datetime, piece: Piece, root: GaugePoint
) -> None:
    old = Gauge.objects.create(number="G-2", name="m", due_on=date(2020, 1, 1))
    assert read(crew, at, root, piece, value_nm=149_900_000, gauge=old).gauge == old


def test_a_number_that_would_be_right_in_the_other_unit_is_asked_about(
    crew: Person, at: datetime, piece: Piece, root: GaugePoint
) -> None:
    read(crew, at, root, piece, value_nm=149_900_000)
    inch = {"value_nm": round(5.9 * MM), "unit": "mm", "unit_is_written": False}
    later = at + timedelta(days=1)
    assert code_of(read, crew, later, root, piece, **inch) == "ambiguous_length"
    written = {**inch, "unit_is_written": True}
    assert code_of(read, crew, later, root, piece, **written) == "wrong_unit"
    far = {"value_nm": 120 * MM, "unit_is_written": False}
    assert code_of(read, crew, later, root, piece, **far) == "improbable_value"


def test_the_same_reading_again_counts_once(
    crew: Person, at: datetime, piece: Piece, root: GaugePoint, radius: GaugePoint
) -> None:
    key, other = uuid.uuid4(), uuid.uuid4()
    for _ in range(2):
        read(crew, at, root, piece, value_nm=149_900_000, id=key)
        read(crew, at, radius, piece, verdict="fits", end="inboard", id=other)
    assert Reading.objects.count() == 2
    assert code_of(read, crew, at, root, piece, value_nm=149_800_000, id=key) == "id_reused"


@pytest.mark.parametrize(
    ("code", "fields"),
    [
        ("limit_on_the_wrong_side", {"dimension": "root_diameter", "limit_nm": 151 * MM}),
        ("limit_on_the_wrong_side", {"new_nm": 5 * MM, "limit_nm": 4 * MM, "grows": True}),
        ("absurd_angle", {"face_angle_deg": 91.0}),
        ("cannot_gauge", {"face_angle_deg": 90.0}),
        ("no_length_there", {"kind": "template", "dimension": "root_diameter"}),
        ("unknown_dimension", {"dimension": "colour"}),
        ("unknown_kind", {"kind": "smell"}),
        ("not_positive", {"depth_limit_nm": 0}),
        ("empty_text", {"name": " "}),
        ("long_text", {"where": "x" * 200}),
    ],
)
def test_points_that_cannot_be_are_refused(
    engineer: Person, at: datetime, piece: Piece, code: str, fields: dict[str, Any]
) -> None:
    values = {"name": "p", **fields}
    save = gauge_points.save_gauge_point
    assert code_of(save, by=engineer, at=at, drawing=piece.drawing, **values) == code
    assert not GaugePoint.objects.exists()


def test_a_point_is_changed_by_its_name_and_taken_out_of_use(
    engineer: Person, crew: Person, at: datetime, piece: Piece, root: GaugePoint
) -> None:
    read(crew, at, root, piece, value_nm=149_900_000)
    changed = gauge_points.save_gauge_point(
        by=engineer, at=at, drawing=piece.drawing, name="ROOT", limit_nm=149_200_000
    )
    assert (changed.pk, changed.limit_nm, changed.is_diameter) == (root.pk, 149_200_000, True)
    gauge_points.stop_using(by=engineer, at=at, drawing=piece.drawing, name="root")
    assert not WearState.objects.exists()
    second = {"by": engineer, "at": at, "drawing": piece.drawing, "dimension": "root_diameter"}
    assert code_of(gauge_points.save_gauge_point, name="x", **second) == "already_there"
    may_not = {"by": crew, "at": at, "drawing": piece.drawing, "name": "y"}
    assert code_of(gauge_points.save_gauge_point, **may_not) == "not_allowed"

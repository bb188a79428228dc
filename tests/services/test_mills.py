"""Mills: stations and shafts made alike, put right one by one, nonsense refused."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

import pytest

from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Mill, MillShaft, Person, Place
from tooling.services import mills

FACTS = {"datum": "shoulder", "hand": "left", "operator_side": "right"}
SHAFT = {"diameter_nm": 70 * MM, "roll_space_nm": 320 * MM, "key_width_nm": 20 * MM}


def make(by: Person, at: datetime, **changed: object) -> Mill:
    values = {
        "number": "M2",
        "name": "Mill 2",
        "stations": 3,
        "station": {"vertical_least_nm": 165 * MM, "vertical_most_nm": 230 * MM},
        "shaft": SHAFT,
        **FACTS,
        **changed,
    }
    return mills.create_mill(by=by, at=at, **values)


def test_every_station_gets_a_label_a_place_and_two_shafts(engineer: Person, at: datetime) -> None:
    mill = make(engineer, at)
    assert [station.number for station in mill.stations.order_by("number")] == [1, 2, 3]
    assert all(station.code.startswith("M") for station in mill.stations.all())
    assert {s.place.kind for s in mill.stations.all()} == {"station"}
    assert MillShaft.objects.filter(station__mill=mill, diameter_nm=70 * MM).count() == 6
    assert mill.stations.first().place.path_name == "Mill 2 / M2 station 1"  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"stations": 0}, "absurd_count"),
        ({"stations": 61}, "absurd_count"),
        ({"number": " "}, "empty_text"),
        ({"shaft": {**SHAFT, "diameter_nm": -70 * MM}}, "not_positive"),
        ({"shaft": {**SHAFT, "roll_space_nm": 0}}, "not_positive"),
        ({"shaft": {**SHAFT, "key_width_nm": 70 * MM}}, "key_as_wide_as_shaft"),
        ({"station": {"vertical_least_nm": 2, "vertical_most_nm": 1}}, "window_turned_round"),
        ({"closing_least_nm": 2, "closing_most_nm": 1}, "window_turned_round"),
    ],
)
def test_a_mill_that_cannot_be_is_refused_whole(
    changed: dict[str, object], code: str, engineer: Person, at: datetime
) -> None:
    with pytest.raises(ToolingError) as refused:
        make(engineer, at, **changed)
    assert refused.value.code == code
    assert not Mill.objects.exists()
    assert not Place.objects.exists()


def test_a_number_is_given_once(engineer: Person, at: datetime) -> None:
    make(engineer, at)
    with pytest.raises(ToolingError, match="already_there"):
        make(engineer, at, number="m2", name="Other")


def test_one_shaft_and_one_station_are_put_right_alone(engineer: Person, at: datetime) -> None:
    mill = make(engineer, at)
    first, second = mill.stations.order_by("number")[:2]
    mills.edit_station(by=engineer, at=at, station=first, gear_ratio=Decimal("1.25"))
    shaft = first.shafts.get(which="top")
    mills.edit_shaft(by=engineer, at=at, shaft=shaft, shoulder_offset_nm=-50_000)
    second.refresh_from_db()
    assert second.gear_ratio == 1
    assert list(
        MillShaft.objects.filter(station=first)
        .order_by("which")
        .values_list("which", "shoulder_offset_nm")
    ) == [("bottom", 0), ("top", -50_000)]
    change = Change.objects.get(subject="MillShaft")
    assert (change.before, change.after) == (
        {"shoulder_offset_nm": 0}, {"shoulder_offset_nm": -50_000},
    )  # fmt: skip


@pytest.mark.parametrize("ratio", [Decimal(0), Decimal(-1)])
def test_a_ratio_is_above_nothing(ratio: Decimal, engineer: Person, at: datetime) -> None:
    station = make(engineer, at).stations.get(number=1)
    with pytest.raises(ToolingError, match="not_positive"):
        mills.edit_station(by=engineer, at=at, station=station, gear_ratio=ratio)


def test_a_drive_group_has_one_factor_and_belongs_to_one_mill(
    engineer: Person, at: datetime
) -> None:
    one, two = make(engineer, at), make(engineer, at, number="M3", name="Mill 3")
    group = mills.save_drive_group(by=engineer, at=at, mill=one, name="2", rpm_factor=0.5)
    mills.save_drive_group(by=engineer, at=at, mill=one, name="2", rpm_factor=0.6)
    group.refresh_from_db()
    assert (group.rpm_factor, one.drive_groups.count()) == (0.6, 2)
    shaft = MillShaft.objects.filter(station__mill=two)[0]
    with pytest.raises(ToolingError, match="other_mill"):
        mills.edit_shaft(by=engineer, at=at, shaft=shaft, drive_group=group)
    with pytest.raises(ToolingError, match="absurd_factor"):
        mills.save_drive_group(by=engineer, at=at, mill=one, name="3", rpm_factor=0)


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_mills_are_the_engineers(
    role: str, cast: dict[str, Person], at: datetime, world: World
) -> None:
    with pytest.raises(NotAllowed):
        make(cast[role], at)

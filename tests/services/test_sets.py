"""Tool sets, copies with allotments, and setup charts."""

from __future__ import annotations

from datetime import datetime

import pytest

from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Allotment, Change, Drawing, Kit, KitPosition, Person, SetPosition
from tooling.services import allotments, charts, sets


@pytest.fixture
def roll(world: World) -> Drawing:
    return world.drawing("1472-01-T1", bore_nm=60 * MM)


def test_a_set_is_made_with_its_passes_and_a_label(engineer: Person, at: datetime) -> None:
    made = sets.create_set(by=engineer, at=at, number="1472", name="C 100", passes=8)
    assert made.code.startswith("T")
    assert list(made.passes.values_list("number", flat=True)) == list(range(1, 9))


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"number": "1472"}, "already_there"),
        ({"passes": -1}, "absurd_count"),
        ({"passes": 61}, "absurd_count"),
        ({"name": ""}, "empty_text"),
        ({"thickness_least_nm": 3 * MM, "thickness_most_nm": 2 * MM}, "range_turned_round"),
    ],
)
def test_a_set_that_cannot_be_is_refused(
    fields: dict[str, object], code: str, engineer: Person, at: datetime, world: World
) -> None:
    world.tool_set("1472", {})
    with pytest.raises(ToolingError) as refused:
        sets.create_set(by=engineer, at=at, **{"number": "1", "name": "C", **fields})
    assert refused.value.code == code


def test_a_position_is_put_in_and_changed_and_the_change_says_so(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    set_pass = sets.create_set(by=engineer, at=at, number="1", name="C", passes=1).passes.get()
    where = {"set_pass": set_pass, "shaft": "top", "order": 1}
    first = sets.save_position(by=engineer, at=at, **where, drawing=roll, is_split=True)
    other = world.drawing("1472-01-T1/2")
    again = sets.save_position(by=engineer, at=at, **where, drawing=other)
    assert (first.pk, again.drawing, again.is_split) == (again.pk, other, True)
    change = Change.objects.get(subject="SetPosition", what="edited")
    assert (change.before, change.after) == (
        {"drawing": "1472-01-T1"}, {"drawing": "1472-01-T1/2"},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"shaft": "middle"}, "unknown_shaft"),
        ({"order": 0}, "absurd_count"),
        ({"order": 61}, "absurd_count"),
    ],
)
def test_a_position_stands_on_a_shaft_in_an_order(
    fields: dict[str, object], code: str, engineer: Person, at: datetime, roll: Drawing
) -> None:
    set_pass = sets.create_set(by=engineer, at=at, number="1", name="C", passes=1).passes.get()
    where = {"set_pass": set_pass, "shaft": "top", "order": 1, **fields}
    with pytest.raises(ToolingError, match=code):
        sets.save_position(by=engineer, at=at, drawing=roll, **where)


def test_a_variant_of_another_set_has_no_place_here(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    one, two = world.tool_set("1", {(1, "top", 1): roll}), world.tool_set("2", {})
    variant = sets.add_variant(by=engineer, at=at, tool_set=two, name="wide")
    with pytest.raises(ToolingError, match="other_set"):
        sets.save_position(
            by=engineer, at=at, set_pass=one.passes.get(), shaft="top", order=1, drawing=roll,
            variant=variant,
        )  # fmt: skip


def test_a_position_of_an_open_kit_keeps_its_drawing(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    tool_set = world.tool_set("1472", {(1, "top", 1): roll})
    position = SetPosition.objects.get()
    kit = Kit.objects.create(number="K0000001", job=world.job(tool_set, world.mill()))
    KitPosition.objects.create(
        kit=kit, set_position=position, station_number=1, pass_number=1, shaft="top", order=1,
        drawing=roll,
    )  # fmt: skip
    with pytest.raises(ToolingError, match="kit_is_open"):
        sets.save_position(
            by=engineer, at=at, set_pass=position.set_pass, shaft="top", order=1,
            drawing=world.drawing("9"),
        )  # fmt: skip
    with pytest.raises(ToolingError, match="kit_is_open"):
        sets.remove_position(by=engineer, at=at, position=position)


def test_a_position_is_taken_out_and_remembered(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    world.tool_set("1472", {(1, "top", 1): roll})
    sets.remove_position(by=engineer, at=at, position=SetPosition.objects.get())
    assert not SetPosition.objects.exists()
    assert Change.objects.get(what="removed").before == {"drawing": "1472-01-T1"}


def test_a_copy_is_lettered_once(engineer: Person, at: datetime, world: World) -> None:
    tool_set = world.tool_set("1472", {})
    copy = sets.add_copy(by=engineer, at=at, tool_set=tool_set, letter="a", from_paper_count=48)
    assert (copy.letter, copy.from_paper_count) == ("A", 48)
    with pytest.raises(ToolingError, match="already_there"):
        sets.add_copy(by=engineer, at=at, tool_set=tool_set, letter="A")


def test_a_piece_of_another_drawing_is_not_allotted(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    tool_set = world.tool_set("1472", {(1, "top", 1): roll})
    copy = world.copy(tool_set)
    piece = world.piece(world.drawing("9"), world.place("Rack"))
    with pytest.raises(ToolingError, match="does_not_fit"):
        allotments.allot(
            by=engineer, at=at, copy=copy, position=SetPosition.objects.get(), piece=piece
        )


def test_a_shared_piece_serves_two_sets_but_one_position_of_a_copy(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    one = world.tool_set("1", {(1, "top", 1): roll, (1, "bottom", 1): roll})
    two = world.tool_set("2", {(1, "top", 1): roll})
    piece = world.piece(roll, world.place("Rack"))
    top, bottom = (one.passes.get().positions.get(shaft=s) for s in ("top", "bottom"))
    copy = world.copy(one)
    allotments.allot(by=engineer, at=at, copy=copy, position=top, piece=piece)
    other = two.passes.get().positions.get()
    allotments.allot(by=engineer, at=at, copy=world.copy(two), position=other, piece=piece)
    assert Allotment.objects.count() == 2
    with pytest.raises(ToolingError, match="allotted_elsewhere"):
        allotments.allot(by=engineer, at=at, copy=copy, position=bottom, piece=piece)


def test_another_piece_takes_the_position_over(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    copy = world.copy(world.tool_set("1472", {(1, "top", 1): roll}))
    rack, position = world.place("Rack"), SetPosition.objects.get()
    for _n in range(2):
        piece = world.piece(roll, rack)
        allotments.allot(by=engineer, at=at, copy=copy, position=position, piece=piece)
    assert Allotment.objects.get().piece == piece


def test_a_copy_is_filled_by_drawing_with_its_own_letter_first(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    tool_set = world.tool_set("1472", {(1, "top", 1): roll, (1, "bottom", 1): roll})
    rack = world.place("Rack")
    plain = world.piece(roll, rack)
    lettered = world.piece(roll, rack, copy_letter="B")
    world.piece(roll, rack, copy_letter="C")
    copy = world.copy(tool_set, "B")
    assert allotments.allot_by_drawing(by=engineer, at=at, copy=copy) == 2
    assert {row.piece for row in Allotment.objects.all()} == {plain, lettered}
    assert allotments.allot_by_drawing(by=engineer, at=at, copy=copy) == 0


def test_a_chart_places_the_passes_in_order_from_a_station(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    tool_set = world.tool_set("1472", {(1, "top", 1): roll, (2, "top", 1): roll})
    mill = world.mill(stations=4)
    chart = charts.create_chart(by=engineer, at=at, tool_set=tool_set, mill=mill, first_station=2)
    placed = chart.chart_passes.values_list("set_pass__number", "station__number")
    assert sorted(placed) == [(1, 2), (2, 3)]
    with pytest.raises(ToolingError, match="already_there"):
        charts.create_chart(by=engineer, at=at, tool_set=tool_set, mill=mill)


def test_a_mill_too_short_or_a_set_without_passes_gets_no_chart(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    mill = world.mill(stations=2)
    tool_set = world.tool_set("1", {(1, "top", 1): roll, (2, "top", 1): roll})
    make = {"by": engineer, "at": at, "mill": mill}
    with pytest.raises(ToolingError, match="too_few_stations"):
        charts.create_chart(**make, tool_set=tool_set, first_station=2)
    with pytest.raises(ToolingError, match="no_passes"):
        charts.create_chart(**make, tool_set=world.tool_set("2", {}))


def test_a_bore_smaller_than_the_shaft_is_refused(
    engineer: Person, at: datetime, world: World
) -> None:
    small = world.drawing("small", bore_nm=60 * MM - 1)
    tool_set = world.tool_set("1", {(1, "top", 1): small})
    with pytest.raises(ToolingError) as refused:
        charts.create_chart(by=engineer, at=at, tool_set=tool_set, mill=world.mill())
    assert refused.value.code == "bore_smaller_than_shaft"


def test_moving_a_pass_unproves_the_numbers(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    tool_set = world.tool_set("1472", {(1, "top", 1): roll, (2, "top", 1): roll})
    mill = world.mill(stations=4)
    chart = world.chart(tool_set, mill)
    chart.state = "proved"
    chart.save(update_fields=["state"])
    first, second = tool_set.passes.order_by("number")
    with pytest.raises(ToolingError, match="station_taken"):
        charts.place_pass(
            by=engineer, at=at, chart=chart, set_pass=first, station=mill.stations.get(number=2)
        )
    charts.place_pass(
        by=engineer, at=at, chart=chart, set_pass=second, station=mill.stations.get(number=4),
        gap_nm=1_250_000,
    )  # fmt: skip
    chart.refresh_from_db()
    assert chart.state == "unproved"
    assert chart.chart_passes.get(set_pass=second).gap_nm == 1_250_000


def test_a_negative_fill_and_another_mills_station_are_refused(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    tool_set = world.tool_set("1472", {(1, "top", 1): roll})
    mill, other = world.mill("M1"), world.mill("M2")
    chart, set_pass = world.chart(tool_set, mill), tool_set.passes.get()
    place = {"by": engineer, "at": at, "chart": chart, "set_pass": set_pass}
    with pytest.raises(ToolingError, match="negative_length"):
        charts.place_pass(**place, station=mill.stations.get(number=1), top_inboard_fill_nm=-1)
    with pytest.raises(ToolingError, match="other_mill"):
        charts.place_pass(**place, station=other.stations.get(number=1))


def test_a_pass_left_out_is_remembered(
    engineer: Person, at: datetime, world: World, roll: Drawing
) -> None:
    chart = world.chart(world.tool_set("1472", {(1, "top", 1): roll}), world.mill())
    charts.take_pass_off(by=engineer, at=at, chart_pass=chart.chart_passes.get())
    assert not chart.chart_passes.exists()
    assert Change.objects.get(what="removed").before == {"station": 1}


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_sets_are_the_engineers(role: str, cast: dict[str, Person], at: datetime) -> None:
    with pytest.raises(NotAllowed):
        sets.create_set(by=cast[role], at=at, number="1", name="C")

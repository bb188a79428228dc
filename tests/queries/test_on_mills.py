"""What stands on mills, where a piece stands, and that reading it takes no more for more."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from tests.services.mounted import Mounted, mounted
from tests.standing import Standing
from tests.world import World
from tooling.models import Condition, Incident, MillShaft, Person, Piece
from tooling.queries.changeovers import changeover
from tooling.queries.on_mill import mills_token, on_mill
from tooling.queries.piece_spot import piece_spot
from tooling.services import settings
from tooling.services import strip_down as striking
from tooling.services.movements import move_pieces

pytestmark = pytest.mark.django_db

COUNTS: dict[str, int] = json.loads((Path(__file__).parents[1] / "query_counts.json").read_text())


@pytest.fixture(scope="module")
def standing_stood(standing_world: World, standing_cast: dict[str, Person]) -> Mounted:
    return mounted(standing_world, standing_cast["crew"])


@pytest.fixture
def stood(standing: Standing, standing_stood: Mounted) -> Mounted:
    return standing.copy(standing_stood)


def spot(piece: Piece) -> str:
    found = piece_spot(piece.pk)
    return found.said if found else ""


def test_from_a_piece_to_its_shaft(stood: Mounted, crew: Person, world: World) -> None:
    piece = stood.shop.pieces[2, "top", 1]
    assert spot(piece) == "on Mill M1, station 3 top, first from the shoulder"
    other = world.piece(world.drawing("X"), stood.shop.shelf)
    assert spot(other) == ""
    station = stood.shop.mill.stations.get(number=3).place
    move_pieces(by=crew, at=stood.at, pieces=[other], to=station)
    assert spot(other) == "on Mill M1, station 3, not of the setup that stands there"
    striking.take_off(by=crew, at=stood.at, setup=stood.setup, stations=stood.stations)
    striking.strike(by=crew, at=stood.at, setup=stood.setup)
    assert spot(other) == "on Mill M1, station 3"
    assert spot(piece) == ""


def test_a_turned_stack_is_counted_from_the_shoulder(stood: Mounted) -> None:
    type(stood.setup).objects.filter(pk=stood.setup.pk).update(is_turned=True)
    said = spot(stood.shop.pieces[1, "top", 1])
    assert said == "on Mill M1, station 2 top, second from the shoulder"


def test_what_is_not_of_the_setup_is_named(stood: Mounted, crew: Person, world: World) -> None:
    on = on_mill("M1")
    assert on is not None
    assert on.others == ()
    assert on.pieces == 12
    other = world.piece(world.drawing("X"), stood.shop.shelf)
    token = mills_token(["M1"])
    move_pieces(
        by=crew, at=stood.at, pieces=[other], to=stood.shop.mill.stations.get(number=1).place
    )
    assert mills_token(["M1"]) != token
    on = on_mill("M1")
    assert on is not None
    assert [(s.number, each.code) for s, each in on.others] == [(1, other.code)]


def test_what_forbids_staying(stood: Mounted, world: World, supervisor: Person) -> None:
    world.job(stood.shop.tool_set, stood.shop.mill, number="N", in_hours=48)
    mill, at = stood.shop.mill, stood.at

    def touched() -> dict[tuple[int, str], str]:
        rows = changeover(mill, at=at).touched
        return {(row.station, row.shaft): row.reason for row in rows}

    assert touched() == {}
    Incident.objects.create(
        kind="crash", mill=mill, kit=stood.kit, station_number=2, happened_at=at, at=at
    )
    assert set(touched()) == {(2, "top"), (2, "bottom")}
    Piece.objects.filter(pk=stood.shop.pieces[2, "top", 1].pk).update(condition=Condition.BUILD_UP)
    assert set(touched()) == {(2, "top"), (2, "bottom"), (3, "top")}
    way = {"by": supervisor, "at": at, "mill": mill}
    settings.set_setting(**way, name="strip_after_trouble", value=0)  # type: ignore[arg-type]
    assert touched() == {}
    shaft = MillShaft.objects.get(station__mill=mill, station__number=4, which="top")
    shaft.shoulder_measured_on = at.date() - timedelta(days=366)
    shaft.save()
    assert set(touched()) == {(4, "top")}
    settings.set_setting(**way, name="shoulder_check_days", value=400)  # type: ignore[arg-type]
    assert touched() == {}
    stood.shop.tool_set.passes.get(number=1).positions.filter(shaft="top", order=1).update(
        is_split=True
    )
    assert touched() == {}
    settings.set_setting(**way, name="strip_split_stacks", value=1)  # type: ignore[arg-type]
    assert set(touched()) == {(2, "top")}


def test_a_shaft_that_changes_comes_off_whole_where_the_mill_says_so(
    stood: Mounted, world: World, supervisor: Person
) -> None:
    """The next set shares the roll at the shoulder and has another spacer."""
    roll, wide = stood.shop.pieces[1, "top", 1], world.drawing("SP 40", kind="spacer")
    other = world.tool_set("2", {(1, "top", 1): roll.drawing, (1, "top", 2): wide})
    world.copy(other, "A", {(1, "top", 1): roll})
    world.chart(other, stood.shop.mill, first_station=2)
    world.job(other, stood.shop.mill, number="N", in_hours=48)

    def stays() -> tuple[str, ...]:
        rows = changeover(stood.shop.mill, at=stood.at).shafts
        return next(
            tuple(each.code for each in row.stays)
            for row in rows
            if (row.station, row.shaft) == (2, "top")
        )

    assert stays() == (roll.code,)
    settings.set_setting(
        by=supervisor, at=stood.at, mill=stood.shop.mill, name="swap_whole_shafts", value=1
    )
    assert stays() == ()

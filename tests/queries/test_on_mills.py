"""What stands on mills, where a piece stands, and that reading it takes no more for more."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.services.mounted import Mounted, mounted
from tests.world import World
from tooling.models import Condition, Incident, MillShaft, Person, Piece
from tooling.queries.changeovers import changeover
from tooling.queries.job_order import asked, plan_version, proposal
from tooling.queries.mill_care import mill_care
from tooling.queries.on_mill import mills_token, on_mill, on_mills
from tooling.queries.piece_spot import piece_spot
from tooling.queries.setup_times import times_page
from tooling.queries.strip_down import strip_down
from tooling.services import settings
from tooling.services import strip_down as striking
from tooling.services.movements import move_pieces

COUNTS: dict[str, int] = json.loads((Path(__file__).parents[1] / "query_counts.json").read_text())


@pytest.fixture
def stood(world: World, crew: Person) -> Mounted:
    return mounted(world, crew)


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


def test_a_turned_stack_is_counted_from_the_shoulder(world: World, crew: Person) -> None:
    stood = mounted(world, crew)
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


def test_a_mill_with_nothing(world: World) -> None:
    world.mill("M1", stations=1)
    on = on_mill("M1")
    assert on is not None
    assert (on.setup, on.pieces) == (None, 0)
    assert on_mill("M9") is None
    assert on_mills([]) == []


@pytest.mark.parametrize("passes", [1, 5])
def test_the_reads_take_the_same_statements_however_much_stands(
    world: World, crew: Person, passes: int
) -> None:
    stood = mounted(world, crew, passes=passes)
    mill, at = stood.shop.mill, stood.at
    other = world.tool_set("2", {(1, "top", 1): world.drawing("Z-1")})
    world.chart(other, mill, first_station=1)
    for n in range(passes):
        world.job(other, mill, number=f"N{n}", in_hours=48 + n)
    reads: dict[str, Callable[[], Any]] = {
        "on mills": on_mills,
        "mills token": mills_token,
        "spot of a piece": lambda: piece_spot(stood.shop.pieces[1, "top", 1].pk),
        "mill checks": lambda: mill_care(mill, today=at.date()),
        "next changeover": lambda: changeover(mill, at=at),
        "times of a setup": lambda: times_page(stood.kit.number),
        "strip-down": lambda: strip_down(stood.kit.number, at=at),
        "jobs to order": lambda: asked(mill, at=at),
        "version of a plan": lambda: plan_version(mill),
        "proposed order": lambda: proposal(mill),
    }
    found = {}
    for name, read in reads.items():
        with CaptureQueriesContext(connection) as caught:
            read()
        found[name] = len(caught)
    assert found == {name: COUNTS[name] for name in found}

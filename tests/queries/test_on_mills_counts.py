"""Reads of a mill with nothing on it, and what they ask however much stands there."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.services.mounted import mounted
from tests.world import World
from tooling.models import Person
from tooling.queries.changeovers import changeover
from tooling.queries.job_order import asked, plan_version, proposal
from tooling.queries.mill_care import mill_care
from tooling.queries.on_mill import mills_token, on_mill, on_mills
from tooling.queries.piece_spot import piece_spot
from tooling.queries.setup_times import times_page
from tooling.queries.strip_down import strip_down

COUNTS: dict[str, int] = json.loads((Path(__file__).parents[1] / "query_counts.json").read_text())


pytestmark = pytest.mark.django_db


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

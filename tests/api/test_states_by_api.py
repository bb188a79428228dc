"""The nine states, driven there and back by programs and by people, and read by both.

Every act goes through a door; after each, the API's kit and the page's ribbon say the same.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.standing import Standing
from tests.state_doors import SPACER, TOP, ApiDoor, Door, PageDoor, States, Trade
from tests.world import World
from tooling.models import Kit, Person
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_world(standing: Standing) -> World:
    """The doors go by the real clock."""
    return World(at=timezone.now())


@pytest.fixture(scope="module")
def standing_trade(standing_world: World, standing_cast: dict[str, Person]) -> Trade:
    return Trade(standing_world, standing_cast["crew"])


@pytest.fixture
def trade(standing: Standing, standing_trade: Trade) -> Trade:
    return standing.copy(standing_trade)


@pytest.fixture(params=["api", "page"])
def door(request: Any, trade: Trade, engineer: Person, api_as: Any) -> Door:
    """Engineers may do all of it: move, measure, hold, count, gather."""
    if request.param == "api":
        return ApiDoor(api_as(engineer), trade.kit.number)
    client = Client()
    client.force_login(engineer, backend="django.contrib.auth.backends.ModelBackend")
    return PageDoor(client, trade.kit.number)


@pytest.fixture
def states(trade: Trade, viewer: Person, api_as: Any) -> States:
    """Whoever looks writes nothing."""
    client = Client()
    client.force_login(viewer, backend="django.contrib.auth.backends.ModelBackend")
    return States(api_as(viewer), client, trade.kit.number)


def test_at_first_everything_is_to_fetch(states: States) -> None:
    assert set(states.by_api().values()) == {"to_fetch"}
    assert states.by_page() == states.by_api()
    assert len(states.by_api()) == 5


def _here(door: Door, t: Trade) -> None:
    door.move(t.piece.code, t.kit)


def _home(door: Door, t: Trade) -> None:
    door.move(t.piece.code, t.shop.rack)


def _on_the_mill(door: Door, t: Trade) -> None:
    door.move(t.piece.code, t.shop.mill.stations.get(number=1).code)


def _lost(door: Door, t: Trade) -> None:
    door.move(t.piece.code, t.lost)


def _out(door: Door, t: Trade) -> None:
    door.move(t.piece.code, t.grinder)


def _measured(dimension: str, mm: str) -> Callable[[Door, Trade], None]:
    return lambda door, t: door.measure(t.piece.code, dimension, mm)


def _held(door: Door, t: Trade) -> None:
    door.hold(t.piece.code, "dropped from the hoist")


def _lifted(door: Door, t: Trade) -> None:
    door.lift(t.piece.code)


def _ran(metres: str) -> Callable[[Door, Trade], None]:
    return lambda door, t: door.ran(t.piece.code, metres)


def _counted(there: int) -> Callable[[Door, Trade], None]:
    return lambda door, t: door.count(t.bin.code, there)


@pytest.mark.parametrize(
    ("spot", "there", "state", "back"),
    [
        pytest.param(TOP, _here, "here", _home, id="into the cart and out of it"),
        pytest.param(TOP, _on_the_mill, "here", _home, id="onto the mill and off it"),
        pytest.param(TOP, _lost, "missing", _home, id="lost and found"),
        pytest.param(TOP, _out, "out", _home, id="to the grinder and back"),
        pytest.param(TOP, _measured("drive_diameter", "139.999"), "worn",
                     _measured("drive_diameter", "140"), id="a hair below the least diameter"),
        pytest.param(TOP, _measured("face_width", "48.99"), "worn",
                     _measured("face_width", "49"), id="shorter than the least width"),
        pytest.param(TOP, _measured("bore", "59.9"), "does_not_fit",
                     _measured("bore", "60.01"), id="a bore smaller than the shaft"),
        pytest.param(TOP, _ran("10001"), "may_not_last",
                     _measured("drive_diameter", "150"), id="beyond the usual length, measured"),
        pytest.param(TOP, _held, "held", _lifted, id="held and let go"),
        pytest.param(SPACER, _counted(0), "missing", _counted(1), id="no spacer left, one found"),
    ],
)  # fmt: skip
def test_each_state_comes_and_goes(
    door: Door,
    trade: Trade,
    states: States,
    spot: tuple[str, str, str],
    there: Callable[[Door, Trade], None],
    state: str,
    back: Callable[[Door, Trade], None],
) -> None:
    there(door, trade)
    assert states.of(spot) == state
    back(door, trade)
    assert states.of(spot) == "to_fetch"
    assert set(states.by_api().values()) == {"to_fetch"}
    assert differences() == []


def test_taken_while_it_is_staged_for_another_kit_and_free_when_that_closes(
    door: Door, trade: Trade, states: States, crew: Person
) -> None:
    other = trade.shop.kit(crew, number="J2", in_hours=400)
    plate = trade.world.place("Plate 3", kind="plate")
    door.place_of(other.number, plate)
    door.move(trade.piece.code, other)
    assert states.of(TOP) == "taken"
    door.close(other.number, "strip did not come")
    assert states.of(TOP) == "to_fetch"
    assert differences() == []


def test_taken_by_a_job_that_gathers_first(
    door: Door, trade: Trade, states: States, crew: Person
) -> None:
    first = trade.shop.kit(crew, number="J0", in_hours=23)
    assert states.of(TOP) == "taken"
    door.close(first.number, "put off")
    assert states.of(TOP) == "to_fetch"


def test_a_shorter_run_lets_the_roll_last(
    trade: Trade, states: States, engineer: Person, api_as: Any
) -> None:
    """12 km run and 10 km to come is beyond 20 km; with 8 km to come it is not."""
    api = api_as(engineer)
    ApiDoor(api, trade.kit.number).ran(trade.piece.code, "12000")
    assert states.of(TOP) == "may_not_last"
    answer = api.patch("/api/v1/jobs/J1/", {"length_m": "8000"}, format="json")
    assert answer.status_code == 200, answer.content
    assert states.of(TOP) == "to_fetch"


def test_the_page_asks_for_nothing_new_while_nothing_moves(
    door: Door, trade: Trade, states: States
) -> None:
    version = Kit.objects.get(pk=trade.kit.pk).version
    poll = f"/kits/{trade.kit.number}/live/?v="
    assert states.page.get(f"{poll}{version}").status_code == 204
    _here(door, trade)
    answer = states.page.get(f"{poll}{version}")
    assert answer.status_code == 200
    assert 'data-state="here"' in answer.content.decode()

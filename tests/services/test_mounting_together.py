"""Several people at one mill at once: a shaft is put on by one of them, stations by each."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connections

from tests.setting_up import SettingUp
from tests.world import World, make_person
from tooling.errors import ToolingError
from tooling.models import Person, Role, ShaftMount
from tooling.services import mounting
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db(transaction=True)
PEOPLE = 4


@pytest.fixture
def shop(transactional_db: None, at: Any) -> SettingUp:
    return SettingUp(World(at=at), make_person("lead", Role.CREW), stations=2)


@pytest.fixture
def people(shop: SettingUp) -> list[Person]:
    return [make_person(f"hand{n}", Role.CREW) for n in range(PEOPLE)]


def at_once(act: Callable[[int], Any]) -> list[Any]:
    """Everybody in the same moment; what each was told."""
    gate = Barrier(PEOPLE)

    def run(number: int) -> Any:
        try:
            gate.wait()
            return act(number)
        except ToolingError as error:
            return error
        finally:
            connections.close_all()

    with ThreadPoolExecutor(PEOPLE) as pool:
        return list(pool.map(run, range(PEOPLE)))


def test_of_four_who_finish_one_shaft_three_are_told_who_did(
    shop: SettingUp, people: list[Person]
) -> None:
    setup, at = shop.start(), shop.world.at
    told = at_once(
        lambda n: mounting.mount(by=people[n], at=at, setup=setup, station=1, shaft="top")
    )
    [done] = [each for each in told if isinstance(each, ShaftMount)]
    refused = [each for each in told if isinstance(each, ToolingError)]
    assert [each.code for each in refused] == ["mounted_already"] * (PEOPLE - 1)
    assert all(str(done.by) in each.message for each in refused)
    assert (shop.at_station(1), ShaftMount.objects.count()) == (1, 1)
    assert differences() == []


def test_four_at_four_shafts_all_succeed(shop: SettingUp, people: list[Person]) -> None:
    setup, at = shop.start(), shop.world.at
    spots = [(station, shaft) for station in (1, 2) for shaft in ("top", "bottom")]

    def mount(n: int) -> Any:
        station, shaft = spots[n]
        return mounting.mount(by=people[n], at=at, setup=setup, station=station, shaft=shaft)

    told = at_once(mount)
    assert [type(each) for each in told] == [ShaftMount] * PEOPLE
    assert (shop.at_station(1), shop.at_station(2), shop.in_cart()) == (2, 2, 0)
    assert differences() == []

"""Pages of setups ask a fixed number of queries, whatever stands on the mill.

The counts are of the whole request: session, person and roles are in them.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.setting_up import SettingUp
from tests.world import World
from tooling.models import Kit, Person
from tooling.services import as_set, mounting

pytestmark = pytest.mark.django_db
COUNTS: dict[str, int] = json.loads((Path(__file__).parents[1] / "query_counts.json").read_text())
PAGES = {
    "GET setup": "",
    "GET setup, new to the screen": "live/?v=0",
    "GET setup, nothing new": "live/?v={version}",
    "GET setup station": "stations/1/",
    "GET setup station, nothing new": "stations/1/live/?v={version}",
    "GET setup gaps": "stations/1/gaps/",
    "GET setups": "../",
}


@pytest.mark.parametrize("stations", [1, 42])
def test_queries_do_not_grow_with_stations(
    log_in: Any, world: World, crew: Person, stations: int
) -> None:
    """42 stations carry 252 positions."""
    shop = SettingUp(world, crew, stations=stations)
    setup = shop.start()
    mounting.mount(by=crew, at=world.at, setup=setup, station=1, shaft="top")
    as_set.set_as_target(by=crew, at=world.at, setup=setup, station=1)
    client, version = log_in(crew), Kit.objects.get(pk=shop.kit.pk).version
    asked: dict[str, int] = {}
    for name, path in PAGES.items():
        url = f"/setups/{shop.kit.number}/{path.format(version=version)}".replace(
            f"{shop.kit.number}/../", ""
        )
        client.get(url)
        with CaptureQueriesContext(connection) as seen:
            answer = client.get(url)
        assert answer.status_code == (204 if "nothing new" in name else 200), name
        asked[name] = len(seen)
    assert asked == {name: COUNTS[name] for name in PAGES}


def test_a_setup_whose_kit_lost_its_positions_is_still_shown(
    log_in: Any, world: World, crew: Person
) -> None:
    shop = SettingUp(world, crew, stations=1)
    shop.start()
    shop.kit.positions.all().delete()
    client = log_in(crew)
    for path in ("", "stations/1/", "stations/1/gaps/"):
        assert client.get(f"/setups/{shop.kit.number}/{path}").status_code == 200
    assert client.get(f"/setups/{shop.kit.number}/stations/9/").status_code == 404

"""Every page of records opens for everybody who logs in; forms open only for who may send them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from django.test import Client

from tests.standing import Standing
from tests.world import MM, World
from tooling.models import Person, SetupChart, Station
from tooling.models.fields import DIAMETERS

pytestmark = pytest.mark.django_db

READ = [
    "/pieces/",
    "/pieces/?q=1472",
    "/pieces/?q=bore+60",
    "/pieces/?owner=SHOP&kind=roll&condition=sound&unseen=1",
    "/pieces/{piece}/",
    "/pieces/stock/",
    "/pieces/stock/?short=1&q=SP",
    "/pieces/stock/{line}/",
    "/mills/",
    "/mills/M1/",
    "/sets/",
    "/sets/?q=1472",
    "/sets/1472/",
    "/sets/1472/mills/M1/",
    "/sets/charts/{chart}/",
    "/sets/drawings/",
    "/sets/drawings/?q=1472&kind=roll",
    "/sets/drawings/1472-01-T1/",
    "/sets/drawings/SP 5/8 x 1/",
    "/shop/",
    "/shop/myself/",
    "/shop/places/",
    "/shop/places/?q=rack",
    "/shop/places/{place}/",
    "/shop/owners/",
    "/shop/gauges/",
    "/shop/settings/",
]
ENGINEERS = [
    "/pieces/new/",
    "/pieces/{piece}/edit/",
    "/pieces/{piece}/work/",
    "/mills/new/",
    "/mills/M1/edit/",
    "/mills/M1/drive-group/",
    "/mills/M1/stations/1/",
    "/mills/M1/stations/1/{shaft}/",
    "/sets/new/",
    "/sets/1472/edit/",
    "/sets/1472/pass/?pass=1",
    "/sets/1472/position/?pass=1&shaft=top",
    "/sets/1472/position/?position={position}",
    "/sets/1472/position/{position}/allot/",
    "/sets/1472/copies/",
    "/sets/1472/copies/{copy}/",
    "/sets/1472/charts/",
    "/sets/charts/{chart}/passes/{pass}/",
    "/sets/drawings/new/",
    "/sets/drawings/1472-01-T1/title/",
    "/sets/drawings/1472-01-T1/revisions/",
    "/sets/drawings/1472-01-T1/revisions/{revision}/",
    "/sets/drawings/1472-01-T1/revisions/{revision}/file/",
    "/shop/gauges/new/",
]
WRITERS = ["/pieces/{piece}/reading/", "/pieces/{piece}/length/"]
KEEPERS = ["/pieces/stock/new/", "/shop/places/new/", "/shop/places/{place}/edit/"]
SUPERVISORS = [
    "/shop/edit/",
    "/shop/owners/new/",
    "/shop/owners/SHOP/edit/",
    "/shop/people/",
    "/shop/people/new/",
    "/shop/people/viewer/edit/",
    "/shop/settings/lift_warn/",
    "/shop/settings/wall_at_key_corner_warn/",
]
MAY: list[tuple[list[str], set[str]]] = [
    (READ, {"viewer", "attendant", "crew", "engineer", "supervisor"}),
    (ENGINEERS, {"engineer", "supervisor"}),
    (WRITERS, {"attendant", "crew", "engineer", "supervisor"}),
    (KEEPERS, {"attendant", "engineer", "supervisor"}),
    (SUPERVISORS, {"supervisor"}),
]


@pytest.fixture(scope="module")
def standing_names(standing_world: World) -> dict[str, object]:
    """A shop with one of everything, and what its addresses are filled with."""
    world = standing_world
    rack = world.place("Rack A")
    sizes = {f"{name}_nm": 150 * MM for name in DIAMETERS}
    roll = world.drawing("1472-01-T1", bore_nm=60 * MM, face_width_nm=40 * MM, **sizes)
    spacer = world.drawing("SP 5/8 x 1", kind="spacer", bore_nm=60 * MM, face_width_nm=25 * MM)
    piece = world.piece(roll, rack, mark="1472-01-T1")
    line = world.stock(spacer, rack, 3, least_count=5)
    mill = world.mill("M1")
    tool_set = world.tool_set("1472", {(1, "top", 1): roll, (1, "bottom", 1): roll})
    copy = world.copy(tool_set, "A", {(1, "top", 1): piece})
    chart: SetupChart = world.chart(tool_set, mill)
    position = tool_set.passes.get().positions.get(shaft="top")
    station: Station = mill.stations.get(number=1)
    return {
        "piece": piece.code,
        "line": line.code,
        "place": rack.code,
        "chart": chart.pk,
        "position": position.pk,
        "copy": copy.pk,
        "pass": position.set_pass_id,
        "revision": roll.revisions.get().pk,
        "shaft": station.shafts.get(which="top").pk,
    }


@pytest.fixture
def names(db: None, standing: Standing, standing_names: dict[str, object]) -> dict[str, object]:
    return standing.copy(standing_names)


@pytest.mark.parametrize(
    ("path", "roles"), [(path, roles) for paths, roles in MAY for path in paths]
)
def test_a_page_opens_for_the_roles_that_may_and_says_who_may_to_the_others(
    path: str,
    roles: set[str],
    names: dict[str, object],
    cast: dict[str, Person],
    log_in: Callable[[Person], Client],
) -> None:
    answers = {
        role: log_in(person).get(path.format(**names)).status_code for role, person in cast.items()
    }
    assert answers == {role: 200 if role in roles else 403 for role in cast}


@pytest.mark.parametrize("path", [path for paths, _roles in MAY for path in paths])
def test_nobody_sees_a_page_without_logging_in(
    path: str, names: dict[str, object], client: Client
) -> None:
    answer = client.get(path.format(**names))
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/login/")


@pytest.mark.parametrize(
    "path",
    [
        "/pieces/R0008N39/",
        "/shop/places/P0000000/",
        "/sets/none/",
        "/sets/1472/mills/none/",
        "/sets/drawings/none/",
        "/mills/none/",
        "/sets/charts/99/",
        "/pieces/stock/B0000000/",
        "/shop/settings/none/",
        "/sets/drawings/files/" + "0" * 64 + "/",
    ],
)
def test_what_is_not_there_is_said_in_a_sentence(
    path: str, supervisor: Person, log_in: Callable[[Person], Client]
) -> None:
    answer = log_in(supervisor).get(path)
    assert answer.status_code == 404
    assert 'class="problem"' in answer.content.decode()


def test_a_label_code_or_mark_that_one_piece_has_leads_straight_to_it(
    names: dict[str, object], viewer: Person, log_in: Callable[[Person], Client]
) -> None:
    browser = log_in(viewer)
    code = names["piece"]
    for typed in (str(code).lower(), "1472-01-t1"):
        answer = browser.get("/pieces/", {"q": typed})
        assert answer.headers["Location"] == f"/pieces/{code}/"


def test_the_history_shows_every_kind_of_entry_once(
    names: dict[str, object], supervisor: Person, log_in: Callable[[Person], Client]
) -> None:
    browser = log_in(supervisor)
    code = names["piece"]
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M")
    browser.post(f"/pieces/{code}/reading/", {"dimension": "bore", "value": "60.02",
                                              "happened_at": now})  # fmt: skip
    browser.post(f"/pieces/{code}/length/", {"length": "12 km", "strip_class": "galvanised"})
    browser.post(f"/pieces/{code}/stop/", {"what": "chipped", "note": "at the flange"})
    page = browser.get(f"/pieces/{code}/").content.decode()
    every = ["movement", "reading", "length", "change", "incident"]
    assert [kind for kind in every if page.count(f'data-kind="{kind}"') == 1] == every

"""The schema: without a warning, readable, true to the answers, closed to strangers."""

from __future__ import annotations

import json
from collections.abc import Iterator
from io import StringIO
from typing import Any

import pytest
import schemathesis
from django.core.management import call_command
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from drf_spectacular.generators import SchemaGenerator
from hypothesis import settings
from schemathesis.checks import CHECKS, load_all_checks
from schemathesis.config import SchemathesisConfig

from tests.examples import ON_POSTGRESQL
from tests.world import MM, World
from tooling.models import Person
from tooling.wsgi import application

pytestmark = pytest.mark.django_db
load_all_checks()
DOCUMENT = json.loads(json.dumps(SchemaGenerator().get_schema(request=None, public=True)))
OPERATIONS = [
    (path, method)
    for path, item in DOCUMENT["paths"].items()
    for method in item
    if method in ("get", "post", "put", "patch", "delete")
]
CONTRACT = (
    *("pieces/", "pieces/{code}/", "pieces/{code}/history/", "stock/", "places/", "drawings/"),
    *("mills/", "sets/", "owners/", "scans/", "imports/", "imports/{number}/apply/"),
)
WALKED = schemathesis.openapi.from_dict(
    DOCUMENT, config=SchemathesisConfig.from_dict({"phases": {"coverage": {"enabled": False}}})
)
WALKED.app = application
HELD_TO = CHECKS.get_by_names(
    [
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_schema_conformance",
    ]
)


def test_the_schema_is_made_without_a_warning() -> None:
    out = StringIO()
    call_command("openapi", json=True, stdout=out, stderr=out)
    assert json.loads(out.getvalue())["info"]["title"] == "rollroom"


@pytest.mark.parametrize("path", CONTRACT)
def test_what_programs_rely_on_is_there(path: str) -> None:
    assert f"/api/v1/{path}" in DOCUMENT["paths"]


@pytest.mark.one_database
@pytest.mark.parametrize(("path", "method"), OPERATIONS)
def test_every_endpoint_needs_a_log_in(client, path: str, method: str) -> None:
    address = path.replace("{station}", "1").replace("{number}", "1").replace("{set_pass}", "1")
    for name in ("code", "revision", "which", "letter", "mill"):
        address = address.replace(f"{{{name}}}", "X")
    answer = getattr(client, method)(address)
    assert answer.status_code == 401
    assert set(answer.json()) == {"code", "message", "detail"}


@pytest.fixture(scope="module")
def known(standing_world: World) -> dict[str, str]:
    """One record of each kind, by the names that addresses use."""
    world = standing_world
    drawing = world.drawing("R-1", bore_nm=60 * MM)
    rack = world.place("Rack A")
    world.mill("M1", stations=1)
    world.tool_set("T-1", {(1, "top", 1): drawing})
    return {
        "pieces": world.piece(drawing, rack, mark="1").code,
        "stock": world.stock(world.drawing("S-1", kind="spacer"), rack, 5).code,
        "places": rack.code,
        "owners": "SHOP",
        "drawings": "R-1",
        "mills": "M1",
        "sets": "T-1",
    }


@pytest.fixture
def _connection_stays() -> Iterator[None]:
    """A real request closes connections at its ends; the test's own must stay open."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.mark.usefixtures("_connection_stays")
@WALKED.parametrize()
@settings(max_examples=3 if ON_POSTGRESQL else 2)  # it refuses more than SQLite does
def test_answers_are_as_the_schema_says(
    case: Any, known: dict[str, str], supervisor: Person, engineer: Person, api_as: Any
) -> None:
    """Random bodies and addresses; then the same at a record that exists."""
    for person in (supervisor, engineer):
        token = api_as(person)._credentials["HTTP_AUTHORIZATION"]
        answer = case.call(headers={"Authorization": token})
        case.validate_response(answer, checks=HELD_TO)
    noun = case.path.split("/")[3]
    if case.path_parameters and noun in known:
        name = "code" if "code" in case.path_parameters else "number"
        case.path_parameters[name] = known[noun]
        answer = case.call(headers={"Authorization": token})
        case.validate_response(answer, checks=HELD_TO)


def test_the_page_lists_every_endpoint_with_its_fields(log_in, viewer) -> None:
    answer = log_in(viewer).get("/api/v1/schema/", headers={"Accept": "text/html"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("text/html")
    for path in DOCUMENT["paths"]:
        assert f"<code>{path}</code>" in page
    assert "outside_diameter_mm" in page


def test_the_page_fetches_nothing_from_elsewhere(log_in, viewer) -> None:
    page = log_in(viewer).get("/api/v1/schema/?format=html").content.decode()
    assert "//cdn" not in page
    assert 'src="http' not in page
    assert "<style" not in page


@pytest.mark.parametrize(("wanted", "kind"), [("json", "json"), ("yaml", "openapi")])
def test_programs_get_it_as_they_ask(api_as, viewer, wanted: str, kind: str) -> None:
    answer = api_as(viewer).get(f"/api/v1/schema/?format={wanted}")
    assert kind in answer.headers["Content-Type"]
    assert b"/api/v1/pieces/{code}/" in answer.content


def test_whoever_takes_anything_gets_json(api_as, viewer) -> None:
    assert api_as(viewer).get("/api/v1/schema/").json()["openapi"].startswith("3.")


@pytest.mark.parametrize("path", ["nowhere/", "pieces", "", "pieces/X/Y/Z/"])
def test_an_address_that_is_none_is_an_error_like_others(api_as, viewer, path: str) -> None:
    answer = api_as(viewer).get(f"/api/v1/{path}")
    assert (answer.status_code, answer.json()["code"]) == (404, "unknown")
    assert set(answer.json()) == {"code", "message", "detail"}

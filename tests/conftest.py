"""What every test may ask for: the cast, the clock, a shop to fill, and history that steps aside
only while a test's own database is flushed."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.core.cache import cache
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from hypothesis import HealthCheck, settings
from rest_framework.authtoken.models import Token
from rest_framework.test import APIClient

from tests.demo_server import manage
from tests.world import World, make_person
from tooling import history
from tooling.models import Person, Role

settings.register_profile(
    "house",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
settings.load_profile("house")

ROLES = tuple(Role)
ONCE = {Path(__file__).parent / "web", Path(__file__).parent / "house"}
NEEDS_DATABASE = {"db", "transactional_db", "live_server", "django_db_setup"}


def pytest_configure() -> None:
    """Slow hashes protect passwords; the cast's are no secret."""
    django_settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """A test that asks for no database says nothing about it: one run is enough. Nor does one of
    a page or of the house's rules: what pages read and write is tested on both in ``queries``,
    ``services`` and ``api``."""
    for item in items:
        asks = item.get_closest_marker("django_db") or NEEDS_DATABASE & set(_fixtures_of(item))
        if not asks or ONCE & set(item.path.parents):
            item.add_marker(pytest.mark.one_database)


def _fixtures_of(item: pytest.Item) -> list[str]:
    return item.fixturenames if isinstance(item, pytest.Function) else []


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    """The tables come straight from the models (``--nomigrations``), and say so as a migrated
    database does: ``tests/models/test_migrations.py`` holds the two to the same shape."""
    django_settings.MIGRATION_MODULES = {}
    with django_db_blocker.unblock():
        recorder = MigrationRecorder(connection)
        for app, name in MigrationLoader(None).graph.nodes:
            recorder.record_applied(app, name)


@pytest.fixture(autouse=True)
def _history_steps_aside_for_flush(request: pytest.FixtureRequest) -> Iterator[None]:
    """Triggers refuse the flush that ends a transactional test; migrate puts them back."""
    marker = request.node.get_closest_marker("django_db")
    transactional = bool(marker and marker.kwargs.get("transaction"))
    names = request.fixturenames
    if transactional or {"transactional_db", "live_server"} & set(names):
        request.getfixturevalue("transactional_db")
        yield
        history.remove()
        return
    yield


@pytest.fixture(autouse=True)
def _nothing_is_kept_from_the_test_before() -> Iterator[None]:
    """What a process keeps of its shop would be another test's shop."""
    yield
    cache.clear()


@pytest.fixture
def at() -> datetime:
    """The clock of the test."""
    return datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


@pytest.fixture
def world(db: None, at: datetime) -> World:
    """A small shop that a test fills as it needs."""
    return World(at=at)


@pytest.fixture
def cast(db: None) -> dict[str, Person]:
    """One person per role, by the role's name."""
    return {role.value: make_person(role.value, role) for role in ROLES}


@pytest.fixture
def viewer(cast: dict[str, Person]) -> Person:
    return cast["viewer"]


@pytest.fixture
def attendant(cast: dict[str, Person]) -> Person:
    return cast["attendant"]


@pytest.fixture
def crew(cast: dict[str, Person]) -> Person:
    return cast["crew"]


@pytest.fixture
def engineer(cast: dict[str, Person]) -> Person:
    return cast["engineer"]


@pytest.fixture
def supervisor(cast: dict[str, Person]) -> Person:
    return cast["supervisor"]


@pytest.fixture
def log_in(client: Client) -> object:
    """``log_in(person)`` gives a browser-like client logged in as that person."""

    def _log_in(person: Person) -> Client:
        client.force_login(person, backend="tooling.web.zone.ShopBackend")
        return client

    return _log_in


@pytest.fixture
def api_as() -> object:
    """``api_as(person)`` gives an API client with that person's token."""

    def _api_as(person: Person) -> APIClient:
        token, _ = Token.objects.get_or_create(user=person)
        client = APIClient()
        client.credentials(HTTP_AUTHORIZATION=f"Token {token.key}")
        return client

    return _api_as


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The data folder of a demo shop, drawn up once; who changes much in it works on a copy."""
    folder = tmp_path_factory.mktemp("demo")
    done = manage(folder, "demo", "--prepare-only", "--data-dir", str(folder))
    assert done.returncode == 0, done.stderr
    return folder

"""What every test may ask for: the cast, the clock, a shop to fill, and history that steps aside
only while a test's own database is flushed."""

from __future__ import annotations

import fcntl
import gc
import os
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.core.cache import cache
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from hypothesis import HealthCheck, settings
from rest_framework.authtoken.models import Token
from rest_framework.test import APIClient

from tests.demo_server import manage
from tests.one_chain import share_middleware
from tests.standing import Standing
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
AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
ONCE = {
    Path(__file__).parent / each
    for each in (
        *("engineering", "house", "paper"),
        *("pictures", "spreadsheets", "templatetags", "web"),
    )
}
LONGEST = (
    "commands/test_demo.py",
    "house/test_access.py",
    "browser/test_kits.py",
    "browser/test_whole_way.py",
    "browser/test_records.py",
    "browser/test_scan.py",
    "browser/test_changeover.py",
    "browser/test_offline_device.py",
    "browser/test_offline.py",
    "browser/test_camera.py",
    "browser/test_labels.py",
    "browser/test_run_to_release.py",
    "api/test_schema.py",
    "models/test_migrations.py",
    "services/test_durability.py",
    "queries/test_exports.py",
)
"""By processor time, longest first."""
NEEDS_DATABASE = {"db", "transactional_db", "live_server", "django_db_setup"}


def pytest_configure() -> None:
    """Slow hashes protect passwords; the cast's are no secret. What is collected lives as long as
    the run: the garbage collector need not look through it again and again."""
    gc.disable()
    django_settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    share_middleware()


@pytest.hookimpl(wrapper=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> Iterator[None]:
    """A test that asks for no database says nothing about it: one run is enough. Nor does one of
    a page, of paper or of the house's rules: what pages read and write is tested on both in
    ``queries``, ``services`` and ``api``. Marked before ``-m`` chooses, sorted after all others."""
    for item in items:
        asks = item.get_closest_marker("django_db") or NEEDS_DATABASE & set(_fixtures_of(item))
        if not asks or ONCE & set(item.path.parents):
            item.add_marker(pytest.mark.one_database)
    yield
    items.sort(key=_turn)  # stable: within a file the order stays


def pytest_collection_finish() -> None:
    """From here on garbage is looked for among what the tests make."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)
    gc.enable()


def _turn(item: pytest.Item) -> int:
    """Files go to the workers whole, so the longest go first: nobody waits for one at the end."""
    name = f"{item.path.parent.name}/{item.path.name}"
    if name in LONGEST:
        return LONGEST.index(name)
    return len(LONGEST) + (item.path.parent.name not in ("browser", "commands"))


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
        Standing.end()
        yield
        history.remove()
        return
    yield


@pytest.fixture(autouse=True)
def _nothing_is_kept_from_the_test_before() -> Iterator[None]:
    """What a process keeps of its shop would be another test's shop."""
    yield
    cache.clear()


@pytest.fixture(scope="module")
def standing(django_db_setup: None, django_db_blocker: Any) -> Iterator[Standing]:
    """What a file's tests have in common is built once, in a transaction under theirs."""
    with django_db_blocker.unblock():
        yield (under := Standing())
        under.end()


@pytest.fixture(scope="module")
def standing_world(standing: Standing) -> World:
    """Every test's world: to build upon what stands under all tests of a file."""
    return World(at=AT)


@pytest.fixture(scope="module")
def standing_cast(standing: Standing) -> dict[str, Person]:
    return {role.value: make_person(role.value, role) for role in ROLES}


@pytest.fixture
def at() -> datetime:
    """The clock of the test."""
    return AT


@pytest.fixture
def world(db: None, at: datetime, standing: Standing, standing_world: World) -> World:
    """A small shop that a test fills as it needs."""
    if not standing.is_open:
        return World(at=at)
    mine = standing.copy(standing_world)
    mine.at = at
    return mine


@pytest.fixture
def cast(db: None, standing: Standing, standing_cast: dict[str, Person]) -> dict[str, Person]:
    """One person per role, by the role's name."""
    if not standing.is_open:
        return {role.value: make_person(role.value, role) for role in ROLES}
    return standing.copy(standing_cast)


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
    """``log_in(person)`` gives a browser-like client logged in as that person: by a session like
    the log-in page's (which ``tests/web/test_sessions.py`` goes through), without its counting of
    attempts."""

    def _log_in(person: Person) -> Client:
        session = SessionStore()
        session[SESSION_KEY] = str(person.pk)
        session[BACKEND_SESSION_KEY] = "tooling.web.zone.ShopBackend"
        session[HASH_SESSION_KEY] = person.get_session_auth_hash()
        session.create()
        client.cookies[django_settings.SESSION_COOKIE_NAME] = session.session_key
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
    """The data folder of a demo shop, drawn up once, from nothing; who changes much in it works on
    a copy."""
    return _made_once(tmp_path_factory, "demo", "demo", "--prepare-only")


@pytest.fixture(scope="session")
def migrated_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder whose SQLite database the migrations made, from nothing; to be copied."""
    return _made_once(tmp_path_factory, "migrated", "migrate", "--verbosity", "0")


def _made_once(tmp_path_factory: pytest.TempPathFactory, name: str, *command: str) -> Path:
    """A copy of the data folder that the command makes in a process of its own."""
    here = tmp_path_factory.getbasetemp()
    together = here.parent if "PYTEST_XDIST_WORKER" in os.environ else here
    made, folder = together / f"{name}-made", tmp_path_factory.mktemp(name) / "shop"
    with (together / f"{name}-made.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # the other worker waits for it rather than make its own
        if not made.exists():
            begun = together / f"{name}-begun"
            begun.mkdir()
            done = manage(begun, *command)
            assert done.returncode == 0, done.stderr
            begun.rename(made)
    shutil.copytree(made, folder)
    return folder

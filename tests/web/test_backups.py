"""Backups on the Shop's page and in the API: asked for, made by the worker, taken away."""

from __future__ import annotations

import zipfile
from datetime import datetime, timedelta

import pytest

from tests.world import World, make_person
from tooling.models import Person, Role, Setting, Task
from tooling.services.backup import kept
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once


@pytest.fixture(autouse=True)
def own_folders(settings, tmp_path) -> None:
    settings.DATA_DIR, settings.FILES_DIR = tmp_path, tmp_path / "files"


@pytest.fixture
def world(db: None, at: datetime) -> World:
    """Of each test alone: the worker closes the connection, and with it what stands below."""
    return World(at=at)


@pytest.fixture
def cast(db: None) -> dict[str, Person]:
    return {role.value: make_person(role.value, role) for role in Role}


@pytest.mark.django_db
def test_an_empty_folder_teaches_the_first_step(world, supervisor, log_in) -> None:
    page = log_in(supervisor).get("/shop/backups/").content.decode()
    assert "No backup was made yet" in page
    assert "Make a backup now" in page


@pytest.mark.django_db
def test_one_is_asked_for_made_and_taken_away(world, supervisor, log_in, tmp_path) -> None:
    client = log_in(supervisor)
    assert client.post("/shop/backups/make/").status_code == 302
    assert 'hx-trigger="every 1s"' in client.get("/shop/backups/?part=1").content.decode()
    assert work_once(HANDLERS)
    [name] = [each.name for each in kept.kept(by=supervisor)]
    page = client.get("/shop/backups/").content.decode()
    assert f'href="/shop/backups/{name}/"' in page
    answer = client.get(f"/shop/backups/{name}/")
    (tmp_path / "taken.zip").write_bytes(b"".join(answer.streaming_content))
    answer.close()
    assert zipfile.ZipFile(tmp_path / "taken.zip").testzip() is None


@pytest.mark.django_db
def test_a_second_one_at_the_same_time_is_refused_in_place(world, supervisor, log_in) -> None:
    client = log_in(supervisor)
    client.post("/shop/backups/make/")
    answer = client.post("/shop/backups/make/")
    assert answer.status_code == 409
    assert 'data-code="backup_under_way"' in answer.content.decode()
    assert Task.objects.count() == 1


@pytest.mark.django_db
def test_the_shop_keeps_so_many(world, supervisor) -> None:
    Setting.objects.create(name="backups_kept", value=2)
    for day in range(3):
        kept.make_and_keep(
            by=supervisor, at=world.at + timedelta(days=day), progress=lambda share: None
        )
    assert [each.name[9:17] for each in kept.kept(by=supervisor)] == ["20261127", "20261126"]


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["..%2Fsecret-key", "secret-key", "rollroom-20260101T000000Z.zip"])
def test_nothing_else_can_be_taken(world, supervisor, log_in, tmp_path, name) -> None:
    (tmp_path / "secret-key").write_text("hidden")
    assert log_in(supervisor).get(f"/shop/backups/{name}/").status_code == 404


@pytest.mark.django_db
def test_a_program_has_one_made(world, supervisor, engineer, api_as) -> None:
    answer = api_as(supervisor).post("/api/v1/backups/")
    assert (answer.status_code, answer.json()["kind"]) == (202, "backup")
    assert work_once(HANDLERS)
    [told] = api_as(supervisor).get("/api/v1/backups/").json()
    assert told["size"] > 1_000
    assert api_as(engineer).get("/api/v1/backups/").json()["code"] == "not_allowed"

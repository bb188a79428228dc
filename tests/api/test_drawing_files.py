"""A drawing's files through the API, told by what is inside."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.world import World
from tooling.models import DrawingFile, StoredFile

pytestmark = pytest.mark.django_db
FILES = "/api/v1/drawings/R-1/revisions/A/files/"


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Any, world: World) -> Any:
    settings.FILES_DIR = tmp_path
    world.drawing("R-1")
    return tmp_path


def sent(client: Any, name: str, data: bytes) -> Any:
    return client.post(FILES, {"file": SimpleUploadedFile(name, data)}, format="multipart")


def test_a_file_is_attached_listed_and_sent_to_be_kept(api_as: Any, engineer: Any) -> None:
    client = api_as(engineer)
    made = sent(client, "pass 3.pdf", b"%PDF-1.7 roll")
    assert made.status_code == 201, made.json()
    [row] = client.get(FILES).json()
    assert row == made.json()
    assert (row["name"], row["content_type"], row["size"]) == ("pass 3.pdf", "application/pdf", 13)
    served = client.get(f"{FILES}{row['sha256']}/")
    assert b"".join(served.streaming_content) == b"%PDF-1.7 roll"
    assert served.headers["Content-Disposition"] == 'attachment; filename="pass 3.pdf"'
    assert served.headers["X-Content-Type-Options"] == "nosniff"
    assert client.get(f"{FILES}{'0' * 64}/").json()["code"] == "unknown_file"
    assert sent(client, "pass 3.pdf", b"%PDF-1.7 other").json()["code"] == "already_there"


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"<svg onload=alert(1)>", "unknown_file_type"),
        (b"PK\3\4x", "unknown_file_type"),
        (b"", "empty_file"),
    ],
)
def test_what_is_no_drawing_is_refused_and_not_kept(
    api_as: Any, engineer: Any, folder: Any, data: bytes, code: str
) -> None:
    assert sent(api_as(engineer), "roll.pdf", data).json()["code"] == code
    assert not DrawingFile.objects.exists()
    assert not StoredFile.objects.exists()
    assert not list(folder.iterdir())


def test_attaching_is_the_engineers(api_as: Any, crew: Any) -> None:
    assert sent(api_as(crew), "roll.pdf", b"%PDF-1").status_code == 403

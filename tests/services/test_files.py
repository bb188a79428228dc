"""Files by their content: once, whole or not at all, and never more than there is room for."""

from __future__ import annotations

import os
import resource
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile, UploadedFile
from django.test import Client

from tests.photographs import a_photo, a_png
from tests.world import World
from tooling.errors import NoRoom, ToolingError, Unknown
from tooling.models import DrawingFile, Person, Picture, StoredFile
from tooling.services import file_sweep, files, pictures

pytestmark = pytest.mark.django_db
KB = 1000


@pytest.fixture(autouse=True)
def folder(settings, tmp_path: Path) -> Path:
    settings.FILES_DIR = tmp_path / "files"
    settings.FILES_DIR.mkdir()
    return settings.FILES_DIR


@contextmanager
def no_file_grows_beyond(size: int) -> Iterator[None]:
    """The system itself refuses to write more, as on a full disk."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_the_same_bytes_are_kept_once(at: datetime, folder: Path) -> None:
    first, second = files.store(data=b"%PDF-1", at=at), files.store(data=b"%PDF-1", at=at)
    assert first == second
    assert [path.name for path in folder.iterdir()] == [first.sha256]
    assert files.read(first) == b"%PDF-1"


def test_a_long_upload_is_never_in_memory(at: datetime) -> None:
    class Long(UploadedFile):
        def chunks(self, chunk_size: int | None = None) -> Iterator[bytes]:
            return (b"%PDF-" + bytes(chunk_size - 5) for _n in range(300) if chunk_size)

    tracemalloc.start()
    kept = files.store_upload(upload=Long(None, name="long.pdf", size=20_000 * KB), at=at)
    _now, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert kept.size == 300 * files.CHUNK
    assert kept.content_type == "application/pdf"
    assert most < 4_000 * KB


def test_bytes_without_end_are_stopped_at_the_limit(at: datetime, settings, folder: Path) -> None:
    settings.UPLOAD_MOST_BYTES = 500 * KB
    sent = 0

    class Liar(UploadedFile):
        def chunks(self, chunk_size: int | None = None) -> Iterator[bytes]:
            nonlocal sent
            while True:
                sent += 50 * KB
                yield bytes(50 * KB)

    with pytest.raises(ToolingError) as refused:
        files.store_upload(upload=Liar(None, name="small.pdf", size=9), at=at)
    assert refused.value.code == "file_too_large"
    assert sent <= 550 * KB
    assert not list(folder.iterdir())


def test_a_full_disk_is_said_and_leaves_nothing(at: datetime, folder: Path) -> None:
    with no_file_grows_beyond(64 * KB), pytest.raises(NoRoom) as refused:
        files.store(data=os.urandom(200 * KB), at=at)
    assert (refused.value.code, refused.value.status) == ("no_room", 507)
    assert not list(folder.iterdir())
    assert not StoredFile.objects.exists()


def test_a_picture_on_a_full_disk_is_answered_507_and_can_be_sent_again(
    world: World, crew: Person, log_in, folder: Path
) -> None:
    piece, client = world.piece(world.drawing("D1"), world.place("Rack")), log_in(crew)
    photo = a_photo(2000, 1500)
    with no_file_grows_beyond(8 * KB):
        answer = send(client, piece.code, photo)
    assert answer.status_code == 507
    assert 'data-code="no_room"' in answer.content.decode()
    assert not Picture.objects.exists()
    assert not list(folder.iterdir())
    assert send(client, piece.code, photo).status_code == 302
    assert Picture.objects.count() == 1


def send(client: Client, code: str, photo: bytes):
    upload = SimpleUploadedFile("roll.jpg", photo)
    return client.post("/pictures/keep/", {"piece": code, "files": upload})


def test_what_the_folder_lost_is_said(at: datetime, folder: Path) -> None:
    kept = files.store(data=b"%PDF-1", at=at)
    (folder / kept.sha256).unlink()
    with pytest.raises(Unknown) as refused:
        files.read(kept)
    assert refused.value.code == "file_missing"


def grow_old(folder: Path, at: datetime) -> None:
    then = (at - timedelta(days=2)).timestamp()
    for path in folder.iterdir():
        os.utime(path, (then, then))


def test_a_sweep_takes_what_nothing_names_and_is_old(
    world: World, engineer: Person, at: datetime, folder: Path
) -> None:
    revision = world.drawing("D1").revisions.get()
    named = files.store(data=b"%PDF-named", at=at)
    DrawingFile.objects.create(revision=revision, file=named, name="a.pdf", at=at)
    piece = world.piece(revision.drawing, world.place("Rack"))
    photo = SimpleUploadedFile("a.png", a_png())
    picture = pictures.keep(by=engineer, at=at, upload=photo, piece=piece)
    nameless = files.store(data=b"%PDF-nameless", at=at)
    (folder / "0123").write_bytes(b"no row at all")
    (folder / ".incoming-x").write_bytes(b"broken off")
    grow_old(folder, at)
    young = files.store(data=b"%PDF-young", at=at)
    os.utime(folder / young.sha256, (at.timestamp(), at.timestamp()))
    found = file_sweep.orphans(at=at)
    assert {each.name for each in found} == {nameless.sha256, "0123", ".incoming-x"}
    assert file_sweep.sweep(at=at) == found
    kept = {named.sha256, picture.file.sha256, picture.small.sha256, young.sha256}
    assert {path.name for path in folder.iterdir()} == kept
    assert set(StoredFile.objects.values_list("sha256", flat=True)) == kept
    assert file_sweep.sweep(at=at) == ()


def test_a_file_that_comes_again_is_young_again(at: datetime, folder: Path) -> None:
    files.store(data=b"%PDF-1", at=at)
    grow_old(folder, at)
    assert len(file_sweep.orphans(at=at)) == 1
    files.store(data=b"%PDF-1", at=at)
    assert file_sweep.orphans(at=at) == ()

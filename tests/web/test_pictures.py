"""Pictures on pages: taken, shown, taken back; their files to those who are logged in."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.files.uploadhandler import MemoryFileUploadHandler
from django.test import Client

from tests.photographs import a_photo, a_png, size_of
from tests.world import World
from tooling.models import Person, Picture, Piece
from tooling.services import files

pytestmark = pytest.mark.django_db
SMALL = re.compile(r'<img src="(/pictures/[0-9a-f]{64}\.jpg)"')


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.FILES_DIR = tmp_path
    return tmp_path


@pytest.fixture
def piece(world: World) -> Piece:
    return world.piece(world.drawing("D1"), world.place("Rack"))


def send(client: Client, *files: tuple[str, bytes], **said: str):
    uploads = [SimpleUploadedFile(name, data) for name, data in files]
    return client.post("/pictures/keep/", {"files": uploads, **said})


def body(client: Client, address: str) -> str:
    return client.get(address).content.decode()


def test_several_at_once_come_to_the_piece_s_page(crew: Person, piece: Piece, log_in) -> None:
    client = log_in(crew)
    answer = send(client, ("a.jpg", a_photo(600, 400)), ("b.png", a_png()), piece=piece.code)
    assert answer.headers["Location"] == f"/pieces/{piece.code}/#pictures"
    page = body(client, f"/pieces/{piece.code}/")
    assert "2 pictures kept." in page
    assert len(SMALL.findall(page)) == 2
    assert 'accept="image/*" capture="environment"' in page


def test_a_file_is_for_those_who_are_logged_in(crew: Person, viewer, piece: Piece, log_in) -> None:
    send(log_in(crew), ("a.jpg", a_photo(600, 400)), piece=piece.code)
    picture = Picture.objects.get()
    for sha256 in (picture.file.sha256, picture.small.sha256):
        address = f"/pictures/{sha256}.jpg"
        assert Client().get(address).headers["Location"].startswith("/login/")
        answer = log_in(viewer).get(address)
        assert answer.status_code == 200
        assert size_of(b"".join(answer.streaming_content))
        headers = answer.headers
        assert headers["Content-Type"] == "image/jpeg"
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert headers["Cache-Control"] == "private, max-age=31536000, immutable"


def test_other_files_are_not_served_as_pictures(crew: Person, piece: Piece, log_in, at) -> None:
    other = files.store(data=b"%PDF-secret", at=at)
    client = log_in(crew)
    assert client.get(f"/pictures/{other.sha256}.jpg").status_code == 404
    send(client, ("a.jpg", a_png()), piece=piece.code)
    picture = Picture.objects.get()
    served = client.get(f"/pictures/{picture.file.sha256}.jpg")
    assert b"".join(served.streaming_content) == files.read(picture.file)
    client.post(f"/pictures/{picture.pk}/take-back/")
    assert client.get(f"/pictures/{picture.file.sha256}.jpg").status_code == 404


def test_a_wrong_one_is_taken_back_and_put_back(crew: Person, piece: Piece, log_in) -> None:
    client = log_in(crew)
    send(client, ("a.jpg", a_png()), place=piece.place.code)
    first = Picture.objects.get()
    assert SMALL.search(body(client, f"/shop/places/{piece.place.code}/"))
    taken = client.post(f"/pictures/{first.pk}/take-back/", follow=True)
    assert "Put it back" in taken.content.decode()
    assert not SMALL.search(body(client, f"/shop/places/{piece.place.code}/"))
    newest = Picture.objects.get(corrects=first)
    client.post(f"/pictures/{newest.pk}/put-back/")
    assert SMALL.search(body(client, f"/shop/places/{piece.place.code}/"))
    assert client.get(f"/pictures/{first.pk}/").status_code == 302


def test_words_that_are_too_long_stay_in_their_field(crew: Person, piece: Piece, log_in) -> None:
    client = log_in(crew)
    send(client, ("a.jpg", a_png()), piece=piece.code)
    address = f"/pictures/{Picture.objects.get().pk}/words/"
    refused = client.post(address, {"caption": "y" * 201}).content.decode()
    assert 'data-code="long_text"' in refused
    assert "y" * 201 in refused
    assert (
        "chip at the rim"
        in client.post(address, {"caption": "chip at the rim"}, follow=True).content.decode()
    )


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("a.heic", b"\0\0\0\x18ftypheic" + bytes(40), "heic_picture"),
        ("a.jpg", b"<script>alert(1)</script>", "not_a_picture"),
        ("a.jpg", b"", "empty_file"),
    ],
)
def test_a_refusal_is_said_in_place_and_keeps_nothing(
    crew: Person, piece: Piece, log_in, name: str, data: bytes, code: str, folder
) -> None:
    answer = send(log_in(crew), (name, data), piece=piece.code)
    assert answer.status_code == 400
    assert f'data-code="{code}"' in answer.content.decode()
    assert piece.code in answer.content.decode()
    assert not Picture.objects.exists()
    assert not list(folder.iterdir())


def test_a_script_is_told_the_next_page(crew: Person, piece: Piece, log_in) -> None:
    upload = SimpleUploadedFile("a.png", a_png())
    answer = log_in(crew).post(
        "/pictures/keep/", {"piece": piece.code, "files": upload},
        headers={"X-Next-Page": "name it"},
    )  # fmt: skip
    assert answer.status_code == 200
    assert answer.headers["X-Next-Page"] == f"/pieces/{piece.code}/#pictures"


def test_an_upload_beyond_the_limit_is_counted_and_not_kept(
    crew: Person, piece: Piece, log_in, settings, tmp_path
) -> None:
    settings.UPLOAD_MOST_BYTES = 2_000_000
    settings.FILE_UPLOAD_TEMP_DIR = tmp_path
    settings.FILE_UPLOAD_HANDLERS = settings.FILE_UPLOAD_HANDLERS[1:]
    answer = send(log_in(crew), ("a.jpg", bytes(5_000_000)), piece=piece.code)
    assert answer.status_code == 400
    said = answer.content.decode()
    assert 'data-code="file_too_large"' in said
    assert "The file has 5 MB; at most 2 MB are kept." in said
    assert not list(tmp_path.iterdir())


def test_what_is_beyond_the_limit_is_no_sheet_either(
    engineer: Person, log_in, settings, tmp_path
) -> None:
    settings.UPLOAD_MOST_BYTES = 200_000
    settings.FILE_UPLOAD_HANDLERS = settings.FILE_UPLOAD_HANDLERS[1:]
    sheet = SimpleUploadedFile("places.csv", b"Name,Kind\n" + b"Rack,rack\n" * 40_000)
    answer = log_in(engineer).post("/shop/spreadsheets/bring/", {"files": sheet})
    assert answer.status_code == 400
    assert 'data-code="file_too_large"' in answer.content.decode()


def test_small_files_stay_in_memory_and_large_ones_do_not(settings) -> None:
    first, second = settings.FILE_UPLOAD_HANDLERS
    assert first.endswith(MemoryFileUploadHandler.__name__)
    assert second == "tooling.web.uploads.BoundedUploadHandler"
    assert settings.FILE_UPLOAD_TEMP_DIR.parent == settings.DATA_DIR

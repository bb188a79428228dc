"""Pictures through the API: kept, listed, taken back, their bytes; refused with a code."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.photographs import a_photo, a_png, size_of
from tests.world import World
from tooling.models import Picture, Piece, StoredFile

pytestmark = pytest.mark.django_db
ALL = "/api/v1/pictures/"


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Any) -> Any:
    settings.FILES_DIR = tmp_path
    return tmp_path


@pytest.fixture
def piece(world: World) -> Piece:
    return world.piece(world.drawing("R-1"), world.place("Rack"))


def sent(client: Any, *data: bytes, **more: Any) -> Any:
    files = [SimpleUploadedFile(f"{n}.jpg", each) for n, each in enumerate(data)]
    return client.post(ALL, {"files": files, **more}, format="multipart")


def test_pictures_are_kept_listed_and_served(piece: Piece, api_as: Any, crew: Any) -> None:
    client = api_as(crew)
    answer = sent(client, a_photo(3000, 2000), a_png(), piece=piece.code, caption="chip")
    assert answer.status_code == 201, answer.json()
    first, _second = answer.json()
    assert (first["width"], first["height"], first["piece"], first["caption"]) == (
        2560, 1707, piece.code, "chip",
    )  # fmt: skip
    listed = client.get(f"{ALL}?piece={piece.code}").json()
    assert [row["id"] for row in listed["results"]] == [_second["id"], first["id"]]
    assert client.get(f"{ALL}?place={piece.place.code}").json()["results"] == []
    for name, size in (("file", (2560, 1707)), ("small", (480, 320))):
        served = client.get(f"{ALL}{first['id']}/{name}/")
        assert served.headers["Content-Type"] == "image/jpeg"
        assert size_of(b"".join(served.streaming_content)) == size


def test_a_wrong_one_is_taken_back_and_put_back(piece: Piece, api_as: Any, crew: Any) -> None:
    client = api_as(crew)
    [kept] = sent(client, a_png(), place=piece.place.code).json()
    one = f"{ALL}{kept['id']}/"
    gone = client.post(f"{one}take-back/", {"reason": "another rack"}, format="json").json()
    assert gone["is_taken_back"]
    assert client.get(one).json()["id"] == gone["id"]
    assert client.get(f"{one}file/").status_code == 404
    assert client.get(ALL).json()["results"] == []
    back = client.post(f"{one}put-back/").json()
    said = client.post(f"{one}words/", {"caption": "upper shelf"}, format="json").json()
    assert (back["is_taken_back"], said["caption"]) == (False, "upper shelf")
    assert [row["id"] for row in client.get(ALL).json()["results"]] == [said["id"]]


@pytest.mark.parametrize(
    ("data", "more", "code"),
    [
        (b"%PDF-1.7", {}, "not_a_picture"),
        (b"\0\0\0\x18ftypheic" + bytes(40), {}, "heic_picture"),
        (b"", {}, "empty_file"),
        (a_photo()[:8000], {}, "picture_breaks_off"),
        (a_png(), {"piece": ""}, "shows_nothing"),
        (a_png(), {"piece": "R0000000"}, "bad_check_character"),
        (a_png(), {"incident": 99}, "unknown_code"),
        (a_png(), {"colour": "red"}, "invalid"),
        (a_png(), {"caption": "x" * 201}, "invalid"),
    ],
)
def test_what_cannot_be_kept_has_a_code_and_leaves_nothing(
    piece: Piece, api_as: Any, crew: Any, folder: Any, data: bytes, more: Any, code: str
) -> None:
    answer = sent(api_as(crew), data, **{"piece": piece.code, **more})
    assert (400 <= answer.status_code < 500, answer.json()["code"]) == (True, code)
    assert not Picture.objects.exists()
    assert not StoredFile.objects.exists()
    assert not list(folder.iterdir())


def test_none_sent_is_said(piece: Piece, api_as: Any, crew: Any) -> None:
    answer = api_as(crew).post(ALL, {"piece": piece.code}, format="multipart")
    assert answer.json()["code"] == "no_picture"


def test_what_is_beyond_the_limit_is_refused(
    piece: Piece, api_as: Any, crew: Any, settings: Any
) -> None:
    settings.UPLOAD_MOST_BYTES = 3000
    settings.FILE_UPLOAD_HANDLERS = settings.FILE_UPLOAD_HANDLERS[1:]
    answer = sent(api_as(crew), a_photo(), piece=piece.code)
    assert answer.json()["code"] == "file_too_large"

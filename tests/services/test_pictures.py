"""Pictures kept, given words, taken back and put back; nothing half."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.photographs import a_photo, a_png, size_of
from tests.world import World
from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import Change, Person, Picture, Piece, StoredFile
from tooling.queries.pictures import picture_row, pictures_of_piece, pictures_of_place
from tooling.services import files, pictures

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.FILES_DIR = tmp_path
    return tmp_path


@pytest.fixture
def piece(world: World) -> Piece:
    return world.piece(world.drawing("D1"), world.place("Rack"))


def photo(data: bytes | None = None, name: str = "roll.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, a_photo(600, 400) if data is None else data)


def test_a_picture_has_a_large_and_a_small_file(crew: Person, at: datetime, piece: Piece) -> None:
    large = photo(a_photo(3000, 2000))
    kept = pictures.keep(by=crew, at=at, upload=large, piece=piece, caption="  chip,  pass 3 ")
    assert (kept.width, kept.height, kept.caption) == (2560, 1707, "chip, pass 3")
    assert size_of(files.read(kept.file)) == (2560, 1707)
    assert size_of(files.read(kept.small)) == (480, 320)
    assert kept.file.content_type == "image/jpeg"


def test_the_same_picture_sent_again_is_the_one_that_is_there(
    crew: Person, at: datetime, piece: Piece
) -> None:
    first = pictures.keep(by=crew, at=at, upload=photo(), piece=piece)
    again = pictures.keep(by=crew, at=at + timedelta(seconds=5), upload=photo(), piece=piece)
    assert again == first
    pictures.keep(by=crew, at=at, upload=photo(), place=piece.place)
    assert Picture.objects.count() == 2
    assert StoredFile.objects.count() == 2


def test_one_bad_picture_of_several_keeps_none(
    crew: Person, at: datetime, piece: Piece, folder
) -> None:
    with pytest.raises(ToolingError) as refused:
        pictures.keep_all(by=crew, at=at, uploads=[photo(), photo(b"%PDF-", "b.jpg")], piece=piece)
    assert (refused.value.code, refused.value.values["name"]) == ("not_a_picture", "b.jpg")
    assert not Picture.objects.exists()
    assert not list(folder.iterdir())


@pytest.mark.parametrize(
    ("count", "caption", "code"),
    [(0, "", "no_picture"), (21, "", "too_many_pictures"), (1, "x" * 201, "long_text")],
)
def test_what_cannot_be_kept_is_said(
    crew: Person, at: datetime, piece: Piece, count: int, caption: str, code: str
) -> None:
    with pytest.raises(ToolingError) as refused:
        pictures.keep_all(
            by=crew, at=at, uploads=[photo(a_png())] * count, piece=piece, caption=caption
        )
    assert refused.value.code == code
    assert not Picture.objects.exists()


def test_a_picture_shows_something(crew: Person, at: datetime, db: None) -> None:
    with pytest.raises(ToolingError) as refused:
        pictures.keep(by=crew, at=at, upload=photo())
    assert refused.value.code == "shows_nothing"


def test_too_large_is_refused_unread(crew: Person, at: datetime, piece: Piece, settings) -> None:
    settings.UPLOAD_MOST_BYTES = 1000
    with pytest.raises(ToolingError) as refused:
        pictures.keep(by=crew, at=at, upload=photo(), piece=piece)
    assert refused.value.code == "file_too_large"


def test_a_viewer_keeps_none(viewer: Person, at: datetime, piece: Piece) -> None:
    with pytest.raises(NotAllowed):
        pictures.keep(by=viewer, at=at, upload=photo(), piece=piece)


def test_taken_back_is_shown_no_more_until_put_back(
    crew: Person, engineer: Person, at: datetime, piece: Piece
) -> None:
    kept = pictures.keep(by=crew, at=at, upload=photo(), piece=piece)
    later = at + timedelta(days=3)
    gone = pictures.take_back(by=engineer, at=later, picture=kept, reason="another roll")
    assert pictures_of_piece(piece.code) == ()
    assert picture_row(kept.pk) == gone
    change = Change.objects.get()
    assert (change.subject, change.subject_key, change.reason) == (
        "Piece", piece.code, "another roll"
    )  # fmt: skip
    assert (change.what, change.at, change.by) == ("picture taken back", later, engineer)
    back = pictures.put_back(by=crew, at=later, picture=gone)
    [shown] = pictures_of_piece(piece.code)
    assert (shown.id, shown.at) == (back.pk, at)
    assert pictures_of_place(piece.place.code) == ()


def test_only_the_newest_word_on_a_picture_can_be_followed(
    crew: Person, at: datetime, piece: Piece
) -> None:
    kept = pictures.keep(by=crew, at=at, upload=photo(), piece=piece)
    said = pictures.say(by=crew, at=at, picture=kept, caption="chip")
    assert pictures.say(by=crew, at=at, picture=said, caption=" chip ") == said
    with pytest.raises(Conflict) as refused:
        pictures.take_back(by=crew, at=at, picture=kept)
    assert refused.value.code == "picture_changed"
    assert [each.caption for each in pictures_of_piece(piece.code)] == ["chip"]

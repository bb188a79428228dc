"""The drawing's page lists what a die makes and what becomes of old pieces, one tap each."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from tests.world import MM, World
from tooling.models import Drawing, DrawingFeature, DrawingFile, Person, Piece
from tooling.services import drawings, files

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]
IN = 25_400_000


@pytest.fixture
def old(world: World, engineer: Person) -> list[Piece]:
    """Two pieces to revision A of a drawing whose revision B says rework."""
    drawing = world.drawing("R-1", bore_nm=60 * MM)
    rack = world.place("Rack A")
    pieces = [world.piece(drawing, rack, mark=mark) for mark in ("R-1 X", "R-1 Y")]
    drawings.new_revision(
        by=engineer, at=world.at, drawing=drawing, revision="B", old_pieces="rework",
        note="relief 2°", bore_nm=60 * MM,
    )  # fmt: skip
    return pieces


def test_each_old_piece_stands_there_with_its_ruling_and_is_settled_by_a_tap(
    log_in: LogIn, engineer: Person, old: list[Piece]
) -> None:
    client = log_in(engineer)
    page = client.get("/sets/drawings/R-1/").content.decode()
    assert page.count('data-says="rework"') == 2
    assert "relief 2°" in page
    url = "/sets/drawings/R-1/old-pieces/"
    done = client.post(url, {"act": "reworked", "code": old[0].code}, follow=True)
    assert done.content.decode().count('data-says="rework"') == 1
    client.post(url, {"act": "all_as_is"})
    letters = [Piece.objects.get(pk=each.pk).revision.revision for each in old]
    assert letters == ["B", "B"]
    again = client.post(url, {"act": "as_is", "code": old[0].code})
    assert (again.status_code, b'data-code="not_an_old_piece"' in again.content) == (409, True)


def test_scrap_without_a_place_for_it_is_said_in_place(
    log_in: LogIn, engineer: Person, old: list[Piece]
) -> None:
    given = {"act": "scrapped", "code": old[0].code}
    got = log_in(engineer).post("/sets/drawings/R-1/old-pieces/", given)
    assert (got.status_code, b'data-code="no_scrap_place"' in got.content) == (409, True)


def test_the_word_on_older_pieces_can_be_put_right(
    log_in: LogIn, engineer: Person, old: list[Piece]
) -> None:
    row = old[0].drawing.revisions.get(revision="B")
    url = f"/sets/drawings/R-1/revisions/{row.pk}/"
    sent = {"unit": "mm", "old_pieces": "note", "note": "relief 2°", "bore_nm": "60"}
    log_in(engineer).post(url, sent)
    row.refresh_from_db()
    assert row.old_pieces == "note"


@pytest.fixture
def die(world: World) -> Drawing:
    return world.drawing("PP-01", kind="line_tooling", unit="in")


def test_features_are_entered_in_the_drawings_unit_changed_and_taken_away(
    log_in: LogIn, engineer: Person, die: Drawing
) -> None:
    client, row = log_in(engineer), die.revisions.get()
    url = f"/sets/drawings/PP-01/revisions/{row.pk}/feature/"
    client.post(url, {"shape": "slot", "width_nm": "3/8", "length_nm": "1.250", "order": "1"})
    feature = DrawingFeature.objects.get()
    assert (feature.width_nm, feature.length_nm) == (IN * 3 // 8, IN * 5 // 4)
    page = client.get("/sets/drawings/PP-01/").content.decode()
    assert "0.375 in × 1.250 in" in page
    shown = client.get(f"{url}?order=1").content.decode()
    assert 'value="0.375"' in shown
    wrong = {"shape": "slot", "width_nm": "2", "length_nm": "1", "order": "1"}
    refused = client.post(f"{url}?order=1", wrong)
    assert b'data-code="longer_way_first"' in refused.content
    client.post(f"/sets/drawings/PP-01/revisions/{row.pk}/features/1/remove/")
    assert not DrawingFeature.objects.exists()


def test_files_of_every_revision_open_from_the_drawing(
    log_in: LogIn, crew: Person, old: list[Piece], world: World
) -> None:
    for letter, data in (("A", b"%PDF-1.7 a"), ("B", b"%PDF-1.7 b")):
        DrawingFile.objects.create(
            revision=old[0].drawing.revisions.get(revision=letter), name=f"R-1-{letter}.pdf",
            file=files.store(data=data, at=world.at), at=world.at,
        )  # fmt: skip
    client = log_in(crew)
    page = client.get("/sets/drawings/R-1/").content.decode()
    assert page.index("R-1-B.pdf") < page.index("R-1-A.pdf")
    stored = DrawingFile.objects.get(name="R-1-A.pdf").file.sha256
    served = client.get(f"/sets/drawings/files/{stored}/")
    assert b"".join(served.streaming_content) == b"%PDF-1.7 a"
    assert "old-pieces/" not in page

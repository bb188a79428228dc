"""Pieces to an older revision are taken as they are, reworked or scrapped, each on record."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Drawing, DrawingRevision, Person, Piece, Work
from tooling.queries.drawings import drawing_page
from tooling.queries.piece_page import piece_page
from tooling.services import drawings, old_pieces, work
from tooling.services.rebuild import differences

WIDE = {"bore_nm": 60 * MM, "face_width_nm": 40 * MM, "outside_diameter_nm": 150 * MM}


@pytest.fixture
def drawing(world: World) -> Drawing:
    return world.drawing("R-1", **WIDE)


@pytest.fixture
def piece(world: World, drawing: Drawing) -> Piece:
    return world.piece(drawing, world.place("Rack A"), mark="R-1")


def revise(
    by: Person, at: datetime, drawing: Drawing, letter: str, says: str, **sizes: int
) -> DrawingRevision:
    return drawings.new_revision(
        by=by, at=at, drawing=drawing, revision=letter, old_pieces=says, **{**WIDE, **sizes}
    )


def fresh(piece: Piece) -> Piece:
    return Piece.objects.select_related("revision").get(pk=piece.pk)


def test_taken_as_it_is_a_piece_keeps_the_size_it_was_made_to(
    engineer: Person, at: datetime, drawing: Drawing, piece: Piece
) -> None:
    revise(engineer, at, drawing, "B", "rework", face_width_nm=38 * MM)
    assert old_pieces.use_as_is(by=engineer, at=at, drawing=drawing, pieces=[piece]) == 1
    now = fresh(piece)
    assert (now.revision.revision, now.made_face_width_nm, now.made_bore_nm) == ("B", 40 * MM, None)
    change = Change.objects.get(subject="Piece", what="used as it is")
    assert (change.before["revision"], change.after["revision"]) == ("A", "B")
    assert drawing_page("R-1").old_pieces == ()


def test_all_at_once_leaves_the_scrapped_and_the_new_alone(
    engineer: Person, at: datetime, world: World, drawing: Drawing, piece: Piece
) -> None:
    other = world.piece(drawing, piece.place)
    thrown = world.piece(drawing, world.place("Scrap", kind="scrap"))
    revise(engineer, at, drawing, "B", "note")
    made_since = world.piece(drawing, piece.place)
    old = drawing_page("R-1").old_pieces
    assert [row.code for row in old] == sorted([piece.code, other.code])
    assert old_pieces.use_all_as_is(by=engineer, at=at, drawing=drawing) == 2
    letters = [fresh(each).revision.revision for each in (piece, other, thrown, made_since)]
    assert letters == ["B", "B", "A", "B"]


def test_reworked_is_a_recontour_of_today(
    engineer: Person, at: datetime, drawing: Drawing, piece: Piece
) -> None:
    revise(engineer, at, drawing, "B", "rework")
    old_pieces.reworked(by=engineer, at=at, drawing=drawing, pieces=[piece])
    done = Work.objects.get()
    assert (done.kind, done.done_on, fresh(piece).revision.revision) == (
        "recontour", date(2026, 11, 25), "B",
    )  # fmt: skip


def test_scrapped_goes_where_scrap_goes(
    engineer: Person, at: datetime, world: World, drawing: Drawing, piece: Piece
) -> None:
    revise(engineer, at, drawing, "B", "scrap")
    with pytest.raises(ToolingError, match="no_scrap_place"):
        old_pieces.scrapped(by=engineer, at=at, drawing=drawing, pieces=[piece])
    place = world.place("Scrap", kind="scrap")
    old_pieces.scrapped(by=engineer, at=at, drawing=drawing, pieces=[piece])
    assert (fresh(piece).place, drawing_page("R-1").old_pieces) == (place, ())


def test_a_recontour_written_down_by_mistake_gives_the_revision_back(
    engineer: Person, at: datetime, drawing: Drawing, piece: Piece
) -> None:
    revise(engineer, at, drawing, "B", "rework")
    day = {"by": engineer, "at": at, "piece": piece, "done_on": date(2026, 11, 25)}
    wrong = work.record_work(kind="recontour", **day)
    work.record_work(kind="polish", corrects=wrong, **day)
    assert fresh(piece).revision.revision == "A"
    assert piece_page(piece.code).ruling is not None


def test_work_makes_a_piece_to_the_revision_that_is_named(
    engineer: Person, at: datetime, world: World, drawing: Drawing, piece: Piece
) -> None:
    middle = revise(engineer, at, drawing, "B", "rework")
    revise(engineer, at, drawing, "C", "as_is")
    other = world.drawing("R-2").revisions.get()
    day = {"by": engineer, "at": at, "piece": piece, "done_on": date(2026, 11, 25)}
    with pytest.raises(ToolingError, match="other_drawing"):
        work.record_work(kind="recontour", revision=other, **day)
    assert not Work.objects.exists()
    work.record_work(kind="recontour", revision=middle, **day)
    assert fresh(piece).revision == middle
    ruled = piece_page(piece.code).ruling
    assert ruled is not None
    assert (ruled.what, ruled.own, ruled.by) == ("as_is", "B", "C")
    assert differences() == []


def test_a_piece_of_another_drawing_a_current_one_and_an_attendant_are_refused(
    engineer: Person, attendant: Person, at: datetime, world: World, drawing: Drawing, piece: Piece
) -> None:
    other = world.piece(world.drawing("R-2"), piece.place)
    for wrong, code in ((other, "other_drawing"), (piece, "not_an_old_piece")):
        with pytest.raises(ToolingError, match=code):
            old_pieces.use_as_is(by=engineer, at=at, drawing=drawing, pieces=[wrong])
    revise(engineer, at, drawing, "B", "scrap")
    with pytest.raises(NotAllowed):
        old_pieces.use_all_as_is(by=attendant, at=at, drawing=drawing)
    assert fresh(piece).revision.revision == "A"

"""What newer revisions say of a piece: the strictest word since its own revision governs."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rolling import Rolling
from tests.world import World
from tooling.errors import ToolingError
from tooling.models import Drawing, DrawingRevision, OldPieces, Person, Piece
from tooling.queries.kits import kit_page
from tooling.queries.old_pieces import GRAVITY, ruling
from tooling.queries.pull_list import pull_list
from tooling.services import kits, work
from tooling.services.movements import move_pieces

TOP = (1, "top", 1)


def chain(*said: tuple[str, str], current: int = -1) -> list[DrawingRevision]:
    """Revisions A, B, C …: what the n-th says of pieces made to the one before, and its note."""
    rows = [
        DrawingRevision(pk=n + 1, revision=chr(65 + n), old_pieces=what, note=note,
                        is_current=False)
        for n, (what, note) in enumerate(said)
    ]  # fmt: skip
    rows[current].is_current = True
    return rows


LONG = (
    ("as_is", ""),
    ("as_is", "dimensions in the other unit"),
    ("note", "Break the edge."),
    ("rework", "relief 2° on the flank"),
    ("as_is", ""),
)


@pytest.mark.parametrize(
    ("own", "what", "by"),
    [(0, "rework", "D"), (1, "rework", "D"), (2, "rework", "D"), (3, "as_is", "E")],
)
def test_the_strictest_word_since_its_own_revision_governs(own: int, what: str, by: str) -> None:
    rows = chain(*LONG)
    ruled = ruling(rows[own], rows)
    assert ruled is not None
    assert (ruled.what, ruled.by, ruled.own) == (what, by, rows[own].revision)


def test_every_revision_since_that_wants_something_is_quoted() -> None:
    rows = chain(*LONG)
    oldest, last = ruling(rows[0], rows), ruling(rows[2], rows)
    assert oldest is not None
    assert last is not None
    assert oldest.note == "C: Break the edge; D: relief 2° on the flank"
    assert last.said == "Made to revision C; revision D says rework: relief 2° on the flank."


def test_what_is_to_the_current_or_to_no_known_revision_is_not_ruled() -> None:
    rows = chain(*LONG)
    assert ruling(rows[4], rows) is None
    assert ruling(rows[0], []) is None
    ahead = chain(*LONG, current=2)
    assert ruling(ahead[3], ahead) is None


def test_of_equally_strict_words_the_newest_is_named() -> None:
    rows = chain(("as_is", ""), ("scrap", "cracks"), ("scrap", ""))
    ruled = ruling(rows[0], rows)
    assert ruled is not None
    assert (ruled.by, ruled.is_usable, ruled.note_said) == ("C", False, "")


@given(
    words=st.lists(st.sampled_from(OldPieces.values), min_size=2, max_size=7),
    data=st.data(),
)
def test_a_newer_piece_is_never_judged_more_strictly(words: list[str], data: st.DataObject) -> None:
    rows = chain(*((word, "") for word in words))
    own = data.draw(st.integers(0, len(rows) - 2))
    older, newer = ruling(rows[own], rows), ruling(rows[own + 1], rows)
    assert older is not None
    assert GRAVITY[older.what] == max(GRAVITY[word] for word in words[own + 1 :])
    assert newer is None or GRAVITY[newer.what] <= GRAVITY[older.what]


@pytest.fixture
def shop(world: World) -> Rolling:
    return Rolling(world)


def revise(drawing: Drawing, letter: str, says: str, note: str = "") -> DrawingRevision:
    """A further revision like the one before."""
    row = drawing.revisions.get(is_current=True)
    drawing.revisions.update(is_current=False)
    row.pk, row._state.adding = None, True
    row.revision, row.old_pieces, row.note, row.is_current = letter, says, note, True
    row.save()
    return row


def test_a_note_goes_with_the_piece_to_the_position_and_the_pull_list(
    shop: Rolling, crew: Person
) -> None:
    kit = shop.kit(crew)
    revise(shop.drawings[TOP], "B", "note", "Break the edge.")
    seen = next(v for v in kit_page(kit.number, at=shop.world.at).positions if v.revision_note)
    assert (seen.pass_number, seen.shaft, seen.state) == (1, "top", "to_fetch")
    assert seen.revision_note == "Made to revision A; revision B says: Break the edge."
    lines = pull_list(kit.number, at=shop.world.at).stops[0].lines
    assert [line.note for line in lines if line.note] == [seen.revision_note]


def test_rework_holds_a_piece_until_the_recontour_is_written_down(
    shop: Rolling, crew: Person, engineer: Person
) -> None:
    at, piece = shop.world.at, shop.pieces[TOP]
    kit = shop.kit(crew)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    revise(shop.drawings[TOP], "B", "rework", "relief 2°")
    newest = revise(shop.drawings[TOP], "C", "as_is")
    with pytest.raises(ToolingError) as caught:
        move_pieces(by=crew, at=at, pieces=[piece], to=shop.cart)
    assert (caught.value.code, "revision B says rework" in caught.value.message) == (
        "piece_held", True,
    )  # fmt: skip
    work.record_work(by=engineer, at=at, piece=piece, kind="recontour", done_on=date(2026, 11, 25))
    piece.refresh_from_db()
    assert piece.revision == newest
    move_pieces(by=crew, at=at, pieces=[piece], to=shop.cart)
    assert kit_page(kit.number, at=at).counts.here == 1


def test_what_is_to_be_scrapped_fits_no_longer_and_a_newer_one_is_offered(
    shop: Rolling, crew: Person
) -> None:
    at, drawing, old = shop.world.at, shop.drawings[TOP], shop.pieces[TOP]
    kit = shop.kit(crew)
    revise(drawing, "B", "scrap", "cracks at the root")
    another_old = Piece.objects.get(pk=shop.world.piece(drawing, shop.rack).pk)
    Piece.objects.filter(pk=another_old.pk).update(revision=old.revision)
    seen = next(v for v in kit_page(kit.number, at=at).positions if v.is_trouble)
    assert (seen.state, seen.alternative) == ("does_not_fit", None)
    assert "revision B says scrap: cracks at the root" in seen.reason
    fresh = shop.world.piece(drawing, shop.rack)
    seen = next(v for v in kit_page(kit.number, at=at).positions if v.is_trouble)
    assert seen.alternative is not None
    assert seen.alternative.code == fresh.code
    row = kit.positions.get(piece=old)
    with pytest.raises(ToolingError) as caught:
        kits.choose(by=crew, at=at, kit=kit, position=row, piece=another_old)
    assert caught.value.code == "piece_not_fit"
    kits.assemble(by=crew, at=at + timedelta(minutes=1), kit=kit)
    row.refresh_from_db()
    assert row.piece == fresh

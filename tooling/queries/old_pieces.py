"""What newer revisions of a drawing say of a piece made to an older one.

Each revision says what becomes of pieces made to the one before: use as is, use with note,
rework, scrap. A piece that is several revisions old has to satisfy all of them, so the strictest
word since its own revision governs. Revisions follow one another as they were entered.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _

from tooling.models import Condition, DrawingRevision, OldPieces, Piece, PlaceKind

GRAVITY: Mapping[str, int] = {
    OldPieces.AS_IS: 0,
    OldPieces.NOTE: 1,
    OldPieces.REWORK: 2,
    OldPieces.SCRAP: 3,
}
"""How strict a word is."""

NOT_AS_THEY_ARE = (OldPieces.REWORK, OldPieces.SCRAP)

Chains = Mapping[int, Sequence[DrawingRevision]]
"""By drawing id the revisions in order of their issue, where any of them is superseded."""


@dataclass(frozen=True)
class Ruling:
    """What becomes of a piece: the strictest ``what`` since its revision ``own``, said ``by``
    which revision. ``notes``: of every revision since that asks for more than nothing, a letter
    and what it says."""

    what: str
    own: str
    by: str
    notes: tuple[tuple[str, str], ...] = ()

    @property
    def word(self) -> str:
        return str(OldPieces(self.what).label)

    @property
    def is_usable(self) -> bool:
        """Whether a kit may use the piece without more ado."""
        return self.what not in NOT_AS_THEY_ARE

    @property
    def note(self) -> str:
        """What the newer revisions say beside their word, in one line; may be empty."""
        if len(self.notes) == 1:
            return self.notes[0][1]
        return "; ".join(f"{letter}: {said.rstrip('.')}" for letter, said in self.notes)

    @property
    def said(self) -> str:
        """The ruling in a sentence."""
        words = {
            OldPieces.AS_IS: _("Made to revision {own}; revision {by} lets it be used as it is."),
            OldPieces.NOTE: _("Made to revision {own}; revision {by} says: {note}."),
            OldPieces.REWORK: _("Made to revision {own}; revision {by} says rework: {note}."),
            OldPieces.SCRAP: _("Made to revision {own}; revision {by} says scrap: {note}."),
        }[OldPieces(self.what)]
        note = self.note.rstrip(".") or _("no note is written")
        return words.format(own=self.own, by=self.by, note=note)

    @property
    def note_said(self) -> str:
        """The sentence that goes with the piece to the mill; empty unless it is used with note."""
        return self.said if self.what == OldPieces.NOTE else ""


def ruling(own: DrawingRevision, chain: Sequence[DrawingRevision]) -> Ruling | None:
    """What the revisions since ``own``, up to the current one, make of a piece made to it.

    ``chain``: the drawing's revisions as they followed one another. None for a piece made to the
    current revision, or to one that has not become current. Of equally strict words the newest
    revision's is named.
    """
    if own.is_current:
        return None
    current = next((each for each in chain if each.is_current), None)
    if current is None:
        return None
    since = [each for each in chain if own.pk < each.pk <= current.pk]
    if not since:
        return None
    governs = max(since, key=lambda each: (GRAVITY[each.old_pieces], each.pk))
    notes = tuple(
        (each.revision, each.note)
        for each in since
        if each.note and each.old_pieces != OldPieces.AS_IS
    )
    return Ruling(governs.old_pieces, own.revision, governs.revision, notes)


def chains_of(drawing_ids: Iterable[int]) -> dict[int, list[DrawingRevision]]:
    """The revisions of those of the drawings of which any revision is superseded. One query, none
    without drawings."""
    rows = revisions_of(has_old(set(drawing_ids)))
    return group(rows)


def has_old(drawing_ids: set[int]) -> Q:
    """The revisions of those of the drawings of which any revision is superseded."""
    old = DrawingRevision.objects.filter(drawing__in=drawing_ids, is_current=False).order_by()
    return Q(drawing__in=old.values("drawing"))


def revisions_of(wanted: Q) -> list[DrawingRevision]:
    """Revisions in the order of their issue. One query."""
    return list(DrawingRevision.objects.filter(wanted).order_by("drawing_id", "pk"))


def group(rows: Iterable[DrawingRevision]) -> dict[int, list[DrawingRevision]]:
    """By drawing id, in the order given."""
    found: dict[int, list[DrawingRevision]] = {}
    for row in rows:
        found.setdefault(row.drawing_id, []).append(row)
    return found


@dataclass(frozen=True)
class OldPiece:
    """A piece to an older revision, and what is to happen to it."""

    code: str
    mark: str
    copy_letter: str
    owner: str
    place: str
    place_code: str
    is_held: bool
    ruling: Ruling


MOST = 200


def old_pieces_of(drawing_id: int, chain: Sequence[DrawingRevision]) -> tuple[OldPiece, ...]:
    """The drawing's pieces to older revisions that are not scrapped yet, the strictest ruling
    first; at most MOST. ``chain``: its revisions as they followed one another. One query."""
    rows = Piece.objects.filter(
        lies_in_no_scrap(), drawing=drawing_id, revision__is_current=False
    ).select_related("revision", "owner", "place")
    pieces = list(rows.order_by("code")[:MOST])
    found = [(piece, ruling(piece.revision, chain)) for piece in pieces]
    old = [_old(piece, ruled) for piece, ruled in found if ruled is not None]
    return tuple(sorted(old, key=lambda each: (-GRAVITY[each.ruling.what], each.code)))


def lies_in_no_scrap() -> Q:
    """Pieces that did not go to the scrap."""
    return ~Q(place__kind=PlaceKind.SCRAP)


def _old(piece: Piece, ruled: Ruling) -> OldPiece:
    return OldPiece(
        code=piece.code,
        mark=piece.mark,
        copy_letter=piece.copy_letter,
        owner=piece.owner.name,
        place=piece.place.path_name or piece.place.name,
        place_code=piece.place.code,
        is_held=piece.condition == Condition.HOLD,
        ruling=ruled,
    )

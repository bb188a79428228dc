"""The owner's mark on each piece of an owner's, in walking order, for a walk along the racks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery

from tooling.models import Owner, OwnerMarkCheck, Piece
from tooling.queries.owner_register import BY_PLACE, pieces_of

PAGE = 60
WHICH = ("todo", "unmarked", "never", "all")
"""To do: never checked or not marked; not marked; never checked; all."""


@dataclass(frozen=True)
class MarkRow:
    """One piece; ``has_mark`` is None while nobody has looked."""

    code: str
    mark: str
    drawing: str
    place: str
    has_mark: bool | None
    checked_at: datetime | None
    note: str


@dataclass(frozen=True)
class MarkCounts:
    pieces: int
    marked: int
    unmarked: int
    never: int


@dataclass(frozen=True)
class MarkWalk:
    """One stretch of the walk. ``begin`` is where it begins, ``following`` where the next one
    does, None at the end."""

    rows: tuple[MarkRow, ...]
    counts: MarkCounts
    which: str
    begin: int
    following: int | None


def mark_walk(owner: Owner, *, which: str = "todo", begin: int = 0, size: int = PAGE) -> MarkWalk:
    """A stretch of an owner's pieces by place. Three queries."""
    which = which if which in WHICH else "todo"
    pieces = with_marks(pieces_of(owner))
    rows = list(
        pieces.filter(_NARROW[which])
        .select_related("drawing", "place")
        .order_by(*BY_PLACE)[begin : begin + size + 1]
    )
    return MarkWalk(
        rows=tuple(_row(piece) for piece in rows[:size]),
        counts=mark_counts(pieces),
        which=which,
        begin=begin,
        following=begin + size if len(rows) > size else None,
    )


def mark_counts(pieces: QuerySet[Piece]) -> MarkCounts:
    """How many of these, `with_marks`, bear the mark, do not, were never looked at. One query."""
    return MarkCounts(**pieces.aggregate(**_COUNTS))


def mark_row(code: str) -> MarkRow:
    """One piece of it. One query."""
    rows = with_marks(Piece.objects.filter(code=code)).select_related("drawing", "place")
    return _row(rows.get())


def with_marks(pieces: QuerySet[Piece]) -> QuerySet[Piece]:
    """Each piece with what the newest look for its owner's mark said."""
    newest = OwnerMarkCheck.objects.filter(piece=OuterRef("pk")).order_by("-checked_at", "-pk")
    return pieces.annotate(
        has_mark=Subquery(newest.values("is_there")[:1]),
        mark_checked=Subquery(newest.values("checked_at")[:1]),
        mark_note=Subquery(newest.values("note")[:1]),
    )


_NARROW: dict[str, Q] = {
    "todo": Q(has_mark=False) | Q(has_mark=None),
    "unmarked": Q(has_mark=False),
    "never": Q(has_mark=None),
    "all": Q(),
}
_COUNTS: dict[str, Any] = {
    "pieces": Count("pk"),
    "marked": Count("pk", filter=Q(has_mark=True)),
    "unmarked": Count("pk", filter=Q(has_mark=False)),
    "never": Count("pk", filter=Q(has_mark=None)),
}


def _row(piece: Any) -> MarkRow:
    return MarkRow(
        code=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        place=piece.place.path_name or piece.place.name,
        has_mark=piece.has_mark,
        checked_at=piece.mark_checked,
        note=piece.mark_note or "",
    )

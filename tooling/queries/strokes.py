"""Strokes that line tooling made: in all, since it was last sharpened, and what a job adds.

A job says how much strip it runs, not how many parts. Where entries gave both strip and strokes,
tools alike made so many strokes to a length of strip; a job of known length then makes as many
to its length. Where no entry ever gave both, nothing is said of the job.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from django.db.models import DateTimeField, F, Max, OuterRef, Subquery, Sum
from django.db.models.functions import Cast, Coalesce

from tooling.models import LengthEntry, Piece, Work, WorkKind


@dataclass(frozen=True)
class Strokes:
    """Of one piece: strokes since it was sharpened (or new), at how many it is to be sharpened
    again, and strokes per nm of strip where tools alike told."""

    since: int
    limit: int | None
    per_nm: Fraction | None = None

    @property
    def is_over(self) -> bool:
        """Blunt: it made more than it may between sharpenings."""
        return self.limit is not None and self.since > self.limit

    def of_job(self, length_nm: int) -> int | None:
        """Strokes that so much strip takes, rounded up; None where nobody can tell."""
        if self.per_nm is None or length_nm <= 0:
            return None
        return ceil(self.per_nm * length_nm)

    def is_over_with(self, length_nm: int) -> bool:
        """Whether a job of so much strip takes it beyond its limit."""
        added = self.of_job(length_nm)
        return self.limit is not None and added is not None and self.since + added > self.limit


def strokes_of(pieces: Iterable[Piece]) -> dict[int, Strokes]:
    """Piece id → strokes, of those that made any and whose revision says when to sharpen. Two
    queries, none when there are no such pieces. Revisions come with the pieces."""
    wanted = {
        piece.pk: piece
        for piece in pieces
        if piece.strokes_run > 0 and piece.revision.strokes_to_sharpen is not None
    }
    if not wanted:
        return {}
    since = since_sharpened(wanted)
    rates = _rates({piece.drawing_id for piece in wanted.values()})
    return {
        pk: Strokes(since[pk], piece.revision.strokes_to_sharpen, rates.get(piece.drawing_id))
        for pk, piece in wanted.items()
    }


def since_sharpened(piece_ids: Iterable[int]) -> Mapping[int, int]:
    """Piece id → strokes since the day of its last sharpening; what was made on that day counts
    as after it. One query."""
    sharpened = Work.objects.filter(
        piece=OuterRef("pk"), kind=WorkKind.SHARPEN, corrected_by=None
    ).order_by()
    last = sharpened.values("piece").annotate(found=Max("done_on")).values("found")
    after = LengthEntry.objects.filter(
        piece=OuterRef("pk"), corrected_by=None, happened_at__gte=OuterRef("from_then")
    ).order_by()
    made = after.values("piece").annotate(found=Sum("strokes")).values("found")
    rows = (
        Piece.objects.filter(pk__in=set(piece_ids))
        .annotate(last=Subquery(last))
        .annotate(from_then=Cast("last", DateTimeField()))
        .annotate(made=Coalesce(Subquery(made), 0))
        .order_by()
    )
    return {
        pk: total if last is None else since
        for pk, total, last, since in rows.values_list("pk", "strokes_run", "last", "made")
    }


def _rates(drawings: set[int]) -> dict[int, Fraction]:
    """Drawing id → strokes per nm of strip, over the entries that gave both. One query."""
    rows = (
        LengthEntry.objects.filter(
            piece__drawing__in=drawings, corrected_by=None, strokes__gt=0, length_nm__gt=0
        )
        .order_by()
        .values(drawing=F("piece__drawing"))
        .annotate(made=Sum("strokes"), ran=Sum("length_nm"))
    )
    return {row["drawing"]: Fraction(int(row["made"]), int(row["ran"])) for row in rows}

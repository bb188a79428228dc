"""What pieces alike ran between their regrinds, and which piece may not last a job.

Alike are pieces of one drawing. Each regrind ends an interval; the usual length is all that they
ran up to their last regrinds, divided by the number of regrinds. A piece may not last when what
it ran since its own last regrind, together with the job, goes beyond the usual length, unless a
diameter was measured after its last run: then the numbers decide, not the guess.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, DateTimeField, F, Max, OuterRef, Q, Subquery, Sum, Value
from django.db.models.functions import Cast, Coalesce

from tooling.models import DIAMETERS, LengthEntry, Piece, Reading, Work, WorkKind
from tooling.models.fields import LengthField


@dataclass(frozen=True)
class Interval:
    """Of one piece: what it ran since its last regrind, and what is usual. Lengths in nm."""

    since_nm: int
    usual_nm: int
    regrinds: int


def intervals(pieces: Iterable[Piece]) -> dict[int, Interval]:
    """Piece id → interval, where pieces alike were ever recut. At most one query.

    Only pieces that have run are asked about.
    """
    ran = {piece.pk: piece for piece in pieces if piece.length_run_nm > 0}
    if not ran:
        return {}
    since: dict[int, int] = {}
    usual: dict[int, tuple[int, int]] = {}
    for pk, drawing, length, cuts, after in _recut({p.drawing_id for p in ran.values()}):
        since[pk] = after
        total, count = usual.get(drawing, (0, 0))
        usual[drawing] = (total + length - after, count + cuts)
    found = {}
    for pk, piece in ran.items():
        total, count = usual.get(piece.drawing_id, (0, 0))
        if count and total > 0:
            found[pk] = Interval(since.get(pk, piece.length_run_nm), total // count, count)
    return found


def _recut(drawings: set[int]) -> list[tuple[int, int, int, int, int]]:
    """(piece, drawing, length run, regrinds, length since the last) of pieces that were recut.

    What was run on the day of the regrind counts as after it.
    """
    recuts = Work.objects.filter(
        piece=OuterRef("pk"), kind=WorkKind.REGRIND, corrected_by=None
    ).order_by()
    last = recuts.values("piece").annotate(found=Max("done_on")).values("found")
    cuts = recuts.values("piece").annotate(found=Count("pk")).values("found")
    run = LengthEntry.objects.filter(
        piece=OuterRef("pk"), corrected_by=None, happened_at__gte=OuterRef("from_then")
    ).order_by()
    since = run.values("piece").annotate(found=Sum("length_nm")).values("found")
    rows = (
        Piece.objects.filter(drawing__in=drawings, length_run_nm__gt=0)
        .annotate(last_cut=Subquery(last))
        .filter(last_cut__isnull=False)
        .annotate(from_then=Cast("last_cut", DateTimeField()))
        .annotate(
            cuts=Subquery(cuts),
            since=Coalesce(Subquery(since, output_field=LengthField()), Value(0)),
        )
    )
    return list(rows.order_by().values_list("pk", "drawing_id", "length_run_nm", "cuts", "since"))


def measured_since_run(piece_ids: Iterable[int]) -> set[int]:
    """Those of the pieces of which a diameter was measured after their last run. One query."""
    ids = set(piece_ids)
    if not ids:
        return set()
    readings = Reading.objects.filter(
        Q(dimension__in=DIAMETERS) | Q(point="wear"),
        piece=OuterRef("pk"),
        corrected_by=None,
        value_nm__isnull=False,
    ).order_by("-happened_at")
    entries = LengthEntry.objects.filter(piece=OuterRef("pk"), corrected_by=None)
    rows = Piece.objects.filter(pk__in=ids).annotate(
        measured=Subquery(readings.values("happened_at")[:1]),
        ran=Subquery(entries.order_by("-happened_at").values("happened_at")[:1]),
    )
    return set(rows.filter(measured__gte=F("ran")).order_by().values_list("pk", flat=True))

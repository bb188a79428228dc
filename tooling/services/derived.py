"""What readings, work and length entries say of a piece now, written in their transaction.

The present size of a dimension is the newest uncorrected value: a reading's, or the size after
a piece of work (``queries/work_moment.py`` says from when it counts). Length run and strokes made
are the sums of the uncorrected entries.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Sum

from tooling.models import DIMENSIONS, LengthEntry, Piece, Reading, WorkMeasure
from tooling.queries.shop_zone import shop_zone
from tooling.queries.work_moment import counts_from

Told = tuple[datetime, int, int]
"""(when it was so, id of the row that says it, nm)."""
Newest = dict[tuple[int, str], Told]
SIZE_FIELDS = tuple(f"now_{each}_nm" for each in DIMENSIONS)


def newest_sizes(piece_ids: Iterable[int]) -> dict[tuple[int, str], int]:
    """(piece id, dimension) → the newest size in nm; three queries whatever the number."""
    return {key: told[2] for key, told in newest_told(piece_ids).items()}


def newest_told(piece_ids: Iterable[int]) -> Newest:
    """(piece id, dimension) → when the newest size was told, by which row, and the size."""
    ids = list(piece_ids)
    newest: Newest = {}
    readings = Reading.objects.filter(
        piece__in=ids, corrected_by=None, value_nm__isnull=False, dimension__in=DIMENSIONS
    ).exclude(point="wear")
    for piece_id, dimension, at, key, value in readings.values_list(
        "piece_id", "dimension", "happened_at", "id", "value_nm"
    ):
        _keep(newest, (piece_id, dimension), (at, key, value))
    measures = WorkMeasure.objects.filter(
        work__piece__in=ids, work__corrected_by=None, after_nm__isnull=False
    )
    zone = shop_zone()
    for piece_id, dimension, day, received_at, key, value in measures.values_list(
        "work__piece_id", "dimension", "work__done_on", "work__received_at", "id", "after_nm"
    ):
        at = counts_from(day, received_at, zone)
        _keep(newest, (piece_id, dimension), (at, key, value))
    return newest


def _keep(newest: Newest, key: tuple[int, str], found: Told) -> None:
    if key not in newest or found[:2] > newest[key][:2]:
        newest[key] = found


def refresh_sizes(piece_ids: Iterable[int]) -> None:
    """Write ``now_…_nm`` of these pieces; call inside the write of the cause."""
    pieces = list(Piece.objects.filter(pk__in=set(piece_ids)))
    sizes = newest_sizes(piece.pk for piece in pieces)
    for piece in pieces:
        for each in DIMENSIONS:
            setattr(piece, f"now_{each}_nm", sizes.get((piece.pk, each)))
    Piece.objects.bulk_update(pieces, SIZE_FIELDS, batch_size=200)


Run = tuple[int, int]
"""Strip length in nm and strokes."""


def runs(piece_ids: Iterable[int]) -> dict[int, Run]:
    """Piece id → what it ran, from the uncorrected entries."""
    rows = LengthEntry.objects.filter(piece__in=set(piece_ids), corrected_by=None)
    totals = rows.values("piece_id").annotate(length=Sum("length_nm"), made=Sum("strokes"))
    return {row["piece_id"]: (int(row["length"]), int(row["made"])) for row in totals}


def refresh_length_run(piece_ids: Iterable[int]) -> None:
    """Write ``length_run_nm`` and ``strokes_run`` of these pieces; call inside the write of the
    cause."""
    ids = set(piece_ids)
    totals = runs(ids)
    pieces = list(Piece.objects.filter(pk__in=ids).only("pk", "length_run_nm", "strokes_run"))
    for piece in pieces:
        piece.length_run_nm, piece.strokes_run = totals.get(piece.pk, (0, 0))
    Piece.objects.bulk_update(pieces, ["length_run_nm", "strokes_run"], batch_size=400)

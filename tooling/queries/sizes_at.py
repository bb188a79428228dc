"""What pieces measured at a moment in the past, as readings and work tell it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from datetime import datetime
from typing import NamedTuple

from django.utils import timezone

from tooling.models import Reading, WorkMeasure
from tooling.queries.work_moment import counts_from

DIAMETERS = ("drive_diameter", "outside_diameter", "root_diameter")


class _Told(NamedTuple):
    """A size as it was told: of work ``before`` is what it was, None where nobody wrote it."""

    at: datetime
    key: int
    is_work: bool
    before: int | None
    after: int


def sizes_at(
    piece_ids: Collection[int], *, at: datetime, dimensions: Collection[str] = DIAMETERS
) -> Mapping[tuple[int, str], int]:
    """(piece id, dimension) → nm at that moment. Two queries, however many pieces.

    The newest that was told until then; else what the first thing told afterwards says: a reading
    its value, a cut what it was before. Where nothing was told the key is missing.
    """
    told: dict[tuple[int, str], list[_Told]] = defaultdict(list)
    readings = Reading.objects.filter(
        piece__in=piece_ids, corrected_by=None, value_nm__isnull=False, dimension__in=dimensions
    ).exclude(point="wear")
    for piece, name, moment, key, value in readings.values_list(
        "piece_id", "dimension", "happened_at", "id", "value_nm"
    ):
        told[piece, name].append(_Told(moment, key, False, None, value))
    measures = WorkMeasure.objects.filter(
        work__piece__in=piece_ids, work__corrected_by=None, after_nm__isnull=False,
        dimension__in=dimensions,
    )  # fmt: skip
    for piece, name, day, received_at, key, before, after in measures.values_list(
        "work__piece_id",
        "dimension",
        "work__done_on",
        "work__received_at",
        "id",
        "before_nm",
        "after_nm",
    ):
        moment = counts_from(day, received_at, timezone.get_current_timezone())
        told[piece, name].append(_Told(moment, key, True, before, after))
    found = {key: _then(sorted(rows), at) for key, rows in told.items()}
    return {key: size for key, size in found.items() if size is not None}


def _then(rows: list[_Told], at: datetime) -> int | None:
    until = [row for row in rows if row.at <= at]
    if until:
        return until[-1].after
    first = rows[0]
    return first.before if first.is_work else first.after

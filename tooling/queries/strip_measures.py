"""The strip of a setup: as it was measured last, else as its job plans it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet, Subquery

from tooling.models import AsSet, Setup, StripMeasure


@dataclass(frozen=True)
class StripView:
    """What gaps are reckoned with. Lengths in nm, None where nobody says; ``planned_nm`` is the
    job's. The rest says who measured, empty where nobody did."""

    thickness_nm: int | None = None
    planned_nm: int | None = None
    width_nm: int | None = None
    is_measured: bool = False
    coil: str = ""
    unit: str = "mm"
    gauge: str = ""
    by: str = ""
    at: datetime | None = None

    @property
    def is_known(self) -> bool:
        return self.thickness_nm is not None


def standing_measures() -> QuerySet[StripMeasure]:
    """What nobody took back, the newest first."""
    rows = StripMeasure.objects.filter(corrected_by=None, is_taken_back=False)
    return rows.order_by("-happened_at", "-id")


def measured_nm(setup_id: int) -> Subquery:
    """The newest measured thickness of a setup, to annotate what is read anyway; null without."""
    return Subquery(standing_measures().filter(setup=setup_id).values("thickness_nm")[:1])


def strip_of(setup: Setup) -> StripView:
    """One query; the setup with its job loaded."""
    job = setup.kit.job
    row = standing_measures().filter(setup=setup.pk).select_related("by", "gauge").first()
    if row is None:
        return StripView(job.thickness_nm, job.thickness_nm, job.width_nm, unit=job.unit)
    return StripView(
        thickness_nm=row.thickness_nm,
        planned_nm=job.thickness_nm,
        width_nm=row.width_nm or job.width_nm,
        is_measured=True,
        coil=row.coil,
        unit=row.unit,
        gauge=row.gauge.number if row.gauge else "",
        by=str(row.by) if row.by else "",
        at=row.happened_at,
    )


Measures = Mapping[int, Sequence[StripMeasure]]
"""By setup's database id, the oldest first."""


def measures_of(setup_ids: Iterable[int]) -> Measures:
    """One query."""
    found: dict[int, list[StripMeasure]] = defaultdict(list)
    for row in standing_measures().filter(setup_id__in=set(setup_ids)).reverse():
        found[row.setup_id].append(row)
    return found


def strip_then(setup: Setup, moment: datetime, measures: Measures) -> int | None:
    """The strip that ran at a moment: as measured last before it, else first after, else as the
    job plans it."""
    mine = measures.get(setup.pk, ())
    before = [each for each in mine if each.happened_at <= moment]
    if before:
        return before[-1].thickness_nm
    return mine[0].thickness_nm if mine else setup.kit.job.thickness_nm


def strip_of_number(setup: Setup, row: AsSet, measures: Measures) -> int | None:
    """The strip that a number was good for: when the first good part came, or when the number was
    set if that was later."""
    moments = [row.happened_at, setup.good_at or row.happened_at]
    return strip_then(setup, max(moments), measures)

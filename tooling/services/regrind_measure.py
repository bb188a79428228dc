"""What an ordered piece measures after the work: all its readings kept together, or none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Gauge, Person, Reading, RegrindOrderLine
from tooling.permissions import Verb, check_can
from tooling.services.readings import record_reading
from tooling.services.regrind_order_rows import hold_order, save_order
from tooling.services.write import writing


@dataclass(frozen=True)
class Measured:
    """A size in nm, and as it was written down."""

    nm: int
    as_written: str = ""


def measure_line(
    *,
    by: Person,
    at: datetime,
    row: RegrindOrderLine,
    measured: Mapping[str, Measured],
    unit: str,
    gauge: Gauge | None = None,
    over_chrome: bool = False,
    sure: bool = False,
) -> list[Reading]:
    """Dimension → size of a piece that is back. Raises NotAllowed, ``nothing_measured``, Conflict
    ``not_back`` and what a reading may refuse, at the dimension that it is about."""
    check_can(by, Verb.RECORD_READINGS)
    if not measured:
        raise ToolingError("nothing_measured", _("Write at least one size."))
    with writing():
        order = hold_order(row.order)
        fresh = RegrindOrderLine.objects.select_related("piece__revision").get(pk=row.pk)
        if fresh.back_at is None:
            raise Conflict(
                "not_back",
                _("{piece} did not come back yet. Take it back first, then measure it."),
                piece=fresh.piece.called,
            )
        kept = []
        for name, size in measured.items():
            try:
                reading = record_reading(
                    by=by, at=at, piece=fresh.piece, dimension=name, value_nm=size.nm, unit=unit,
                    as_written=size.as_written, gauge=gauge, over_chrome=over_chrome, sure=sure,
                )  # fmt: skip
            except ToolingError as error:
                error.values["in_field"] = name
                raise
            kept.append(reading)
        save_order(order)
    return kept

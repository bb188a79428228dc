"""Whether a reading conforms: in, out or too near to tell; nothing is said with a gauge whose
calibration is overdue or was never written down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from math import cos, radians, sin
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.wear import GaugeRecord, Thermal, judge, worth
from tooling.models import Gauge, GaugePoint, Reading

IN, OUT, CANNOT_TELL = "in", "out", "cannot_tell"
OVERDUE, UNCALIBRATED, NO_LIMIT = "gauge_overdue", "gauge_uncalibrated", "no_limit"
WORDS: Mapping[str, Any] = {
    IN: _("within its limit"),
    OUT: _("beyond its limit"),
    CANNOT_TELL: _("too near its limit to tell"),
    OVERDUE: _("no statement: the gauge's calibration is overdue"),
    UNCALIBRATED: _("no statement: nothing says that the gauge was calibrated"),
    NO_LIMIT: _("no limit is kept"),
}


@dataclass(frozen=True)
class Statement:
    """``said`` is one of ``WORDS``; the uncertainty is standard (k = 1), nm."""

    said: str
    u_nm: float

    @property
    def word(self) -> str:
        return str(WORDS[self.said])


def is_overdue(gauge: Gauge | None, on: date) -> bool:
    return gauge is not None and gauge.due_on is not None and gauge.due_on < on


def calibration_of(gauge: Gauge | None, on: date) -> str:
    """What keeps a gauge from saying anything about conformity on that day; empty: nothing. Of a
    gauge that was never calibrated neither day is kept."""
    if gauge is None:
        return ""
    if is_overdue(gauge, on):
        return OVERDUE
    return UNCALIBRATED if gauge.calibrated_on is None and gauge.due_on is None else ""


def statement_of(
    point: GaugePoint, reading: Reading, *, on: date, k: float, new_nm: int | None = None
) -> Statement:
    """What may be said of a value against the point's limit. ``on``: the day it was read;
    ``new_nm``: the value after the cut, for a limit that is a depth. The gauge comes with the
    reading; no query."""
    if reading.value_nm is None:
        said = {"fits": IN, "light": IN, "fails": OUT}.get(reading.verdict, NO_LIMIT)
        return Statement(said, 0.0)
    gauge = reading.gauge
    record = GaugeRecord(gauge.resolution_nm, gauge.uncertainty_nm) if gauge else GaugeRecord()
    known = worth(
        reading.value_nm, size_nm=abs(reading.value_nm), gauge=record,
        thermal=Thermal(reading.soaked, reading.temperature_c),
    )  # fmt: skip
    silent = calibration_of(gauge, on)
    if silent:
        return Statement(silent, known.u_nm)
    limit = limit_of(point, new_nm)
    if limit is None:
        return Statement(NO_LIMIT, known.u_nm)
    lower, upper = (None, limit) if point.grows else (limit, None)
    verdict = judge(known.value_nm, u=known.u_nm, lower=lower, upper=upper, k=k).verdict
    return Statement(str(verdict), known.u_nm)


def limit_of(point: GaugePoint, new_nm: int | None) -> float | None:
    """The value beyond which parts are bad; a depth limit by how the value falls with depth: across
    an inclined face by more, along the shaft by the other side of its angle."""
    if point.limit_nm is not None:
        return float(point.limit_nm)
    start = new_nm or point.new_nm
    if point.depth_limit_nm is None or start is None:
        return None
    axial = point.dimension in ("face_width", "guide_offset")
    degrees = (point.face_angle_deg or 90.0) if axial else point.face_angle_deg
    share = sin(radians(degrees)) if axial else cos(radians(degrees))
    change = point.depth_limit_nm * (2 if point.is_diameter and not axial else 1) / share
    return float(start + change if point.grows else start - change)

"""What is asked of a reading before it is kept: is the piece here, was it cut since, can metal do
that, and in which unit was it meant."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import NM_PER_IN, NM_PER_MM, Unit, say_length
from tooling.engineering.wear import GaugeRecord, Thermal, worth
from tooling.errors import Conflict, ToolingError
from tooling.models import Gauge, GaugePoint, Movement, Piece, Place, PlaceKind, Reading, Work
from tooling.models.movements import STANDS
from tooling.queries.settings import setting_value
from tooling.queries.shop_zone import shop_zone
from tooling.queries.wear_lives import COLDEST_C, CUTS, WARMEST_C
from tooling.queries.whereabouts import whereabouts
from tooling.queries.work_moment import counts_from

NOT_HERE = (PlaceKind.GRINDER, PlaceKind.CUSTOMER, PlaceKind.SISTER, PlaceKind.LOST,
            PlaceKind.SCRAP)  # fmt: skip
"""Where nobody of the shop can measure a piece. Whoever was handed one may well."""


def check_is_here(piece: Piece, happened_at: datetime) -> None:
    """Raise Conflict ``piece_away`` where the piece was out of reach then. One query, one more
    where it has moved since."""
    place = _place_then(piece, happened_at)
    beyond = whereabouts().beyond_reach(place) if place is not None else None
    if beyond is None or beyond.kind not in NOT_HERE:
        return
    raise Conflict(
        "piece_away",
        _("{code} was at {place} on {day}, so nobody here measured it then. Book it back in, or "
          "write when it was measured."),
        code=piece.code,
        place=beyond.name,
        day=f"{timezone.localtime(happened_at):%Y-%m-%d}",
        in_field="happened_at",
    )  # fmt: skip


def _place_then(piece: Piece, at: datetime) -> Place | None:
    if piece.placed_effective_at is None or piece.placed_effective_at <= at:
        return piece.place
    rows = Movement.objects.filter(STANDS, piece=piece, effective_at__lte=at)
    last = rows.order_by("-effective_at", "-received_at", "-id").select_related("to").first()
    return last.to if last is not None else None


def check_temperature(degrees: float | None) -> None:
    """Raise ``absurd_temperature`` for what no piece has while it is measured, in °C."""
    if degrees is not None and not COLDEST_C <= degrees <= WARMEST_C:
        raise ToolingError(
            "absurd_temperature",
            _("“{text}” is no temperature in °C at which a piece is measured."),
            text=f"{degrees:g}",
            in_field="temperature",
        )


def check_after_cut(piece: Piece, happened_at: datetime) -> None:
    """Raise Conflict ``before_cut`` for a reading dated before the piece's last cut. One query."""
    cuts = Work.objects.filter(piece=piece, kind__in=CUTS, corrected_by=None)
    last = cuts.order_by("-done_on").values_list("done_on", flat=True).first()
    if last is None or timezone.localtime(happened_at).date() >= last:
        return
    raise Conflict(
        "before_cut",
        _("{code} was cut on {cut}; a reading of {day} says nothing about it any more. Check the "
          "date."),
        code=piece.code,
        cut=last.isoformat(),
        day=f"{timezone.localtime(happened_at):%Y-%m-%d}",
        in_field="happened_at",
    )  # fmt: skip


def ask_if_grown(
    piece: Piece,
    *,
    rows: Any,
    value_nm: int,
    unit: str,
    happened_at: datetime,
    gauge: Gauge | None,
    thermal: Thermal,
    grows: bool = False,
) -> None:
    """Ask (``grown``) where the value shows metal that was not there before, beyond what both
    gauges leave open. ``rows``: the readings of the same spot since the cut. Two queries."""
    last = rows.filter(happened_at__lte=happened_at).order_by("-happened_at", "-pk").first()
    if last is None:
        return
    more = (last.value_nm - value_nm) if grows else (value_nm - last.value_nm)
    k = float(setting_value("guard_band"))
    u = _u(value_nm, gauge, thermal) ** 2
    u += _u(last.value_nm, last.gauge, Thermal(last.soaked, last.temperature_c)) ** 2
    if more <= k * u**0.5:
        return
    shown: Unit = "in" if unit == "in" else "mm"
    raise ToolingError(
        "grown",
        _("{value}, and {before} was read on {day}: metal does not grow. Clean the spot, it may be "
          "build-up, and measure again; if it is right, say so."),
        value=say_length(value_nm, shown),
        before=say_length(last.value_nm, shown),
        day=f"{timezone.localtime(last.happened_at):%Y-%m-%d}",
        in_field="value",
        asks="sure",
    )  # fmt: skip


def ask_if_beyond_range(gauge: Gauge | None, value_nm: int, unit: str) -> None:
    """Ask (``beyond_range``) where the gauge cannot show such a value. No query."""
    if gauge is None:
        return
    least, most = gauge.least_nm, gauge.most_nm
    if (least is None or value_nm >= least) and (most is None or value_nm <= most):
        return
    shown: Unit = "in" if unit == "in" else "mm"
    raise ToolingError(
        "beyond_range",
        _("{gauge} does not read {value}. Choose the gauge it was read with; if it is right, say "
          "so."),
        gauge=gauge.number,
        value=say_length(value_nm, shown),
        in_field="gauge",
        asks="sure",
    )  # fmt: skip


def _u(value_nm: int, gauge: Gauge | None, thermal: Thermal) -> float:
    record = (
        GaugeRecord(gauge.resolution_nm, gauge.uncertainty_nm)
        if gauge is not None
        else GaugeRecord()
    )
    return worth(value_nm, size_nm=abs(value_nm), gauge=record, thermal=thermal).u_nm


def readings_since_cut(piece: Piece, *, dimension: str, point: GaugePoint | None) -> Any:
    """Standing values of one spot since the piece's last cut; not run yet. On the day of the cut
    those that came after it was written down. Two queries at most."""
    rows = Reading.objects.filter(
        piece=piece, corrected_by=None, value_nm__isnull=False
    ).select_related("gauge")
    rows = rows.filter(dimension=dimension).exclude(point="wear") if dimension else rows.filter(
        gauge_point=point
    )  # fmt: skip
    cuts = Work.objects.filter(piece=piece, kind__in=CUTS, corrected_by=None)
    last = cuts.order_by("-done_on", "-pk").values_list("done_on", "received_at").first()
    if last is None:
        return rows
    return rows.filter(happened_at__gte=counts_from(*last, shop_zone()))


def refuse_other_unit(
    value_nm: int, unit: str, *, near_nm: int, within_nm: float, is_written: bool
) -> None:
    """Raise where the number would be right in the other unit: ``ambiguous_length`` where none was
    written, else ask (``wrong_unit``)."""
    shown: Unit = "in" if unit == "in" else "mm"
    factor = NM_PER_IN / NM_PER_MM
    meant = round(value_nm / factor) if shown == "in" else round(value_nm * factor)
    if abs(meant - near_nm) > within_nm:
        return
    other: Unit = "mm" if shown == "in" else "in"
    said = {"value": say_length(value_nm, shown), "meant": say_length(meant, other),
            "near": say_length(near_nm, other)}  # fmt: skip
    if not is_written:
        raise ToolingError(
            "ambiguous_length",
            _("{value} or {meant}? Until now it was {near}. Write the unit behind the number."),
            in_field="value",
            **said,
        )
    raise ToolingError(
        "wrong_unit",
        _("{value} is far from the {near} until now; {meant} would be near it. If that is what the "
          "gauge showed, write it in that unit; if {value} is right, say so."),
        in_field="value",
        asks="sure",
        **said,
    )  # fmt: skip

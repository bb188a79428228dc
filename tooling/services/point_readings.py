"""Readings at gauge points: a value in the point's own way, or how a template or finish looks."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.engineering.wear import Thermal
from tooling.errors import ToolingError
from tooling.models import Gauge, GaugePoint, Person, Piece, PointKind, Reading
from tooling.permissions import Verb, check_can
from tooling.queries.settings import setting_values
from tooling.services.reading_checks import (
    ask_if_beyond_range,
    ask_if_grown,
    check_temperature,
    readings_since_cut,
    refuse_other_unit,
)
from tooling.services.readings import (
    check_correction,
    check_of_piece,
    check_time,
    reading_again,
    record_reading,
)
from tooling.services.touched import touch_kits_of
from tooling.services.wear_states import refresh_wear
from tooling.services.write import lock, writing

VERDICTS = ("fits", "light", "fails")
ENDS = ("", "inboard", "outboard")


def record_point_reading(
    *,
    by: Person,
    at: datetime,
    piece: Piece,
    point: GaugePoint,
    value_nm: int | None = None,
    verdict: str = "",
    end: str = "",
    unit: str = "mm",
    unit_is_written: bool = True,
    as_written: str = "",
    happened_at: datetime | None = None,
    gauge: Gauge | None = None,
    soaked: bool | None = None,
    temperature_c: float | None = None,
    sure: bool = False,
    corrects: Reading | None = None,
    note: str = "",
    id: uuid.UUID | None = None,
    expected: tuple[int, int] | None = None,
) -> Reading:
    """One reading at a gauge point. A point of a dimension is read as that dimension, so the
    piece's present size follows. ``expected``: where nine of ten such values lie, in nm, as the
    reading sheet told it; far outside it is asked about too.

    Raises as `record_reading`, and ``other_drawing``, ``which_end``, ``no_value``,
    ``no_verdict``.
    """
    check_can(by, Verb.RECORD_READINGS)
    _check_point(piece, point, end)
    told: dict[str, Any] = {
        "by": by, "at": at, "piece": piece, "end": end, "as_written": as_written,
        "happened_at": happened_at, "gauge": gauge, "sure": sure, "corrects": corrects,
        "note": note, "id": id, "soaked": soaked, "temperature_c": temperature_c,
    }  # fmt: skip
    if point.kind != PointKind.LENGTH:
        return _keep(point=point, verdict=_verdict(verdict), value_nm=None, unit=unit, **told)
    if value_nm is None or value_nm <= 0:
        raise ToolingError(
            "no_value", _("{name}: write what the gauge shows."), name=point.name, in_field="value"
        )
    if not sure and expected is not None:
        _ask_if_unexpected(piece, point, value_nm, unit, expected)
    if point.dimension:
        return record_reading(
            dimension=point.dimension, value_nm=value_nm, unit=unit,
            unit_is_written=unit_is_written, **told,
        )  # fmt: skip
    if not sure:
        _ask(piece, point, value_nm, unit, unit_is_written, end)
        ask_if_beyond_range(gauge, value_nm, unit)
    return _keep(point=point, verdict="", value_nm=value_nm, unit=unit, **told)


def _check_point(piece: Piece, point: GaugePoint, end: str) -> None:
    if point.drawing_id != piece.drawing_id:
        raise ToolingError(
            "other_drawing",
            _("{name} is a gauge point of another drawing."),
            name=point.name,
            in_field="point",
        )
    if end not in ENDS or (end == "") == point.has_two_ends:
        raise ToolingError(
            "which_end",
            _("{name} is read at both ends: say inboard or outboard.")
            if point.has_two_ends
            else _("{name} is read at one place only; leave the end out."),
            name=point.name,
            in_field="end",
        )


def _verdict(text: str) -> str:
    if text not in VERDICTS:
        raise ToolingError(
            "no_verdict",
            _("“{text}” is no verdict: F fits, L light, X fails."),
            text=text[:20],
            in_field="value",
        )
    return text


def _ask(
    piece: Piece, point: GaugePoint, value_nm: int, unit: str, unit_is_written: bool, end: str
) -> None:
    """Asked about: a value far from the last one, or from what is drawn."""
    rows = readings_since_cut(piece, dimension="", point=point).filter(end=end)
    last = rows.order_by("-happened_at", "-pk").first()
    near = last.value_nm if last is not None else point.new_nm or point.limit_nm
    if near is None:
        return
    given = setting_values(["usual_stock_per_cut", "improbable_reading"], unit=piece.unit)
    most = given["usual_stock_per_cut"] * given["improbable_reading"]
    if abs(value_nm - near) <= most:
        return
    refuse_other_unit(value_nm, unit, near_nm=near, within_nm=most, is_written=unit_is_written)
    shown: Unit = "in" if unit == "in" else "mm"
    raise ToolingError(
        "improbable_value",
        _("{name} {value} is far from {near}. Measure again; if it is right, say so and record "
          "it."),
        name=point.name,
        value=say_length(value_nm, shown),
        near=say_length(near, shown),
        in_field="value",
        asks="sure",
    )  # fmt: skip


def _ask_if_unexpected(
    piece: Piece, point: GaugePoint, value_nm: int, unit: str, expected: tuple[int, int]
) -> None:
    """Ask (``improbable_value``) about more wear than so many times as far from the middle as nine
    of ten are. What is farther off than some cuts, or has grown, is asked about by itself."""
    low, high = expected
    given = setting_values(["usual_stock_per_cut", "improbable_reading"], unit=piece.unit)
    times = given["improbable_reading"]
    worn = (value_nm - (low + high) / 2) * (1 if point.grows else -1)
    if not times * (high - low) / 2 < worn <= given["usual_stock_per_cut"] * times:
        return
    shown: Unit = "in" if unit == "in" else "mm"
    raise ToolingError(
        "improbable_value",
        _("{name} {value} is far from what is expected, {low} to {high}. Measure again; if it is "
          "right, say so and record it."),
        name=point.name,
        value=say_length(value_nm, shown),
        low=say_length(low, shown),
        high=say_length(high, shown),
        in_field="value",
        asks="sure",
    )  # fmt: skip


def _keep(
    *,
    by: Person,
    at: datetime,
    piece: Piece,
    point: GaugePoint,
    value_nm: int | None,
    verdict: str,
    end: str,
    unit: str,
    as_written: str,
    happened_at: datetime | None,
    gauge: Gauge | None,
    soaked: bool | None,
    temperature_c: float | None,
    sure: bool,
    corrects: Reading | None,
    note: str,
    id: uuid.UUID | None,
) -> Reading:
    happened_at = happened_at or at
    check_time(happened_at, at)
    check_temperature(temperature_c)
    with writing():
        lock(pieces=[piece.pk])
        there = reading_again(
            id, piece, gauge_point_id=point.pk, end=end, value_nm=value_nm, verdict=verdict
        )
        if there is not None:
            return there
        check_correction(piece, corrects)
        check_of_piece(piece, happened_at, corrects)
        if value_nm is not None and not sure and corrects is None:
            ask_if_grown(
                piece,
                rows=readings_since_cut(piece, dimension="", point=point).filter(end=end),
                value_nm=value_nm,
                unit=unit,
                happened_at=happened_at,
                gauge=gauge,
                thermal=Thermal(soaked, temperature_c),
                grows=point.grows,
            )
        known: dict[str, Any] = {} if value_nm is None else {"value_nm": value_nm}
        reading = Reading.objects.create(
            uuid=id or uuid.uuid4(), piece=piece, dimension="wear", point=point.name,
            gauge_point=point, end=end, verdict=verdict, unit=unit,
            as_written=as_written[:40], gauge=gauge, soaked=soaked, temperature_c=temperature_c,
            happened_at=happened_at, received_at=at, by=by, corrects=corrects, note=note[:300],
            **known,
        )  # fmt: skip
        refresh_wear([piece.pk], at=at)
        touch_kits_of(pieces=[piece.pk], drawings=[piece.drawing_id])
    return reading

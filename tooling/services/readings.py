"""Readings: one measurement each, never edited; a wrong one is corrected by a further one."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.engineering.wear import Thermal
from tooling.errors import Conflict, ToolingError
from tooling.models import DIAMETERS, DIMENSIONS, Gauge, GaugePoint, Person, Piece, Reading
from tooling.permissions import Verb, check_can
from tooling.queries.settings import setting_values
from tooling.queries.spares import below_least
from tooling.services.derived import refresh_sizes
from tooling.services.dimensions import check_present_sizes, dimension_words, known_size
from tooling.services.owner_reports import report_unsuitable
from tooling.services.reading_checks import (
    ask_if_beyond_range,
    ask_if_grown,
    check_after_cut,
    check_is_here,
    check_temperature,
    readings_since_cut,
    refuse_other_unit,
)
from tooling.services.said_again import check_same
from tooling.services.touched import touch_kits_of
from tooling.services.wear_states import refresh_wear
from tooling.services.write import lock, writing

CLOCKS_DIFFER = timedelta(minutes=5)


def record_reading(
    *,
    by: Person,
    at: datetime,
    piece: Piece,
    dimension: str,
    value_nm: int,
    unit: str,
    happened_at: datetime | None = None,
    as_written: str = "",
    gauge: Gauge | None = None,
    over_chrome: bool = False,
    soaked: bool | None = None,
    temperature_c: float | None = None,
    sure: bool = False,
    corrects: Reading | None = None,
    note: str = "",
    end: str = "",
    unit_is_written: bool = True,
    id: uuid.UUID | None = None,
) -> Reading:
    """Write down what was measured and bring the piece's present size up to date. A gauge point of
    that dimension has the reading too, at its ``end`` where it has two.

    A value far from what the piece had is asked about (``improbable_value``), one that the
    gauge does not read (``beyond_range``) and one that shows metal which was not there (``grown``),
    until ``sure``. Raises ``unknown_dimension``, ``in_the_future``, ``absurd_temperature``,
    ``piece_away``, ``before_cut`` (a correction may be), ``ambiguous_length`` for a number without
    its unit that would be right in the other, ``wrong_unit`` for one with it until ``sure``, what
    `check_present_sizes` says, ``already_corrected``, ``other_piece`` of a correction,
    ``id_reused``.
    """
    check_can(by, Verb.RECORD_READINGS)
    if dimension not in DIMENSIONS:
        raise ToolingError(
            "unknown_dimension",
            _("“{dimension}” is no dimension of a piece."),
            dimension=dimension,
            in_field="dimension",
        )
    happened_at = happened_at or at
    check_time(happened_at, at)
    check_temperature(temperature_c)
    if value_nm <= 0 and dimension != "guide_offset":
        raise ToolingError(
            "not_positive",
            _("{dimension} must be above nothing."),
            dimension=dimension_words(dimension),
            in_field="value",
        )
    if not sure:
        _ask_if_improbable(piece, dimension, value_nm, unit, unit_is_written)
        ask_if_beyond_range(gauge, value_nm, unit)
    with writing():
        lock(pieces=[piece.pk])
        there = reading_again(id, piece, dimension=dimension, end=end, value_nm=value_nm)
        if there is not None:
            return there
        check_correction(piece, corrects)
        point = GaugePoint.objects.filter(
            drawing=piece.drawing_id, dimension=dimension, is_in_use=True
        ).first()
        check_of_piece(piece, happened_at, corrects)
        if not sure and corrects is None and (point is not None or dimension in DIAMETERS):
            ask_if_grown(
                piece,
                rows=readings_since_cut(piece, dimension=dimension, point=point).filter(end=end),
                value_nm=value_nm,
                unit=unit,
                happened_at=happened_at,
                gauge=gauge,
                thermal=Thermal(soaked, temperature_c),
                grows=point is not None and point.grows,
            )
        before = Piece.objects.select_related("revision").get(pk=piece.pk)
        reading = Reading.objects.create(
            uuid=id or uuid.uuid4(),
            piece=piece,
            gauge_point=point,
            end=end,
            dimension=dimension,
            value_nm=value_nm,
            unit=unit,
            as_written=as_written[:40],
            gauge=gauge,
            over_chrome=over_chrome,
            soaked=soaked,
            temperature_c=temperature_c,
            happened_at=happened_at,
            received_at=at,
            by=by,
            corrects=corrects,
            note=note[:300],
        )
        refresh_sizes([piece.pk])
        check_present_sizes(piece_id=piece.pk)
        report_unsuitable(by=by, at=at, piece_id=piece.pk, was_below=below_least(before))
        refresh_wear([piece.pk], at=at)
        touch_kits_of(pieces=[piece.pk], drawings=[piece.drawing_id])
    return reading


def check_of_piece(piece: Piece, happened_at: datetime, corrects: Reading | None) -> None:
    """Raise ``piece_away``, ``before_cut``; a correction speaks of a reading that was taken."""
    if corrects is not None:
        return
    check_is_here(piece, happened_at)
    check_after_cut(piece, happened_at)


def reading_again(id: uuid.UUID | None, piece: Piece, **same: Any) -> Reading | None:
    """The reading that was kept with this id, saying the same. Raises ``id_reused``."""
    row = Reading.objects.filter(uuid=id).first() if id is not None else None
    if row is not None:
        told = {"piece_id": piece.pk, **same}
        check_same(all(getattr(row, name) == value for name, value in told.items()))
    return row


def check_time(happened_at: datetime, at: datetime) -> None:
    if happened_at > at + CLOCKS_DIFFER:
        raise ToolingError(
            "in_the_future",
            _("{moment} is still to come. Write when it was measured."),
            moment=f"{timezone.localtime(happened_at):%Y-%m-%d %H:%M}",
            in_field="happened_at",
        )


def _ask_if_improbable(
    piece: Piece, dimension: str, value_nm: int, unit: str, unit_is_written: bool
) -> None:
    present = known_size(piece, dimension)
    names = ["usual_stock_per_cut", "improbable_reading"]
    settings = setting_values(names, unit=piece.unit)
    most = settings[names[0]] * settings[names[1]]
    if present is None or abs(value_nm - present) <= most:
        return
    refuse_other_unit(value_nm, unit, near_nm=present, within_nm=most, is_written=unit_is_written)
    shown: Unit = "in" if unit == "in" else "mm"
    raise ToolingError(
        "improbable_value",
        _("{dimension} {value} is far from {present}, which {code} has until now. Measure again; "
          "if it is right, say so and record it."),
        dimension=dimension_words(dimension),
        value=say_length(value_nm, shown),
        present=say_length(present, shown),
        code=piece.code,
        in_field="value",
        asks="sure",
    )  # fmt: skip


def check_correction(piece: Piece, corrects: Reading | None) -> None:
    if corrects is None:
        return
    if corrects.piece_id != piece.pk:
        raise Conflict("other_piece", _("That reading was taken on another piece."))
    if Reading.objects.filter(corrects=corrects).exists():
        raise Conflict(
            "already_corrected",
            _("This reading has been corrected already. Correct the one that replaced it."),
        )

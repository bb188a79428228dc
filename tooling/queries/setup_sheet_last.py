"""The last good number of one setting, translated to today or struck out."""

from __future__ import annotations

from fractions import Fraction

from django.utils.timezone import localtime

from tooling.engineering.last_good import Conditions, Screws, follows, translate
from tooling.engineering.measures import is_length
from tooling.models import AsSet, ChartPass, Setup, Station
from tooling.queries.setup_sheet_read import SheetReading
from tooling.queries.setup_sheet_views import LastGood
from tooling.queries.strip_measures import strip_of_number


def last_good(
    name: str, end: str, placed: ChartPass, station: Station, read: SheetReading
) -> LastGood | None:
    number = placed.set_pass.number
    at = read.last_stations.get(number)
    row = _as_it_was(at, name, end, read)
    if row is None or read.last is None or at is None:
        return None
    then, now = read.last_rolls.of(number), read.rolls.of(number)
    what = follows(name)
    found = translate(
        row.value_nm if row.value_nm is not None else Fraction(str(row.value)),
        follows=what,
        then=Conditions(
            mill=str(read.last.mill_id), method=row.method, is_loaded=row.is_loaded,
            strip_nm=strip_of_number(read.last, row, read.measures), top_nm=then.top_nm,
            bottom_nm=then.bottom_nm,
        ),
        now=Conditions(
            mill=str(station.mill_id),
            method=placed.gap_method if what == "gap" else "",
            is_loaded=placed.gap_is_loaded if what == "gap" and placed.gap_method else None,
            strip_nm=read.strip_nm, top_nm=now.top_nm, bottom_nm=now.bottom_nm,
        ),
        screws=Screws(
            bottom_adjustable=station.bottom_adjustable,
            lead_nm=station.screw_lead_nm,
            zero_moved=_zero_moved(station, at, read.last, row),
        ),
        in_turns=not is_length(row.unit),
    )  # fmt: skip
    length = row.value_nm is not None
    plain = float(found.value) if found.value is not None and not length else None
    return LastGood(
        was_nm=row.value_nm, was=row.value, now_nm=found.value_nm if length else None, now=plain,
        method=row.method, struck=found.struck, reset=found.reset,
    )  # fmt: skip


def _as_it_was(at: int | None, name: str, end: str, read: SheetReading) -> AsSet | None:
    if at is None:
        return None
    wanted = name.casefold()
    return next(
        (
            row
            for (number, said, which), row in read.last_set.items()
            if number == at and said.casefold() == wanted and which == end
        ),
        None,
    )


def _zero_moved(station: Station, at: int, last: Setup, row: AsSet) -> bool:
    """The pass stood at another station, or this one was aligned or its screws zeroed since."""
    if at != station.number:
        return True
    if station.screw_zeroed_at is not None and station.screw_zeroed_at > row.happened_at:
        return True
    aligned, good = station.aligned_on, last.good_at
    return aligned is not None and good is not None and aligned > localtime(good).date()

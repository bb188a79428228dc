"""Lengths: whole nanometres inside, what the trade writes outside.

1 in is 25 400 000 nm exactly, so 0.0001 in, 1/64 in and 1 µm are whole nanometres. Nothing is
rounded on the way in: a length finer than 1 nm is refused with its neighbours.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, TypeVar, get_args

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from tooling.engineering.length_formats import (
    NM_PER_FT,
    NM_PER_IN,
    NM_PER_KM,
    NM_PER_M,
    NM_PER_MM,
    NM_PER_THOU,
    NM_PER_UM,
    NM_PER_UNIT,
    StripUnit,
    Unit,
    exact_in,
    exact_mm,
    format_length,
    format_strip_length,
    say_gauged,
    say_length,
)
from tooling.engineering.tables import sheet_gauges
from tooling.engineering.written_numbers import Written, read_written
from tooling.errors import ToolingError

__all__ = [
    "LONGEST_NM",
    "LONGEST_STRIP_NM",
    "NM_PER_FT",
    "NM_PER_IN",
    "NM_PER_KM",
    "NM_PER_M",
    "NM_PER_MM",
    "NM_PER_THOU",
    "NM_PER_UM",
    "NM_PER_UNIT",
    "Length",
    "StripLength",
    "StripUnit",
    "Unit",
    "exact_in",
    "exact_mm",
    "format_length",
    "format_strip_length",
    "gauge_nm",
    "parse_exact",
    "parse_length",
    "parse_strip_length",
    "say_gauged",
    "say_length",
]

AnyUnit = TypeVar("AnyUnit", Unit, StripUnit)

LONGEST_NM = 100 * NM_PER_M
"""No roll, shaft or mill is longer than 100 m."""
LONGEST_STRIP_NM = 1_000_000 * NM_PER_KM
"""No strip record is longer than a million kilometres; the database ends at nine times that."""

_UNIT_WORDS: Mapping[str, tuple[int, Unit]] = {
    **dict.fromkeys(
        ("mm", "millimetre", "millimetres", "millimeter", "millimeters"), (NM_PER_MM, "mm")
    ),
    **dict.fromkeys(
        ("cm", "centimetre", "centimetres", "centimeter", "centimeters"), (10 * NM_PER_MM, "mm")
    ),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), (NM_PER_M, "mm")),
    **dict.fromkeys(("um", "micron", "microns"), (NM_PER_UM, "mm")),
    **dict.fromkeys(("in", "inch", "inches", '"', "ins"), (NM_PER_IN, "in")),
    **dict.fromkeys(("thou", "thousandths"), (NM_PER_THOU, "in")),
    **dict.fromkeys(("ft", "foot", "feet", "'"), (NM_PER_FT, "in")),
}
_STRIP_WORDS: Mapping[str, tuple[int, StripUnit]] = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), (NM_PER_M, "m")),
    **dict.fromkeys(("km", "kilometre", "kilometres", "kilometer", "kilometers"), (NM_PER_KM, "m")),
    **dict.fromkeys(("ft", "foot", "feet", "'"), (NM_PER_FT, "ft")),
}
_GAUGE_WORDS = ("ga", "gauge", "gage", "gauges", "g")
_TWO_MEANINGS = ("mil", "mils")
_STRICT = re.compile(r"-?[0-9]+(\.[0-9]+)?")


@dataclass(frozen=True)
class Length:
    """A length and the unit in which it was written, so that it can be shown as it was drawn."""

    nm: int
    unit_written: Unit


@dataclass(frozen=True)
class StripLength:
    """A length of strip and the unit in which it was written."""

    nm: int
    unit_written: StripUnit


def parse_length(
    text: str,
    *,
    unit: Unit,
    field: str = "",
    expected_nm: tuple[int, int] | None = None,
    material: str | None = None,
    signed: bool = False,
) -> Length:
    """What a person wrote for a length, in nm, with the unit in which it was written.

    ``unit`` is meant where the text names none. ``field`` names the length in error sentences.
    ``expected_nm`` is the usual range, ends included: a number outside it and without a unit word
    is asked about, and writing the unit is the answer. ``material`` lets ``16 ga`` be read.
    ``signed`` allows negative lengths (allowances, offsets).

    Raises ToolingError: ``not_a_length``, ``ambiguous_length`` (both readings in the sentence),
    ``improbable_value``, ``too_fine_length``, ``negative_length``, ``absurd_length``,
    ``gauge_needs_material``, ``unknown_gauge``. Source of gauges: ``tables/sheet_gauges.py``.
    """
    _require_unit(unit, get_args(Unit))
    asked = _Asked(text=text, field=field)
    written = asked.written()
    if written.unit in _GAUGE_WORDS:
        return Length(_gauge_nm(asked, written, material), "in")
    asked.refuse_two_readings(written, unit)
    factor, unit_written = asked.factor(written, _UNIT_WORDS, unit)
    nm = asked.whole_nm(written.readings[0], factor, unit_written)
    asked.refuse_impossible(nm, signed=signed, longest_nm=LONGEST_NM)
    if expected_nm and not written.unit:
        asked.refuse_improbable(nm, written.readings[0], unit, expected_nm)
    return Length(nm, unit_written)


def parse_strip_length(text: str, *, unit: StripUnit, field: str = "") -> StripLength:
    """What a person wrote for a length of strip, in m, km or ft. Never negative.

    Raises ToolingError as `parse_length` does.
    """
    _require_unit(unit, get_args(StripUnit))
    asked = _Asked(text=text, field=field)
    written = asked.written(
        _("{field} “{text}” is not a length of strip. Write it like 850 m or 2790 ft.")
    )
    asked.refuse_two_readings(written, unit)
    factor, unit_written = asked.factor(written, _STRIP_WORDS, unit)
    nm = asked.whole_nm(written.readings[0], factor, unit_written)
    asked.refuse_impossible(nm, signed=False, longest_nm=LONGEST_STRIP_NM)
    return StripLength(nm, unit_written)


def parse_exact(text: str, *, unit: Unit, field: str = "", signed: bool = False) -> int:
    """A plain decimal such as a program sends (``63.5``), in nm. No unit, comma or fraction.

    Raises ToolingError ``not_a_length``, ``too_fine_length``, ``negative_length``,
    ``absurd_length``.
    """
    _require_unit(unit, get_args(Unit))
    asked = _Asked(text=text, field=field)
    if len(text) > 40 or not _STRICT.fullmatch(text):
        raise asked.error(
            "not_a_length",
            _("{field} “{text}” is not a plain decimal number. Send it like 63.5, in {unit}."),
            unit=unit,
        )
    nm = asked.whole_nm(Fraction(text), NM_PER_UNIT[unit], unit)
    asked.refuse_impossible(nm, signed=signed, longest_nm=LONGEST_NM)
    return nm


def gauge_nm(gauge: int, material: str, *, field: str = "") -> int:
    """The nominal thickness of a sheet gauge of a material, in nm.

    Raises ToolingError ``unknown_gauge``, and ``gauge_needs_material`` where the words name none
    of the four materials that have a gauge table. Source: ``tables/sheet_gauges.py``.
    """
    asked = _Asked(text=f"{gauge} ga", field=field)
    return _gauge_nm(asked, Written((Fraction(gauge),), is_fraction=False, unit="ga"), material)


def _require_unit(unit: str, allowed: tuple[str, ...]) -> None:
    if unit not in allowed:
        raise ValueError(f"unit {unit!r} is none of {', '.join(allowed)}")


def _gauge_nm(asked: _Asked, written: Written, material: str | None) -> int:
    family = sheet_gauges.family(material or "")
    if family is None:
        raise asked.error(
            "gauge_needs_material",
            _(
                "{field} “{text}” is a gauge number, and a gauge is a different thickness in "
                "steel, galvanised, stainless and aluminium. Say the material or write the "
                "thickness in mm or in."
            ),
        )
    gauge = written.readings[0]
    table = sheet_gauges.THICKNESS_IN[family]
    thickness = table.get(int(gauge)) if gauge.denominator == 1 else None
    if len(written.readings) > 1 or thickness is None:
        raise asked.error(
            "unknown_gauge",
            _(
                "{field} “{text}” is not in the table of {family} gauges, which goes from {least} "
                "to {most}. Write the thickness in mm or in."
            ),
            family=family,
            least=min(table),
            most=max(table),
        )
    return asked.whole_nm(Fraction(thickness), NM_PER_IN, "in")


NO_LENGTH = _("{field} “{text}” is not a length. Write it like 63.5 mm, 2.500 in or 2 1/2 in.")


@dataclass(frozen=True)
class _Asked:
    """A text that somebody wrote for a field, and the sentences that refuse it."""

    text: str
    field: str

    def error(self, code: str, template: str | Promise, **values: Any) -> ToolingError:
        shown = self.text.strip()
        return ToolingError(
            code,
            template,
            field=self.field or _("Length"),
            text=shown if len(shown) <= 60 else shown[:59] + "…",
            **values,
        )

    def written(self, words: str | Promise = "") -> Written:
        """``words``: the sentence that refuses it, where the usual one does not fit."""
        written = read_written(self.text)
        if written is None:
            raise self.error("not_a_length", words or NO_LENGTH)
        return written

    def factor(
        self, written: Written, words: Mapping[str, tuple[int, AnyUnit]], unit: AnyUnit
    ) -> tuple[int, AnyUnit]:
        """nm per unit written, and the unit that it counts as."""
        if not written.unit:
            return NM_PER_UNIT[unit], unit
        if written.unit not in words:
            raise self.error(
                "not_a_length",
                _("{field} “{text}”: “{word}” is not a unit that fits here. Write {units}."),
                word=written.unit,
                units=", ".join(dict.fromkeys(each for _nm, each in words.values())),
            )
        return words[written.unit]

    def refuse_two_readings(self, written: Written, unit: str) -> None:
        """Raise where two people would read two lengths."""
        if len(written.readings) > 1:
            one, other = (f"{_decimal(each)} {written.unit or unit}" for each in written.readings)
        elif written.unit in _TWO_MEANINGS:
            one, other = (f"{_decimal(written.readings[0])} {each}" for each in ("thou", "mm"))
        elif written.is_fraction and not written.unit and unit == "mm":
            value = written.readings[0]
            one, other = f"{_ratio(value)} in", f"{_decimal(value)} mm"
        else:
            return
        raise self.error(
            "ambiguous_length",
            _("{field} “{text}” can be read as {one} or as {other}. Write the one you mean."),
            one=one,
            other=other,
        )

    def whole_nm(self, value: Fraction, nm_per_unit: int, unit: str) -> int:
        """The value in nm; refused, with the decimals next to it, where it is finer than 1 nm."""
        nm = value * nm_per_unit
        if nm.denominator == 1:
            return int(nm)
        grid = 127 if unit in ("in", "ft") else 1
        below = nm // grid * grid
        shown = "in" if unit in ("in", "ft") else "mm"
        raise self.error(
            "too_fine_length",
            _(
                "{field} “{text}” is no whole number of nanometres. The nearest decimals are "
                "{below} and {above} {unit}."
            ),
            below=_exact(below, shown),
            above=_exact(below + grid, shown),
            unit=shown,
        )

    def refuse_impossible(self, nm: int, *, signed: bool, longest_nm: int) -> None:
        """Raise for a negative length where none may be, and for one beyond anything real."""
        if nm < 0 and not signed:
            raise self.error(
                "negative_length", _("{field} “{text}” is negative; it must be 0 or more.")
            )
        if abs(nm) > longest_nm:
            raise self.error(
                "absurd_length",
                _("{field} “{text}” is longer than {longest} m. Check the number and its unit."),
                longest=longest_nm // NM_PER_M,
            )

    def refuse_improbable(
        self, nm: int, value: Fraction, unit: Unit, expected_nm: tuple[int, int]
    ) -> None:
        """Raise for a bare number outside the usual range, asking for the unit."""
        least, most = expected_nm
        if least <= nm <= most:
            return
        other: Unit = "in" if unit == "mm" else "mm"
        usual = {"least": say_length(least, unit), "most": say_length(most, unit)}
        if least <= value * NM_PER_UNIT[other] <= most:
            raise self.error(
                "improbable_value",
                _(
                    "{field} “{text}” in {article} {unit} field: did you mean {other}? Usual is "
                    "{least} to {most}. Write {text} {other_short} or {text} {unit}."
                ),
                unit=unit,
                article="an" if unit == "in" else "a",
                other=_("inches") if other == "in" else _("millimetres"),
                other_short=other,
                **usual,
            )
        raise self.error(
            "improbable_value",
            _(
                "{field} “{text}” is unusual: {least} to {most} is usual. "
                "If it is right, write it with its unit: {text} {unit}."
            ),
            unit=unit,
            **usual,
        )


def _decimal(value: Fraction) -> str:
    """A fraction as a decimal of at most twelve places, trimmed."""
    text = f"{round(value * 10**12)}"
    sign, digits = ("-", text[1:]) if text.startswith("-") else ("", text)
    digits = digits.rjust(13, "0")
    return sign + f"{digits[:-12]}.{digits[-12:]}".rstrip("0").rstrip(".")


def _ratio(value: Fraction) -> str:
    whole, rest = divmod(value, 1)
    parts = [str(whole)] if whole or not rest else []
    return " ".join([*parts, str(rest)] if rest else parts)


def _exact(nm: int, unit: str) -> str:
    return exact_mm(nm) if unit == "mm" else str(exact_in(nm))

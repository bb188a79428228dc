"""A value with a unit of its own: a length in mm or in as whole nm, anything else a number."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import isfinite
from typing import Any, Literal, cast

from django.utils.translation import gettext_lazy as _

from tooling.engineering.length_formats import exact_in, exact_mm, format_length
from tooling.engineering.lengths import parse_length
from tooling.engineering.written_numbers import read_written
from tooling.errors import ToolingError

LENGTH_UNITS = ("mm", "in")
MOST = 1e9
"""No turns, degrees or bar are more than this: a wrong key, not a value."""


@dataclass(frozen=True)
class Measure:
    """What was written: a length in ``nm`` or a ``number`` in another unit; one of the two."""

    nm: int | None = None
    number: float | None = None

    @property
    def value(self) -> int | float | None:
        return self.number if self.nm is None else self.nm


def is_length(unit: str) -> bool:
    """Whether values in this unit are lengths."""
    return unit in LENGTH_UNITS


def read_measure(text: str, *, unit: str, field: Any = "") -> Measure:
    """What a person wrote, in mm or in as a length, else as a number such as 2.5, 2,5 or 1 1/2.

    Raises ToolingError as ``parse_length`` does, and ``not_a_number``, ``ambiguous_number``.
    """
    if is_length(unit):
        known = cast(Literal["mm", "in"], unit)
        return Measure(nm=parse_length(text, unit=known, field=field, signed=True).nm)
    written = read_written(text)
    said = (written.unit if written else "").strip(" .'\"")
    if written is None or said not in ("", unit.casefold()):
        raise ToolingError(
            "not_a_number",
            _("{field}: “{text}” is no number of {unit}. Write it like 2.5 or 1 1/2."),
            field=field,
            text=text[:40],
            unit=unit,
        )
    if len(written.readings) > 1:
        raise ToolingError(
            "ambiguous_number",
            _("{field}: “{text}” can be read as {one} or as {other}. Write it without a "
              "separator of thousands."),
            field=field,
            text=text[:40],
            one=float(written.readings[0]),
            other=float(written.readings[1]),
        )  # fmt: skip
    return Measure(number=float(written.readings[0]))


def check_number(value: float, *, field: str) -> None:
    """Raise ``improbable_value`` for what no scale reads."""
    if not isfinite(value) or abs(value) > MOST:
        raise ToolingError(
            "improbable_value", _("{value} cannot be. Check the number."), value=value,
            in_field=field,
        )  # fmt: skip


def plain_measure(nm: int | None, number: float | None, unit: str) -> str:
    """The value as an exact decimal in its unit, without the unit; empty when there is none.

    An inch that no finite decimal says is given to the nearest 0.000001.
    """
    if nm is not None:
        if unit == "in":
            return exact_in(nm) or f"{float(Fraction(nm, 25_400_000)):.6f}"
        return exact_mm(nm)
    return "" if number is None else f"{number:.12g}"


def written_measure(nm: int | None, number: float | None, unit: str) -> str:
    """The value as it can be read back exactly: an inch that no finite decimal says is in mm."""
    if nm is not None and unit == "in" and exact_in(nm) is None:
        return f"{exact_mm(nm)} mm"
    if number is not None and not number.is_integer():
        return repr(number)
    return plain_measure(nm, number, unit)


def shown_measure(nm: int | None, number: float | None, unit: str) -> str:
    """The value as a sheet says it, with its unit; a dash when there is none."""
    if nm is not None:
        shown = cast(Literal["mm", "in"], unit if is_length(unit) else "mm")
        return f"{format_length(nm, shown)} {shown}"
    return "–" if number is None else f"{number:g} {unit}".strip()

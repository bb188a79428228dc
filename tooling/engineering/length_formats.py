"""Units, and lengths written out: whole nanometres as the trade or a program writes them."""

from __future__ import annotations

from typing import Literal

Unit = Literal["mm", "in"]
StripUnit = Literal["m", "ft"]

NM_PER_UM = 1_000
NM_PER_MM = 1_000_000
NM_PER_IN = 25_400_000
NM_PER_THOU = 25_400
NM_PER_M = 1_000_000_000
NM_PER_FT = 12 * NM_PER_IN
NM_PER_KM = 1_000 * NM_PER_M

NM_PER_UNIT: dict[str, int] = {"mm": NM_PER_MM, "in": NM_PER_IN, "m": NM_PER_M, "ft": NM_PER_FT}


def format_length(nm: int, unit: Unit, decimals: int | None = None) -> str:
    """A length as the trade writes it, without its unit: ``2.500`` in inches, ``63.5`` in mm.

    With ``decimals`` it has exactly so many, rounded half away from zero. Without, mm are exact
    and trimmed, inches are exact with at least three decimals; where no exact inch decimal exists
    (the length is no multiple of 127 nm) they are rounded to four.
    """
    if decimals is not None:
        return _rounded(nm, NM_PER_UNIT[unit], decimals)
    if unit == "mm":
        return exact_mm(nm)
    exact = exact_in(nm)
    return _rounded(nm, NM_PER_IN, 4) if exact is None else _padded(exact, 3)


def say_length(nm: int, unit: Unit) -> str:
    """A length with its unit, no finer than a gauge reads: ``63.508 mm``, ``2.5003 in``."""
    decimals = 3 if unit == "mm" else 4
    shown = _trimmed(_rounded(nm, NM_PER_UNIT[unit], decimals))
    return f"{_padded(shown, _least_decimals(unit))} {unit}"


def say_gauged(nm: int, unit: Unit, step_nm: int | None = None, *, written: bool = False) -> str:
    """A length with its unit and as many decimals as a gauge of that resolution shows, so that
    those of one row are alike: ``149.90 mm`` for 0.01 mm. ``step_nm`` None: a micrometer's.

    ``written``: somebody wrote it down, so it keeps its own decimals where it has more.
    """
    fine = 3 if unit == "mm" else 4
    decimals = _decimals_of(step_nm, unit) if step_nm is not None else fine
    if written:
        own = _trimmed(_rounded(nm, NM_PER_UNIT[unit], fine)).partition(".")[2]
        decimals = max(decimals, len(own))
    return f"{_rounded(nm, NM_PER_UNIT[unit], decimals)} {unit}"


def _decimals_of(step_nm: int, unit: Unit) -> int:
    """The fewest decimals whose last place is no coarser than the step."""
    least, most = (2, 5) if unit == "mm" else (3, 6)
    fits = (n for n in range(least, most) if NM_PER_UNIT[unit] <= step_nm * 10**n)
    return next(fits, most)


def exact_mm(nm: int) -> str:
    """The length in mm as an exact decimal without trailing zeros; every nm count has one."""
    return _trimmed(_rounded(nm, NM_PER_MM, 6))


def exact_in(nm: int) -> str | None:
    """The length in inches as an exact decimal without trailing zeros; None where none exists.

    25 400 000 = 2⁶ · 5⁵ · 127, so a decimal inch is exact just when 127 nm divides the length.
    """
    return _trimmed(_rounded(nm, NM_PER_IN, 6)) if nm % 127 == 0 else None


def format_strip_length(nm: int, unit: StripUnit, decimals: int | None = None) -> str:
    """A length of strip without its unit: exact and trimmed in m; in ft exact or two decimals.

    With ``decimals`` it has exactly so many, rounded half away from zero.
    """
    if decimals is not None:
        return _rounded(nm, NM_PER_UNIT[unit], decimals)
    if unit == "m":
        return _trimmed(_rounded(nm, NM_PER_M, 9))
    return _trimmed(_rounded(nm, NM_PER_FT, 7 if nm % 381 == 0 else 2))


def _rounded(nm: int, nm_per_unit: int, decimals: int) -> str:
    """nm ÷ nm_per_unit with so many decimals, half away from zero, never ``-0``."""
    scaled = (2 * abs(nm) * 10**decimals + nm_per_unit) // (2 * nm_per_unit)
    sign = "-" if nm < 0 and scaled else ""
    digits = str(scaled).rjust(decimals + 1, "0")
    return f"{sign}{digits[:-decimals]}.{digits[-decimals:]}" if decimals else f"{sign}{digits}"


def _trimmed(decimal: str) -> str:
    return decimal.rstrip("0").rstrip(".") if "." in decimal else decimal


def _padded(decimal: str, least: int) -> str:
    whole, _point, places = decimal.partition(".")
    return f"{whole}.{places.ljust(least, '0')}" if least or places else whole


def _least_decimals(unit: Unit) -> int:
    return 3 if unit == "in" else 0

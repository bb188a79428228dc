"""Numbers as the trade writes them: decimals with point or comma, fractions, grouped thousands.

A text that people in different places read differently keeps every reading; nothing is guessed.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

LONGEST = 60
"""No length is written in more characters; longer texts are not read at all."""

_ALIKE = str.maketrans(
    {
        **dict.fromkeys("\u2010\u2011\u2012\u2013\u2212", "-"),
        **dict.fromkeys("\u2044\u2215", "/"),
        **dict.fromkeys("\u2032\u2018\u2019\u02b9\u00b4`", "'"),
        **dict.fromkeys("\u2033\u201c\u201d\u201e\u02ba", '"'),
        "\u03bc": "u",
        "\u00b5": "u",
    }
)
_WHOLE = re.compile(
    r"(?P<sign>[-+]?)\s*(?P<number>[0-9.,/][-0-9.,/ ]*?)\s*(?P<unit>[a-z\"'#][a-z\"'. ]*)?\.?"
)


@dataclass(frozen=True)
class Written:
    """A number and what stood behind it. ``readings`` has two entries where it is ambiguous."""

    readings: tuple[Fraction, ...]
    is_fraction: bool
    unit: str


def plain(text: str) -> str:
    """The text in plain characters: ½ as 1/2, primes as quotes, hard spaces as spaces."""
    spelled = "".join(_spelled(character) for character in text.translate(_ALIKE))
    return " ".join(
        unicodedata.normalize("NFKC", spelled).translate(_ALIKE).replace("''", '"').split()
    )


def _spelled(character: str) -> str:
    """A single-character fraction with a space before it, so that 2½ does not become 21/2."""
    if unicodedata.decomposition(character).startswith("<fraction>"):
        return " " + unicodedata.normalize("NFKC", character)
    return character


def read_written(text: str) -> Written | None:
    """The number at the start of a text and the unit word after it; None if there is no number.

    A leading diameter sign is passed over. The unit word comes back in lower case, bare.
    """
    if len(text) > LONGEST:
        return None
    found = _WHOLE.fullmatch(plain(text.lstrip(" \u00a0øØ⌀∅")).lower())
    if not found:
        return None
    number = found["number"]
    for pattern, read in _PATTERNS:
        match = pattern.fullmatch(number)
        if match:
            readings = read(match)
            if not readings:
                return None
            sign = -1 if found["sign"] == "-" else 1
            unit = (found["unit"] or "").strip(" .")
            return Written(tuple(sign * each for each in readings), "/" in number, unit)
    return None


Readings = tuple[Fraction, ...]


def _mixed(match: re.Match[str]) -> Readings:
    whole, top, bottom = (int(part) for part in match.groups())
    if bottom == 0 or top >= bottom:
        return ()
    return (whole + Fraction(top, bottom),)


def _fraction(match: re.Match[str]) -> Readings:
    top, bottom = (int(part) for part in match.groups())
    return (Fraction(top, bottom),) if bottom else ()


def _point_decimal(match: re.Match[str]) -> Readings:
    return (Fraction(match[0]),)


def _comma_decimal(match: re.Match[str]) -> Readings:
    return (Fraction(match[0].replace(",", ".")),)


def _comma_or_thousand(match: re.Match[str]) -> Readings:
    return Fraction(match[0].replace(",", ".")), Fraction(match[0].replace(",", ""))


def _space_or_thousand(match: re.Match[str]) -> Readings:
    return Fraction(match[0].replace(" ", ".")), Fraction(match[0].replace(" ", ""))


def _grouped_by_comma_or_space(match: re.Match[str]) -> Readings:
    return (Fraction(match[0].replace(",", "").replace(" ", "")),)


def _grouped_with_decimal_comma(match: re.Match[str]) -> Readings:
    bare = match[0].replace(".", "").replace(" ", "")
    return (Fraction(bare.replace(",", ".")),)


_PATTERNS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], Readings]], ...] = (
    (re.compile(r"([0-9]+)(?: ?- ?| )([0-9]+) ?/ ?([0-9]+)"), _mixed),
    (re.compile(r"([0-9]+) ?/ ?([0-9]+)"), _fraction),
    (re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+"), _point_decimal),
    (re.compile(r"[1-9][0-9]{0,2},[0-9]{3}"), _comma_or_thousand),
    (re.compile(r"[0-9]*,[0-9]+"), _comma_decimal),
    (re.compile(r"[1-9][0-9]{0,2} [0-9]{3}"), _space_or_thousand),
    (re.compile(r"[1-9][0-9]{0,2}(,[0-9]{3}){2,}"), _grouped_by_comma_or_space),
    (re.compile(r"[1-9][0-9]{0,2}(,[0-9]{3})+\.[0-9]+"), _grouped_by_comma_or_space),
    (re.compile(r"[1-9][0-9]{0,2}( [0-9]{3})+\.[0-9]+"), _grouped_by_comma_or_space),
    (re.compile(r"[1-9][0-9]{0,2}( [0-9]{3}){2,}"), _grouped_by_comma_or_space),
    (re.compile(r"[1-9][0-9]{0,2}(\.[0-9]{3})+,[0-9]+"), _grouped_with_decimal_comma),
    (re.compile(r"[1-9][0-9]{0,2}( [0-9]{3})+,[0-9]+"), _grouped_with_decimal_comma),
)

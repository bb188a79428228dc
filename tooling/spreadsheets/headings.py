"""Headings made comparable, and the unit that a heading names."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from difflib import SequenceMatcher
from functools import lru_cache

_UNIT_WORDS: dict[str, tuple[str, ...]] = {
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "in": ("in", "in.", "inch", "inches", "ins", '"', "”", "''"),
    "m": ("m", "metre", "metres", "meter", "meters", "lfm"),
    "km": ("km", "kilometres", "kilometers"),
    "ft": ("ft", "ft.", "feet", "foot", "lf", "lin ft", "'"),
    "kg": ("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"),
    "g": ("g", "gram", "grams"),
    "lb": ("lb", "lbs", "lb.", "lbs.", "pound", "pounds"),
}
UNIT_OF_WORD = {word: unit for unit, words in _UNIT_WORDS.items() for word in words}
_SAYS_UNIT = {"feet": "ft", "footage": "ft", "metres": "m", "meters": "m"}
_BRACKETED = re.compile(r"[(\[{]\s*([^)\]}]*?)\s*[)\]}]")
_TYPO = 0.85
"""Two words at least so alike are one with a slip of the pen."""
_LETTERS = re.compile(r"\[[A-Z]{1,3}\]'*$")
_SAME = {
    "diam": "dia", "diameter": "dia", "ø": "dia", "⌀": "dia", "number": "no", "nr": "no",
    "num": "no", "#": "no", "nos": "no", "centre": "center", "centres": "centers",
    "gage": "gauge", "minimum": "min", "maximum": "max", "qty": "quantity", "loc": "location",
    "dwg": "drawing", "drg": "drawing", "rev": "revision", "cust": "customer", "desc":
    "description", "centreline": "centerline", "sta": "station", "stn": "station",
}  # fmt: skip


def heading_unit(heading: str, units: tuple[str, ...]) -> str | None:
    """The one of ``units`` that the heading names: ``Bore (in)``, ``width mm``, ``OD, inch``."""
    heading = _LETTERS.sub("", heading).strip()
    candidates = [match.strip().lower() for match in _BRACKETED.findall(heading)]
    bare = _BRACKETED.sub(" ", heading).strip().lower()
    words = re.split(r"[\s,/_\-]+", bare)
    candidates += words[-1:] if len(words) > 1 else []
    candidates += ["in"] if bare.endswith(('"', "”")) else []
    candidates += [unit for word, unit in _SAYS_UNIT.items() if word in words]
    for candidate in candidates:
        if UNIT_OF_WORD.get(candidate) in units:
            return UNIT_OF_WORD[candidate]
    return None


def plain(heading: str) -> str:
    """The heading in small plain words: no brackets with units, no marks, one word for one thing.

    >>> plain("Bore Diam. (in)")
    'bore dia'
    """
    text = _LETTERS.sub("", heading)
    text = _BRACKETED.sub(lambda found: _keep(found[1]), text)
    text = unicodedata.normalize("NFKC", text).casefold()
    text = re.sub(r"(?<=\b[a-z])\.(?=[a-z]\b)", "", text)
    words = re.findall(r"[^\W_]+|#|⌀|/", text.replace("/", " "))
    return " ".join(_SAME.get(word, word) for word in words)


def _keep(inside: str) -> str:
    return " " if inside.strip().lower() in UNIT_OF_WORD else f" {inside} "


def without_unit(words: str, units: tuple[str, ...]) -> str:
    """The plain heading without a unit word at its end: ``width mm`` → ``width``."""
    first, _space, last = words.rpartition(" ")
    return first if first and UNIT_OF_WORD.get(last) in units else words


def likeness(heading: str, word: str) -> float:
    """How alike two plain headings are, 0 to 1: equal, same words, one within the other, typo."""
    if heading == word:
        return 1.0
    ours, theirs = _parts(heading), _parts(word)
    if theirs <= ours:
        if len(theirs) == len(ours):
            return 0.95
        if theirs and len(word) > 2:
            return 0.6 + 0.25 * len(theirs) / len(ours)
    shorter, longer = sorted((len(heading), len(word)))
    if shorter < 5 or 2 * shorter < _TYPO * (shorter + longer) or _at_most(heading, word) < _TYPO:
        return 0.0
    ratio = SequenceMatcher(None, heading, word).ratio()
    return 0.9 * ratio if ratio >= _TYPO else 0.0


def _at_most(one: str, other: str) -> float:
    """An upper bound of the ratio, cheaper than itself: by which letters there are, then by how
    many of each."""
    both = len(one) + len(other)
    ours, theirs = _letters(one), _letters(other)
    lacking = len(ours.keys() - theirs.keys())
    if 2 * (len(one) - lacking) < _TYPO * both:
        return 2 * (len(one) - lacking) / both
    return 2 * sum(min(n, theirs.get(each, 0)) for each, n in ours.items()) / both


@lru_cache(maxsize=20_000)
def _parts(text: str) -> frozenset[str]:
    return frozenset(text.split())


@lru_cache(maxsize=20_000)
def _letters(text: str) -> dict[str, int]:
    return dict(Counter(text))

"""A first guess at what the parts of a column stand for, for a person to look over."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache

from tooling.errors import ToolingError
from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.headings import plain
from tooling.spreadsheets.measures import Reading
from tooling.spreadsheets.splits import parts_of, take_apart
from tooling.spreadsheets.values import read_value

_NUMBERS = (FieldType.INTEGER, FieldType.NUMBERS)
Rule = Callable[[int, Sequence[Field]], Field | None]


def suggest_parts(
    pattern: str, texts: Iterable[str], kind: Kind, taken: Iterable[str]
) -> dict[int, str]:
    """Part (from 0) → field. ``taken``: fields that other columns fill already.

    A word before a part names it (``P07``: pass 7); a part whose texts are all among a field's
    choices is that (T, B: shaft); figures that are left are what the kind still needs.
    """
    kinds = parts_of(pattern)
    apart = [parts for text in texts if (parts := take_apart(text, pattern)) is not None]
    values = [sorted({parts[at] for parts in apart}) for at in range(len(kinds))]
    free = [field for field in kind.fields if field.name not in set(taken)]
    found: dict[int, Field] = {}
    for rule in (_by_label(pattern), _by_choice(values)):
        _follow(rule, range(len(kinds)), free, found)
    first = min(found, default=0)
    behind = [*range(first, len(kinds)), *range(first)]
    _follow(_by_need(kinds, sure=bool(found)), behind, free, found)
    return {at: field.name for at, field in found.items()}


def _follow(
    rule: Rule, parts: Iterable[int], free: Sequence[Field], found: dict[int, Field]
) -> None:
    """Adds what the rule finds for the parts that have no field yet, each field once."""
    for at in parts:
        left = [field for field in free if field not in found.values()]
        named = rule(at, left) if at not in found else None
        if named is not None:
            found[at] = named


def _by_label(pattern: str) -> Rule:
    """The word that stands right before a part names a field."""
    before = re.split(r"\{\w+\}", pattern)[:-1]
    labels = [plain(re.sub(r"[^\w ]+", " ", text)).rpartition(" ")[2] for text in before]

    def rule(at: int, fields: Sequence[Field]) -> Field | None:
        return next((each for each in fields if labels[at] and labels[at] in _words(each)), None)

    return rule


def _by_choice(values: Sequence[Sequence[str]]) -> Rule:
    """All texts of a part are among the choices of a field."""

    def rule(at: int, fields: Sequence[Field]) -> Field | None:
        choices = [each for each in fields if each.type is FieldType.CHOICE]
        needed = sorted(choices, key=lambda each: not each.required)
        return next((each for each in needed if values[at] and _all_read(each, values[at])), None)

    return rule


def _by_need(kinds: Sequence[str], *, sure: bool) -> Rule:
    """Figures are the next whole number that a row cannot do without; beside parts that are
    known for sure, also its next code."""

    def rule(at: int, fields: Sequence[Field]) -> Field | None:
        if kinds[at] not in ("number", "word"):
            return None
        needed = [each for each in fields if each.required]
        numbers = [each for each in needed if each.type in _NUMBERS and kinds[at] == "number"]
        codes = [each for each in needed if each.type is FieldType.CODE and sure]
        return next(iter([*numbers, *codes]), None)

    return rule


@lru_cache(maxsize=1_000)
def _spelled(name: str, label: str, words: tuple[str, ...]) -> frozenset[str]:
    return frozenset(plain(word) for word in (name, label, *words))


def _words(field: Field) -> frozenset[str]:
    return _spelled(field.name, field.label, field.words)


def _all_read(field: Field, texts: Sequence[str]) -> bool:
    try:
        for text in texts:
            read_value(field, text, Reading())
    except ToolingError:
        return False
    return True

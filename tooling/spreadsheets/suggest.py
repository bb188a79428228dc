"""A first guess at a mapping, for a person to look over."""

from __future__ import annotations

from functools import lru_cache

from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.headings import heading_unit, likeness, plain, without_unit
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.sheets import Sheet

_LEAST_SCORE = 0.7
_LEAST_KIND_SCORE = 0.35


@lru_cache(maxsize=512)
def _words(field: str, label: str, words: tuple[str, ...]) -> dict[str, float]:
    """The plain spellings of a field with their weight: its own name beats a trade word."""
    spelled = {plain(word): 0.98 for word in words}
    return {**spelled, plain(field): 1.0, plain(label): 1.0}


@lru_cache(maxsize=20_000)
def _named(heading: str, kind: str) -> tuple[tuple[int, float], ...]:
    """The fields, by their numbers, that a heading names well enough to be suggested."""
    found = [(at, score(heading, field)) for at, field in enumerate(KINDS[kind].fields)]
    return tuple(each for each in found if each[1] >= _LEAST_SCORE)


def score(heading: str, field: Field) -> float:
    """How well a heading names a field, 0 to 1; 0.7 is enough to be suggested."""
    units = field.units
    bare = without_unit(plain(heading), units)
    if not bare:
        return 0.0
    best = 0.0
    for word, weight in _words(field.name, field.label, field.words).items():
        if (alike := likeness(bare, word)) and weight * alike > best:
            best = weight * alike
    if units and heading_unit(heading, units):
        return min(1.0, best + 0.01)
    return best


def _matches(sheet: Sheet, kind: Kind) -> dict[str, tuple[str, float]]:
    """Field → (heading, score), the best pairs first, each heading and field once."""
    pairs = [
        (-found, at, column, kind.fields[at].name, heading)
        for column, heading in enumerate(sheet.headings)
        for at, found in _named(heading, kind.name)
    ]
    matched: dict[str, tuple[str, float]] = {}
    used: set[str] = set()
    for negative, _at, _column, name, heading in sorted(pairs):
        if name not in matched and heading not in used:
            matched[name] = (heading, -negative)
            used.add(heading)
    return matched


def suggest_mapping(sheet: Sheet, kind: Kind) -> Mapping:
    """The likeliest column for each field, with the units that the headings name."""
    columns = {name: heading for name, (heading, _score) in _matches(sheet, kind).items()}
    units = {}
    for name, heading in columns.items():
        unit = heading_unit(heading, kind.field(name).units)
        if unit:
            units[name] = unit
    return Mapping(kind.name, columns, units)


def unmatched(sheet: Sheet, mapping: Mapping) -> list[str]:
    """The headings that fill no field: what the import would leave out."""
    used = set(mapping.columns.values())
    return [heading for heading in sheet.headings if heading not in used]


def suggest_kind(sheet: Sheet) -> Kind | None:
    """What the sheet most likely holds, by its headings and its name; None when unclear."""
    scored = [(_kind_score(sheet, kind), -at, kind) for at, kind in enumerate(KINDS.values())]
    best, _at, kind = max(scored, key=lambda each: each[:2])
    return kind if best >= _LEAST_KIND_SCORE else None


def _kind_score(sheet: Sheet, kind: Kind) -> float:
    matched = _matches(sheet, kind)
    required = [field.name for field in kind.fields if field.required]
    covered = sum(name in matched for name in required) / max(1, len(required))
    understood = sum(found[1] for found in matched.values()) / max(1, len(sheet.headings))
    named = any(likeness(plain(sheet.name), plain(word)) >= 0.9 for word in _titles(kind))
    return 0.5 * covered * understood + 0.3 * understood + (0.4 if named and matched else 0.0)


def _titles(kind: Kind) -> tuple[str, ...]:
    return (kind.name, kind.label, *kind.words)


def lengths_without_unit(sheet: Sheet, mapping: Mapping, kind: Kind) -> list[str]:
    """The mapped fields whose unit neither the heading, the mapping nor a unit column names."""
    if kind.unit_field and (kind.unit_field in mapping.columns or kind.unit_field in mapping.fixed):
        wanting: tuple[FieldType, ...] = (FieldType.STRIP_LENGTH, FieldType.MASS)
    else:
        wanting = (FieldType.LENGTH, FieldType.STRIP_LENGTH, FieldType.MASS)
    return [
        name
        for name in mapping.columns
        if kind.field(name).type in wanting and name not in mapping.units
    ]

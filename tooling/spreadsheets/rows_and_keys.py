"""What one row of a sheet says, what is wrong with it, and what makes it the row it is."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from hashlib import blake2b
from typing import Any

from tooling.spreadsheets.fields import Kind


@dataclass(frozen=True)
class Row:
    """The values of one row: every mapped field, None where the cell is blank.

    ``units``: the unit in which each measured value was written. ``above``: the fields whose
    value stands in a row above (merged or blank cells that take it over).
    """

    values: dict[str, Any]
    units: dict[str, str] = field(default_factory=dict)
    sheet: str = ""
    row: int = 0
    above: frozenset[str] = field(default=frozenset(), compare=False)

    def unit(self, kind: Kind) -> str | None:
        """``mm`` or ``in``: as the row says, else as most of its lengths are written."""
        if kind.unit_field and self.values.get(kind.unit_field):
            return str(self.values[kind.unit_field])
        written = [unit for unit in self.units.values() if unit in ("mm", "in")]
        return max(("mm", "in"), key=written.count) if written else None


@dataclass(frozen=True)
class Problem:
    """What is wrong, and where. ``row`` is the sheet's own row number, ``column`` its heading."""

    sheet: str
    row: int
    column: str
    value: str
    code: str
    message: str

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)


def row_key(kind: Kind, row: Row) -> tuple[str, ...] | None:
    """The names of the fields that identify the row; None when it has none of the kind's keys."""
    for names in kind.keys:
        wanted = [name for name in names if name not in kind.keys_optional]
        if all(row.values.get(name) is not None for name in wanted):
            return names
    return None


def folded(value: Any) -> Any:
    return value.casefold() if isinstance(value, str) else value


def key_hash(names: tuple[str, ...], row: Row) -> int:
    """A number for what these fields of a row say, in any case of letters.

    Eight bytes stand for the whole key: of a quarter of a million rows, two that differ have the
    same once in five hundred million sheets.
    """
    key = repr((names, *(folded(row.values.get(name)) for name in names)))
    return int.from_bytes(blake2b(key.encode(), digest_size=8).digest())

"""How one shop's headings stand for our fields: what a person can change and keep."""

from __future__ import annotations

from collections.abc import Iterable
from collections.abc import Mapping as MappingOf
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.dates import ORDERS
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.splits import part_heading, parts_of

MARKS = (".", ",")
LETTERS = "letters"


@dataclass(frozen=True)
class Mapping:
    """Which column fills which field, and how its cells are to be read.

    ``columns``: field → heading. ``units``: field → unit of the column (a unit written in a cell
    wins). ``fixed``: field → text that every row gets. ``fill_down``: fields whose blank cells
    take the value above; ``spread``: fields whose merged cells count for every row they cover.
    ``accept``: fields whose improbable values a person has accepted. ``date_order`` and
    ``decimal_mark`` are None until a person says. ``splits``: heading → pattern that takes its
    cells apart; ``columns`` may then name the parts (``Position ›1``). ``copies`` is
    ``letters`` where records that come twice get copy letters, None where that is a problem.
    """

    kind: str
    columns: MappingOf[str, str] = field(default_factory=dict)
    units: MappingOf[str, str] = field(default_factory=dict)
    date_order: str | None = None
    decimal_mark: str | None = None
    fixed: MappingOf[str, str] = field(default_factory=dict)
    fill_down: frozenset[str] = frozenset()
    accept: frozenset[str] = frozenset()
    spread: frozenset[str] = frozenset()
    splits: MappingOf[str, str] = field(default_factory=dict)
    copies: str | None = None

    def __post_init__(self) -> None:
        """Raises ToolingError ``bad_mapping`` where a name, unit or order does not exist,
        ``bad_pattern`` where a column cannot be taken apart so."""
        kind = find_kind(self.kind)
        down = (*self.fill_down, *self.spread)
        for name in (*self.columns, *self.units, *self.fixed, *down, *self.accept):
            if name not in kind.by_name:
                raise _bad(_("there is no field “{value}” in “{kind}”"), name, kind)
        for name, unit in self.units.items():
            if unit not in kind.field(name).units:
                raise _bad(_("“{value}” is no unit for this column"), unit, kind)
        if self.date_order not in (None, *ORDERS):
            raise _bad(_("“{value}” is no order of a date"), self.date_order, kind)
        if self.decimal_mark not in (None, *MARKS):
            raise _bad(_("“{value}” is no decimal mark"), self.decimal_mark, kind)
        if self.copies not in ((None, LETTERS) if kind.letters else (None,)):
            raise _bad(_("copies cannot be told apart by “{value}”"), self.copies, kind)
        for pattern in self.splits.values():
            parts_of(pattern)

    @property
    def parts(self) -> dict[str, tuple[str, int]]:
        """What the parts of the split columns are called → (heading, which part from 0)."""
        return {
            part_heading(heading, number): (heading, number - 1)
            for heading, pattern in self.splits.items()
            for number in range(1, len(parts_of(pattern)) + 1)
        }

    @property
    def headings(self) -> set[str]:
        """The headings of the sheet that the mapping needs."""
        parts = self.parts
        return {parts[name][0] if name in parts else name for name in self.columns.values()}

    def to_dict(self) -> dict[str, Any]:
        """The mapping as JSON takes it, the same for equal mappings."""
        return {
            "kind": self.kind,
            "columns": dict(sorted(self.columns.items())),
            "units": dict(sorted(self.units.items())),
            "date_order": self.date_order,
            "decimal_mark": self.decimal_mark,
            "fixed": dict(sorted(self.fixed.items())),
            "fill_down": sorted(self.fill_down),
            "accept": sorted(self.accept),
            "spread": sorted(self.spread),
            "splits": dict(sorted(self.splits.items())),
            "copies": self.copies,
        }

    @classmethod
    def from_dict(cls, data: MappingOf[str, Any]) -> Mapping:
        """The mapping that ``to_dict`` gave. Raises ToolingError ``bad_mapping``."""
        if not isinstance(data, dict) or not isinstance(data.get("kind"), str):
            raise ToolingError("bad_mapping", _("The mapping names no kind of sheet."))
        return cls(
            kind=data["kind"],
            columns=_texts(data.get("columns")),
            units=_texts(data.get("units")),
            date_order=data.get("date_order") or None,
            decimal_mark=data.get("decimal_mark") or None,
            fixed=_texts(data.get("fixed")),
            fill_down=frozenset(_names(data.get("fill_down"))),
            accept=frozenset(_names(data.get("accept"))),
            spread=frozenset(_names(data.get("spread"))),
            splits=_texts(data.get("splits")),
            copies=data.get("copies") or None,
        )


def _texts(data: Any) -> dict[str, str]:
    if data is None:
        return {}
    if not isinstance(data, dict) or not all(isinstance(v, str) for v in data.values()):
        raise ToolingError("bad_mapping", _("The mapping is not made of names and headings."))
    return {str(name): value for name, value in data.items() if value}


def _names(data: Any) -> Iterable[str]:
    if data is None:
        return ()
    if not isinstance(data, (list, tuple)) or not all(isinstance(v, str) for v in data):
        raise ToolingError("bad_mapping", _("The mapping is not made of names and headings."))
    return data


def _bad(why: Any, value: object, kind: Kind) -> ToolingError:
    return ToolingError(
        "bad_mapping",
        _("The mapping cannot be used: {why}. Choose it again."),
        why=str(why).format(value=value, kind=kind.label),
    )

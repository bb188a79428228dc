"""What an import would do, worked out before anything is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Model

from tooling.errors import ToolingError
from tooling.spreadsheets.rows import Problem, Row

RANK = {"same": 0, "change": 1, "create": 2}


@dataclass
class Outcome:
    """What one row of a sheet does, and which values it changes."""

    sheet: str
    row: int
    kind: str
    what: str = "same"
    key: str = ""
    changes: dict[str, tuple[Any, Any]] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        changes = {name: [readable(a), readable(b)] for name, (a, b) in self.changes.items()}
        return {
            "sheet": self.sheet,
            "row": self.row,
            "kind": self.kind,
            "what": self.what,
            "key": self.key,
            "changes": changes,
        }


@dataclass
class Edit:
    """One existing record with the fields that change."""

    record: Model
    key: str
    before: dict[str, Any] = field(default_factory=dict)
    after: dict[str, Any] = field(default_factory=dict)


class Plan:
    """Records to make, records to change, one outcome per row, every problem."""

    def __init__(self, *, at: datetime) -> None:
        self.at = at
        self.created: dict[type[Model], list[Model]] = {}
        self.keys: dict[int, str] = {}
        self.edits: dict[tuple[type[Model], int], Edit] = {}
        self.outcomes: list[Outcome] = []
        self.problems: list[Problem] = []
        self.resized: dict[int, Model] = {}
        self._row: Row | None = None

    def begin(self, row: Row, kind: str) -> None:
        """What is made and changed from now on is this row's doing."""
        self._row = row
        self.outcomes.append(Outcome(row.sheet, row.row, kind))

    @property
    def counts(self) -> dict[str, int]:
        tally = Counter(outcome.what for outcome in self.outcomes)
        return {what: tally.get(what, 0) for what in ("create", "change", "same")}

    def create(self, model: type[Model], key: str, *, quiet: bool = False, **values: Any) -> Any:
        """Plan a new record; it may point to others that are planned too."""
        record = model(**values)
        self.created.setdefault(model, []).append(record)
        self.keys[id(record)] = key
        if not quiet:
            self._note("create", key)
        return record

    def edit(self, record: Model, key: str, **values: Any) -> None:
        """Set the values that differ; ``None``: the sheet does not say, nothing changes."""
        wanted = {name: value for name, value in values.items() if value is not None}
        differing = {
            name: value for name, value in wanted.items() if not _same(getattr(record, name), value)
        }
        if record.pk is None:
            for name, value in differing.items():
                setattr(record, name, value)
            return
        if differing:
            self._edit(record, key, differing)

    def _edit(self, record: Model, key: str, differing: dict[str, Any]) -> None:
        edit = self.edits.setdefault((type(record), record.pk), Edit(record, key))
        for name, value in differing.items():
            before = getattr(record, name)
            edit.before.setdefault(name, readable(before))
            edit.after[name] = readable(value)
            self._note("change", key, {name: (before, value)})
            setattr(record, name, value)

    def changed(self, key: str, name: str, before: Any, after: Any) -> None:
        """A change that is history rather than an edit: a place, a count, a reading."""
        self._note("change", key, {name: (before, after)})

    def _note(self, what: str, key: str, changes: dict[str, tuple[Any, Any]] | None = None) -> None:
        outcome = self.outcomes[-1]
        if RANK[what] > RANK[outcome.what]:
            outcome.what = what
        outcome.key = outcome.key or key
        outcome.changes.update(changes or {})

    def problem(self, column: str, value: Any, error: ToolingError) -> None:
        """Something in the present row that keeps the import from being applied."""
        assert self._row is not None
        shown = "" if value is None else str(value)
        self.problems.append(
            Problem(self._row.sheet, self._row.row, column, shown, error.code, error.message)
        )

    def records(self, model: type[Model]) -> Iterable[Any]:
        return self.created.get(model, [])


def _same(present: Any, wanted: Any) -> bool:
    if isinstance(present, Model) and isinstance(wanted, Model):
        return present is wanted or (present.pk is not None and present.pk == wanted.pk)
    if isinstance(present, Decimal) or isinstance(wanted, Decimal):
        return present is not None and Decimal(str(present)) == Decimal(str(wanted))
    return bool(present == wanted)


def readable(value: Any) -> Any:
    """A value as JSON can hold it and a person can read it."""
    if isinstance(value, Model):
        return str(value)
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    return value

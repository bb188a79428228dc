"""What an import would do, worked out before anything is written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypeVar

from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.services.importing.tell import told_changes, told_value
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.rows import Problem, Row

RANK = {"same": 0, "change": 1, "create": 2}
Found = TypeVar("Found")


@dataclass
class Outcome:
    """What one row of a sheet does, and which values it changes."""

    row: Row
    kind: Kind
    what: str = "same"
    key: str = ""
    changes: dict[str, tuple[Any, Any]] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        return {
            "sheet": self.row.sheet,
            "row": self.row.row,
            "kind": self.kind.name,
            "what": self.what,
            "key": self.key,
            "changes": told_changes(self.changes, self.kind, self.row.unit(self.kind)),
        }


@dataclass
class Edit:
    """One existing record with the fields that change."""

    record: Model
    key: str
    before: dict[str, Any] = field(default_factory=dict)
    after: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Wish:
    """What a row says a piece is now, until it is known what history will say by itself."""

    outcome: Outcome
    piece: Any
    title: str
    name: str
    value: int
    happened_at: datetime
    dated: bool
    unit: str
    strip_class: str = ""


class Plan:
    """Records to make, change and take away, one outcome per row, every problem."""

    def __init__(self, *, at: datetime) -> None:
        self.at = at
        self.created: dict[type[Model], list[Model]] = {}
        self.keys: dict[int, str] = {}
        self.edits: dict[tuple[type[Model], int], Edit] = {}
        self.removed: list[tuple[Model, str]] = []
        self.wishes: list[Wish] = []
        self.moves: list[tuple[Any, Outcome]] = []
        self.waiting: list[Row] = []
        self.outcomes: list[Outcome] = []
        self.problems: list[Problem] = []
        self.resized: dict[int, tuple[Model, Outcome]] = {}
        self._headings: dict[str, Mapping[str, str]] = {}
        self._spoken_of: dict[Any, Row] = {}

    def read_as(self, sheet: str, columns: Mapping[str, str]) -> None:
        """Problems of this sheet name its own headings: ``columns`` is field → heading."""
        self._headings[sheet] = columns

    def begin(self, row: Row, kind: Kind) -> None:
        """What is made and changed from now on is this row's doing."""
        self.outcomes.append(Outcome(row, kind))

    @contextmanager
    def of_row(self, row: Row, kind: Kind, column: str) -> Iterator[None]:
        """``begin``, and any stated problem on the way belongs to the row, by default to
        ``column``."""
        self.begin(row, kind)
        try:
            yield
        except ToolingError as error:
            self.refuse(self.outcomes[-1], column, error)

    def look(self, column: str, find: Callable[[Any], Found], value: Any) -> Found:
        """``find(value)``; a problem with it stands in this column."""
        try:
            return find(value)
        except ToolingError as error:
            error.values.setdefault("in_field", column)
            raise

    @property
    def counts(self) -> dict[str, int]:
        tally = Counter(outcome.what for outcome in self.outcomes)
        return {what: tally.get(what, 0) for what in ("create", "change", "same")}

    def speak_of(self, record: Model, name: str) -> None:
        """One row speaks of a record: a second one raises ToolingError ``duplicate_record``."""
        row = self.outcomes[-1].row
        key = (type(record), record.pk) if record.pk else id(record)
        first = self._spoken_of.setdefault(key, row)
        if first is not row:
            raise ToolingError(
                "duplicate_record",
                _("Row {row} of “{sheet}” speaks of {name} already. Leave one of the two, or "
                  "tell them apart."),
                row=first.row, sheet=first.sheet, name=name,
            )  # fmt: skip

    def create(self, model: type[Model], key: str, *, quiet: bool = False, **values: Any) -> Any:
        """Plan a new record; it may point to others that are planned too."""
        return self.add(model(**values), key, quiet=quiet)

    def add(self, record: Any, key: str, *, quiet: bool = False) -> Any:
        """Plan a record that stands ready."""
        self.created.setdefault(type(record), []).append(record)
        self.keys[id(record)] = key
        if not quiet:
            self.note("create", key)
        return record

    def edit(self, record: Model, key: str, **values: Any) -> bool:
        """Set the values that differ; ``None``: the sheet does not say, nothing changes.

        Whether an existing record changes.
        """
        wanted = {name: value for name, value in values.items() if value is not None}
        differing = {
            name: value for name, value in wanted.items() if not _same(getattr(record, name), value)
        }
        if record.pk is None:
            for name, value in differing.items():
                setattr(record, name, value)
        elif differing:
            self._edit(record, key, differing)
        return bool(record.pk and differing)

    def _edit(self, record: Model, key: str, differing: dict[str, Any]) -> None:
        edit = self.edits.setdefault((type(record), record.pk), Edit(record, key))
        for name, value in differing.items():
            before = getattr(record, name)
            edit.before.setdefault(name, readable(before))
            edit.after[name] = readable(value)
            self.note("change", key, {name: (before, value)})
            setattr(record, name, value)

    def as_edited(self, record: Found) -> Found:
        """The record as this plan leaves it."""
        edit = self.edits.get((type(record), record.pk))  # type: ignore[arg-type, attr-defined]
        return record if edit is None else edit.record  # type: ignore[return-value]

    def remove(self, record: Model, key: str) -> None:
        """Plan that an existing record goes."""
        self.removed.append((record, key))

    def changed(self, key: str, name: str, before: Any, after: Any) -> None:
        """A change that is history rather than an edit: a place, a count, a reading."""
        self.note("change", key, {name: (before, after)})

    def note(
        self,
        what: str,
        key: str,
        changes: dict[str, tuple[Any, Any]] | None = None,
        outcome: Outcome | None = None,
    ) -> None:
        """The row does this too; the strongest of what it does counts."""
        outcome = outcome or self.outcomes[-1]
        if RANK[what] > RANK[outcome.what]:
            outcome.what = what
        outcome.key = outcome.key or key
        outcome.changes.update(changes or {})

    def refuse(self, outcome: Outcome, column: str, error: ToolingError) -> None:
        """Something in a row keeps the import from being applied; the error may name the field."""
        named = str(error.values.get("in_field", column)).removesuffix("_nm")
        fields = outcome.kind.by_name
        name = named if named in fields else column
        row = outcome.row
        heading = self._headings.get(row.sheet, {}).get(name)
        told = told_value(fields[name], row.values.get(name), row.units.get(name))
        self.problems.append(
            Problem(
                row.sheet, row.row, heading or fields[name].label, told, error.code, error.message
            )
        )

    def records(self, model: type[Model]) -> Iterable[Any]:
        return self.created.get(model, [])


def same_record(one: Model | None, other: Model | None) -> bool:
    """Whether both are the same record, saved or planned."""
    return one is other or (
        one is not None and other is not None and one.pk is not None and one.pk == other.pk
    )


def _same(present: Any, wanted: Any) -> bool:
    if isinstance(present, Model) and isinstance(wanted, Model):
        return same_record(present, wanted)
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

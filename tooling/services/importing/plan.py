"""What an import would do, worked out before anything is written.

A plan is filled a few hundred rows at a time. After each such part ``flush`` puts what was
planned into the stage's tables, so that a plan takes as much memory for fifty thousand rows as
for five hundred. Only the small things that everything points to (owners, places, mills, sets)
are kept as they are until ``close``.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypeVar

from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import read_code
from tooling.errors import ToolingError
from tooling.models import (
    DrawingRevision,
    DriveGroup,
    Gauge,
    Job,
    LengthEntry,
    Mill,
    MillShaft,
    Movement,
    Owner,
    Person,
    Piece,
    Place,
    Reading,
    SetCopy,
    SetupChart,
    SetVariant,
    Station,
    StockLine,
    ToolSet,
    Work,
)
from tooling.services.importing.outcomes import Outcome, Outcomes
from tooling.services.importing.stage import EDIT, Stage, Uuids, is_new
from tooling.spreadsheets.cells import clean
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.rows import Problem, Row

Found = TypeVar("Found")

KEPT: tuple[type[Model], ...] = (
    *(Owner, Place, Gauge, Mill, DriveGroup, Station, MillShaft, ToolSet, SetVariant, SetCopy),
    *(SetupChart, Job),
)
"""Planned records of these stay in memory until the whole import is planned."""

LATE = {
    "no": "bigint", "piece_id": "bigint", "outcome_no": "bigint", "title": "text", "name": "text",
    "value": "bigint", "happened_at": "text", "dated": "integer", "unit": "text",
    "strip_class": "text",
}  # fmt: skip
"""What rows say that is settled when all sheets are read, see ``present``."""

SIZED, RAN = "sized", "ran"
LABELLED = (Piece, Place, StockLine, ToolSet, Station)
ONLY_ONE = (Owner, DrawingRevision)
BY_WHOM = (Movement, Reading, Work, LengthEntry)


@dataclass
class Edit:
    """One existing record with the fields that change.

    ``columns``: what is written; ``after`` has those of them that a person edited.
    """

    record: Any
    key: str
    before: dict[str, Any] = field(default_factory=dict)
    after: dict[str, Any] = field(default_factory=dict)
    columns: set[str] = field(default_factory=set)
    told_by: int = 0

    @property
    def frees(self) -> bool:
        """What gives up being the only one (the shop, the current revision) makes room."""
        return isinstance(self.record, ONLY_ONE) and any(
            value is False for value in self.after.values()
        )


class Plan:
    """Records to make, change and take away, one outcome per row, every problem."""

    def __init__(self, *, by: Person | None, at: datetime, stage: Stage) -> None:
        self.by, self.at, self.stage = by, at, stage
        self.told = Outcomes(stage)
        self.uuids = Uuids(at)
        self.created: dict[type[Model], list[Any]] = defaultdict(list)
        self.kept: dict[type[Model], list[Any]] = defaultdict(list)
        self.edits: dict[tuple[type[Model], int], Edit] = {}
        self.removed: list[tuple[Any, str]] = []
        self.moves: list[tuple[Any, Outcome]] = []
        self.late: list[tuple[Any, ...]] = []
        self.late_table = stage.table("stage_late", **LATE)
        self.outcomes: list[Outcome] = []
        self.problems: list[Problem] = []
        self.kinds: set[str] = set()
        self.brought_codes: dict[str, int] = {}
        self.has_moves = False
        self._late_no = 0
        self._again: dict[tuple[type[Model], int], Any] = {}
        self._headings: dict[str, Mapping[str, str]] = {}
        self._sheets: dict[str, int] = {}
        self._spoken_of: dict[type[Model], dict[int, int]] = defaultdict(dict)

    def read_as(self, sheet: str, columns: Mapping[str, str]) -> None:
        """Problems of this sheet name its own headings: ``columns`` is field → heading."""
        self._headings[sheet] = columns
        self._sheets.setdefault(sheet, len(self._sheets))

    # Rows and their outcomes -------------------------------------------------------------------

    def begin(self, row: Row, kind: Kind) -> None:
        """What is made and changed from now on is this row's doing."""
        self.outcomes.append(self.told.begin(row, kind))

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

    def speak_of(self, record: Model, name: str) -> None:
        """One row speaks of a record: a second one raises ToolingError ``duplicate_record``."""
        outcome = self.outcomes[-1]
        here = self._sheets[outcome.sheet] << 32 | outcome.row
        first = self._spoken_of[type(record)].setdefault(record.pk, here)
        if first != here:
            raise ToolingError(
                "duplicate_record",
                _("Row {row} of “{sheet}” speaks of {name} already. Leave one of the two, or "
                  "tell them apart."),
                row=first & 0xFFFFFFFF, sheet=list(self._sheets)[first >> 32], name=name,
            )  # fmt: skip

    def note(
        self,
        what: str,
        key: str,
        changes: dict[str, tuple[Any, Any]] | None = None,
        outcome: Outcome | None = None,
    ) -> None:
        """The row does this too."""
        (outcome or self.outcomes[-1]).note(what, key, changes)

    def changed(self, key: str, name: str, before: Any, after: Any) -> None:
        """A change that is history rather than an edit: a place, a count, a reading."""
        self.note("change", key, {name: (before, after)})

    def refuse(self, outcome: Outcome, column: str, error: ToolingError) -> None:
        """Something in a row keeps the import from being applied; the error may name the field."""
        named = str(error.values.get("in_field", column)).removesuffix("_nm")
        fields = outcome.kind.by_name
        name = named if named in fields else column
        heading = self._headings.get(outcome.sheet, {}).get(name)
        self.problems.append(
            Problem(
                outcome.sheet, outcome.row, heading or fields[name].label, outcome.says(name),
                error.code, error.message,
            )
        )  # fmt: skip

    def wish(
        self, piece: Any, *, title: str, name: str, value: int, happened_at: datetime,
        dated: bool, unit: str, strip_class: str,
    ) -> None:  # fmt: skip
        """The present row says that the piece is so today: settled once all sheets are read."""
        self._settle_later(
            piece, title, name, value, happened_at.isoformat(), int(dated), unit, strip_class
        )

    def resize(self, piece: Any) -> None:
        """The present row adds to the history of the piece's sizes."""
        self._settle_later(piece, "", SIZED, 0, "", 0, "", "")

    def runs(self, piece: Any) -> None:
        """The present row adds to what the piece has run."""
        self._settle_later(piece, "", RAN, 0, "", 0, "", "")

    def _settle_later(self, piece: Any, *values: Any) -> None:
        outcome = self.outcomes[-1]
        outcome.is_late = True
        self._late_no += 1
        self.late.append((self._late_no, piece.pk, outcome.no, *values))

    # Records -----------------------------------------------------------------------------------

    def create(self, model: type[Model], key: str, *, quiet: bool = False, **values: Any) -> Any:
        """Plan a new record; it may point to others that are planned too."""
        return self.add(model(**values), key, quiet=quiet)

    def add(self, record: Any, key: str, *, quiet: bool = False) -> Any:
        """Plan a record that stands ready."""
        model = type(record)
        record.pk = self.stage.number(model)
        record.stage_key, record.stage_said, record.stage_told = key, "", self._told_by()
        if isinstance(record, BY_WHOM):
            record.by, record.uuid = self.by, self.uuids.next()
        if isinstance(record, LABELLED) and record.code:
            read = read_code(record.code)
            self.brought_codes[read.kind] = max(self.brought_codes.get(read.kind, 0), read.serial)
        (self.kept if model in KEPT else self.created)[model].append(record)
        if not quiet:
            self.note("create", key)
        return record

    def edit(self, record: Any, key: str, *, clears: Sequence[str] = (), **values: Any) -> bool:
        """Set the values that differ; ``None``: the sheet does not say, nothing changes.

        ``clears`` names values that give way to others the sheet says. Whether an existing record
        changes.
        """
        differing = {
            name: value
            for name, value in values.items()
            if value is not None and not _same(getattr(record, name), value)
        }
        differing |= {name: None for name in clears if getattr(record, name) is not None}
        if differing and is_new(record):
            self.derive(record, **differing)
        elif differing:
            self._edit(record, key, differing)
        return bool(differing) and not is_new(record)

    def _edit(self, record: Any, key: str, differing: dict[str, Any]) -> None:
        edit = self._edit_of(record, key)
        for name, value in differing.items():
            before = getattr(record, name)
            edit.before.setdefault(name, readable(before))
            edit.after[name] = readable(value)
            edit.columns.add(record._meta.get_field(name).column)
            edit.told_by = self._told_by()
            self.note("change", key, {name: (before, value)})
            setattr(record, name, value)

    def derive(self, record: Any, **values: Any) -> None:
        """Set values that follow from history, or anything of a record that is only planned."""
        for name, value in values.items():
            setattr(record, name, value)
        if not is_new(record):
            columns = {record._meta.get_field(name).column for name in values}
            self._edit_of(record, str(record)).columns.update(columns)
        elif type(record) not in KEPT:
            self._again[type(record), record.pk] = record

    def _edit_of(self, record: Any, key: str) -> Edit:
        """What is known of the record's edits, in this part of the rows or an earlier one."""
        place = (type(record), record.pk)
        if place not in self.edits:
            edit = Edit(record, getattr(record, "stage_key", key))
            if hasattr(record, "stage_columns"):
                edit.before = json.loads(record.stage_before)
                edit.after = json.loads(record.stage_after)
                edit.columns = set(record.stage_columns.split(","))
                edit.told_by = record.stage_told
            self.edits[place] = edit
        return self.edits[place]

    def _told_by(self) -> int:
        """The number of the row whose doing this is; 0 after the last row."""
        return self.outcomes[-1].no if self.outcomes else 0

    def says(self, record: Any, text: str) -> None:
        """What ``prepare`` must know of a planned record besides its columns."""
        record.stage_said = text

    def remove(self, record: Model, key: str) -> None:
        """Plan that an existing record goes."""
        self.removed.append((record, key))

    def records(self, model: type[Model]) -> Sequence[Any]:
        """What is planned and still in memory: all of the kept kinds, else this part's."""
        return (self.kept if model in KEPT else self.created).get(model, [])

    # Putting away ------------------------------------------------------------------------------

    def flush(self) -> None:
        """Put away what this part of the rows planned."""
        stage = self.stage
        for records in self.created.values():
            stage.put(records)
        known = {(model, each.pk) for model, made in self.created.items() for each in made}
        again: dict[type[Model], list[Any]] = defaultdict(list)
        for (model, key), record in self._again.items():
            if (model, key) not in known:
                again[model].append(record)
        for records in again.values():
            stage.put_again(records)
        self._put_edits(lambda model: model not in KEPT)
        self.told.keep(self.outcomes)
        self.told.tell(self.problems)
        marks = ", ".join(["%s"] * len(LATE))
        stage.run_many(f"INSERT INTO {self.late_table} VALUES ({marks})", self.late)
        for each in (self.created, self._again):
            each.clear()
        for every in (self.moves, self.late, self.outcomes, self.problems):
            every.clear()

    def close(self) -> None:
        """Put away everything that is left but the kept records, which still lack their labels."""
        self.flush()
        self._put_edits(lambda model: True)

    def _put_edits(self, wanted: Callable[[type[Model]], bool]) -> None:
        ready: dict[type[Model], list[Any]] = defaultdict(list)
        for model, key in [place for place in self.edits if wanted(place[0])]:
            edit = self.edits.pop((model, key))
            record = edit.record
            record.stage_key, record.stage_told = edit.key, edit.told_by
            record.stage_frees = int(edit.frees)
            record.stage_columns = ",".join(sorted(edit.columns))
            record.stage_before = json.dumps(edit.before)
            record.stage_after = json.dumps(edit.after)
            ready[model].append(record)
        for records in ready.values():
            self.stage.put_again(records, EDIT)


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
    if isinstance(present, str) and isinstance(wanted, str):
        return clean(present) == clean(wanted)  # what no sheet can tell apart is the same
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

"""What each row of an import does, and every problem: kept in temporary tables, counted there."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from tooling.services.importing.stage import Stage, chunks
from tooling.services.importing.tell import told_changes
from tooling.spreadsheets.cells import guard
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Problem, Row
from tooling.spreadsheets.telling import tell

RANK = {"same": 0, "change": 1, "create": 2}
MOST_PROBLEMS = 1_000
"""So many are kept with the import itself; the whole list is a file."""

LATE = ("piece", "mark", "station", "value", "length_run", "strokes_run")
LATE_STARTS = ("now_", "after_", "made_")
"""What a row says that may turn out to be impossible once all sheets are read."""


@dataclass
class Outcome:
    """What one row of a sheet does, and which values it changes: label → [before, after]."""

    no: int
    sheet: str
    row: int
    kind: Kind
    unit: str | None
    source: Row | None = None
    what: str = "same"
    key: str = ""
    changes: dict[str, list[str | None]] = field(default_factory=dict)
    told: dict[str, str] = field(default_factory=dict)
    is_late: bool = False

    def note(self, what: str, key: str, changes: dict[str, tuple[Any, Any]] | None) -> None:
        """The row does this too; the strongest of what it does counts."""
        if RANK[what] > RANK[self.what]:
            self.what = what
        self.key = self.key or key
        if changes:
            self.changes.update(told_changes(changes, self.kind, self.unit))

    def says(self, name: str) -> str:
        """What the row says in a field, as a person wrote it."""
        if self.source is None:
            return self.told.get(name, "")
        value, unit = self.source.values.get(name), self.source.units.get(name)
        return tell(self.kind.field(name), value, unit)

    def fills(self, name: str) -> bool:
        if self.source is None:
            return name in self.told
        return self.source.values.get(name) is not None

    def late_words(self) -> dict[str, str]:
        """What of the row may be needed when a problem comes to light late."""
        if not self.is_late or self.source is None:
            return self.told
        names = [
            name
            for name, value in self.source.values.items()
            if value is not None and (name in LATE or name.startswith(LATE_STARTS))
        ]
        return {name: self.says(name) for name in names}


class Outcomes:
    """Outcomes by their number, problems by where they are."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._last = 0
        self._same = 0
        self._sheets: dict[str, int] = {}
        self.problem_count = 0
        self._kept = stage.table(
            "stage_outcome", no="bigint PRIMARY KEY", sheet="text", row_no="bigint", kind="text",
            unit="text", what="text", name="text", changes="text", told="text",
        )  # fmt: skip
        self._problems = stage.table(
            "stage_problem", no="bigint PRIMARY KEY", sheet_no="bigint", row_no="bigint",
            sheet="text", heading="text", said="text", code="text", message="text",
        )  # fmt: skip

    def begin(self, row: Row, kind: Kind) -> Outcome:
        self._last += 1
        return Outcome(self._last, row.sheet, row.row, kind, row.unit(kind), row)

    def keep(self, outcomes: Iterable[Outcome]) -> None:
        """Put away what the rows of a chunk do; of those that do nothing only their number."""
        rows = []
        for each in outcomes:
            if each.what == "same" and not each.is_late:
                self._same += 1
            else:
                rows.append(_as_row(each))
        self._stage.run_many(
            f"INSERT INTO {self._kept} VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)", rows
        )

    def find(self, numbers: Iterable[int]) -> dict[int, Outcome]:
        """Late outcomes, to be told more and kept again by ``renew``."""
        found = {}
        for part in chunks(numbers):
            marks = ", ".join(["%s"] * len(part))
            for row in self._stage.rows(f"SELECT * FROM {self._kept} WHERE no IN ({marks})", part):
                found[int(row[0])] = _from_row(row)
        return found

    def renew(self, outcomes: Iterable[Outcome]) -> None:
        self._stage.run_many(
            f"UPDATE {self._kept} SET what = %s, name = %s, changes = %s WHERE no = %s",
            [(each.what, each.key, json.dumps(each.changes), each.no) for each in outcomes],
        )

    def counts(self) -> dict[str, int]:
        tally = Counter({"same": self._same})
        for what, count in self._stage.rows(
            f"SELECT what, COUNT(*) FROM {self._kept} GROUP BY what"
        ):
            tally[what] += count
        return {what: tally.get(what, 0) for what in ("create", "change", "same")}

    def preview(self, most: int) -> list[dict[str, Any]]:
        """The first rows that do something."""
        rows = self._stage.rows(
            f"SELECT * FROM {self._kept} WHERE what <> 'same' ORDER BY no LIMIT {most}"
        )
        return [_as_json(_from_row(row)) for row in rows]

    def digest(self) -> str:
        """A fingerprint of everything that the rows do: equal when a second look finds the same."""
        whole = hashlib.sha256()
        sql = (
            f"SELECT no, sheet, row_no, what, name, changes FROM {self._kept} "
            "WHERE what <> 'same' AND"
        )
        for page in self._stage.pages(sql, key="no", after=0):
            for row in page:
                whole.update(repr(row[1:]).encode())
        return whole.hexdigest()

    def tell(self, problems: Sequence[Problem]) -> None:
        """Put problems away."""
        rows = []
        for each in problems:
            self.problem_count += 1
            sheet = self._sheets.setdefault(each.sheet, len(self._sheets))
            rows.append(
                (self.problem_count, sheet, each.row, each.sheet, each.column, each.value,
                 each.code, each.message)
            )  # fmt: skip
        marks = ", ".join(["%s"] * 8)
        self._stage.run_many(f"INSERT INTO {self._problems} VALUES ({marks})", rows)

    def first_problems(self, most: int = MOST_PROBLEMS) -> list[Problem]:
        """Sheet by sheet, row by row."""
        rows = self._stage.rows(
            f"SELECT sheet, row_no, heading, said, code, message FROM {self._problems} "
            f"ORDER BY sheet_no, row_no, no LIMIT {most}"
        )
        return [Problem(*row) for row in rows]

    def problem_lines(self) -> Iterator[bytes]:
        """The whole list as a CSV file, piece by piece."""
        yield b"\xef\xbb\xbf" + _line(
            [_("Sheet"), _("Row"), _("Column"), _("Value"), _("Code"), _("Problem")]
        )
        columns = "row_no, no, sheet, heading, said, code, message"
        for number in sorted(self._sheets.values()):
            row, last = -1, -1
            while page := self._stage.rows(
                f"SELECT {columns} FROM {self._problems} WHERE sheet_no = %s AND "
                "(row_no > %s OR (row_no = %s AND no > %s)) ORDER BY row_no, no LIMIT 1000",
                [number, row, row, last],
            ):
                yield b"".join(
                    _line([sheet, at, heading, said, code, message])
                    for at, _no, sheet, heading, said, code, message in page
                )
                row, last = page[-1][0], page[-1][1]


def _line(cells: Sequence[Any]) -> bytes:
    stream = io.StringIO(newline="")
    csv.writer(stream, lineterminator="\r\n").writerow(
        [guard(each) if isinstance(each, str) else each for each in cells]
    )
    return stream.getvalue().encode()


def problems_csv(problems: Iterable[dict[str, Any]]) -> Iterator[bytes]:
    """The same list from what an import keeps of its problems."""
    yield b"\xef\xbb\xbf" + _line(
        [_("Sheet"), _("Row"), _("Column"), _("Value"), _("Code"), _("Problem")]
    )
    for each in problems:
        names = ("sheet", "row", "column", "value", "code", "message")
        yield _line([each[name] for name in names])


def _as_row(each: Outcome) -> tuple[Any, ...]:
    return (
        each.no, each.sheet, each.row, each.kind.name, each.unit, each.what, each.key,
        json.dumps(each.changes), json.dumps(each.late_words()),
    )  # fmt: skip


def _from_row(row: tuple[Any, ...]) -> Outcome:
    no, sheet, at, kind, unit, what, key, changes, told = row
    return Outcome(
        no=int(no), sheet=sheet, row=int(at), kind=KINDS[kind], unit=unit, what=what, key=key,
        changes=json.loads(changes), told=json.loads(told), is_late=True,
    )  # fmt: skip


def _as_json(each: Outcome) -> dict[str, Any]:
    return {
        "sheet": each.sheet,
        "row": each.row,
        "kind": each.kind.name,
        "what": each.what,
        "key": each.key,
        "changes": each.changes,
    }

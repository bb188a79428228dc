"""Rows that must wait for others, put away until their time comes."""

from __future__ import annotations

import base64
import pickle
from collections.abc import Callable, Iterator

from tooling.services.importing.plan import Plan
from tooling.spreadsheets.rows import Row


class Waiting:
    """The rows that wait, in their order."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._table = plan.stage.table("stage_waiting", no="bigint", content="text")

    def add(self, rows: list[Row]) -> None:
        """Each with the number of its turn, after all that wait already."""
        (last,) = self._plan.stage.rows(f"SELECT COALESCE(MAX(no), 0) FROM {self._table}")[0]
        self._plan.stage.run_many(
            f"INSERT INTO {self._table} VALUES (%s, %s)",
            [(last + turn, _pack(row)) for turn, row in enumerate(rows, start=1)],
        )

    def take_out(self, is_ready: Callable[[Row], bool], act: Callable[[Row], None]) -> int:
        """Act on every row that is ready, once; how many there were."""
        taken = 0
        for page in self._pages():
            done = []
            for no, row in page:
                if is_ready(row):
                    act(row)
                    done.append((no,))
            self._plan.stage.run_many(f"DELETE FROM {self._table} WHERE no = %s", done)
            self._plan.flush()
            taken += len(done)
        return taken

    def parts(self) -> Iterator[list[Row]]:
        for page in self._pages():
            yield [row for _no, row in page]

    def _pages(self) -> Iterator[list[tuple[int, Row]]]:
        sql = f"SELECT no, content FROM {self._table} WHERE"
        for page in self._plan.stage.pages(sql, key="no", after=0, size=400):
            yield [(no, _unpack(content)) for no, content in page]


def _pack(row: Row) -> str:
    return base64.b64encode(pickle.dumps(row)).decode()


def _unpack(content: str) -> Row:
    """What this very run packed; nobody else can have written it."""
    row: Row = pickle.loads(base64.b64decode(content))
    return row

"""Writes a plan that lies ready: one transaction that only copies from the plan's tables.

The planned records have negative keys; each model gets a block of fresh keys, and wherever a
column points to a planned record the key is counted up from its block's begin. One statement for
each table, whatever the number of rows, so that scans wait as little as can be.
"""

from __future__ import annotations

from django.db import connection
from django.db.models import ForeignKey, Model

from tooling.models import Allotment, Change, ChartPass, Counter, Place
from tooling.services.importing.order import ORDER
from tooling.services.importing.places import renew_paths
from tooling.services.importing.plan import Plan
from tooling.services.importing.prepare import Counters
from tooling.services.importing.stage import EDIT, NEW, columns_of

WRITTEN: tuple[type[Model], ...] = (*ORDER, Change)
MAY_SWAP = (Allotment, ChartPass)
"""Two of these may exchange what they point to, which no row by row update could do."""

SLACK = 1_000
"""Keys left unused on PostgreSQL, so that those taken while a block is reserved are not in it."""


class Writer:
    """Copies the plan. Make and use it inside ``writing()``."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.stage = plan, plan.stage
        self.begins: dict[type[Model], int] = {
            model: _block(model, self.stage.planned(model))
            for model in WRITTEN
            if self.stage.planned(model)
        }

    @property
    def blocks(self) -> dict[type[Model], tuple[int, int]]:
        """First and last of the keys that are this plan's."""
        return {
            model: (begin + 1, begin + self.stage.planned(model))
            for model, begin in self.begins.items()
        }

    def make(self) -> None:
        """Everything that is new, after what makes room for it."""
        for model in ORDER:
            self._edit(model, frees=True)
        for record, _key in self.plan.removed:
            record.delete()
        for model in WRITTEN:
            if model in self.begins and self.stage.has(model):
                self._copy(model, NEW, f"{self.begins[model]} - id")

    def change(self) -> None:
        """Everything that was there before and is otherwise now."""
        for model in ORDER:
            self._edit(model, frees=False)
        if self.stage.has(Place, EDIT):
            renew_paths()

    def key(self, model: type[Model], key: int) -> int:
        """The key that a planned record has by now; another's is its own."""
        return self.begins[model] - key if key < 0 else key

    def column(self, name: str, model: type[Model] | None) -> str:
        """A column of the plan's tables as the shop's own are to have it."""
        if model is None or model not in self.begins:
            return name
        return f"CASE WHEN {name} < 0 THEN {self.begins[model]} - {name} ELSE {name} END"

    def _copy(self, model: type[Model], kind: str, key: str) -> None:
        quote = connection.ops.quote_name
        names, values = [], []
        for field in columns_of(model):
            names.append(quote(str(field.column)))
            target = field.related_model if isinstance(field, ForeignKey) else None
            values.append(key if field.primary_key else self.column(names[-1], target))
        self.stage.run(
            f"INSERT INTO {quote(model._meta.db_table)} ({', '.join(names)}) "
            f"SELECT {', '.join(values)} FROM {self.stage.of(model, kind)} ORDER BY id DESC"
        )

    def _edit(self, model: type[Model], *, frees: bool) -> None:
        if not self.stage.has(model, EDIT):
            return
        table = self.stage.of(model, EDIT)
        if model in MAY_SWAP:
            if not frees:
                self._swap(model, table)
            return
        groups = self.stage.rows(
            f"SELECT DISTINCT stage_columns FROM {table} WHERE stage_frees = {int(frees)}"
        )
        for (columns,) in groups:
            self._update(model, table, columns, frees)

    def _update(self, model: type[Model], table: str, columns: str, frees: bool) -> None:
        """One statement for all records whose same columns change."""
        quote = connection.ops.quote_name
        own = quote(model._meta.db_table)
        fields = {field.column: field for field in columns_of(model)}
        told = []
        for name in columns.split(","):
            field = fields[name]
            target = field.related_model if isinstance(field, ForeignKey) else None
            told.append(f"{quote(name)} = {self.column(f'e.{quote(name)}', target)}")
        self.stage.run(
            f"UPDATE {own} SET {', '.join(told)} FROM {table} e "
            f"WHERE e.id = {own}.id AND e.stage_frees = {int(frees)} AND e.stage_columns = %s",
            [columns],
        )

    def _swap(self, model: type[Model], table: str) -> None:
        own = connection.ops.quote_name(model._meta.db_table)
        self.stage.run(f"DELETE FROM {own} WHERE id IN (SELECT id FROM {table})")
        self._copy(model, EDIT, "id")


def move_counters(counters: Counters) -> bool:
    """Step past the labels that the plan gave out; false where others gave out labels since."""
    for letter, (before, after) in sorted(counters.items()):
        counter, _made = Counter.objects.select_for_update().get_or_create(kind=letter)
        if counter.next_serial != before:
            return False
        counter.next_serial = after
        counter.save(update_fields=["next_serial"])
    return True


def _block(model: type[Model], count: int) -> int:
    """The key before the first of so many that are this plan's alone."""
    table = model._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
            row = cursor.fetchone()
            return int(row[0]) if row else 0
        cursor.execute("SELECT pg_advisory_xact_lock(hashtext('rollroom import'))")
        cursor.execute("SELECT pg_get_serial_sequence(%s, 'id')", [table])
        (sequence,) = cursor.fetchone()
        cursor.execute(
            "SELECT setval(%s::regclass, nextval(%s::regclass) + %s)",
            [sequence, sequence, SLACK + count],
        )
        return int(cursor.fetchone()[0]) - count

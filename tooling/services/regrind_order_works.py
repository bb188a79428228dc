"""What an order had done, as the history of each piece keeps it."""

from __future__ import annotations

from datetime import date, datetime

from django.utils.translation import gettext_lazy as _

from tooling.models import (
    DIAMETERS,
    DIMENSIONS,
    Person,
    RegrindOrder,
    RegrindOrderLine,
    RegrindOrderWork,
    WorkKind,
)
from tooling.queries.regrind_release import CHANGES_SIZE
from tooling.services.dimensions import known_size
from tooling.services.edits import apply_edit
from tooling.services.work import write_work


def write_works(
    *, by: Person, at: datetime, order: RegrindOrder, line: RegrindOrderLine, done: date,
    cost_cents: int | None,
) -> None:  # fmt: skip
    """One row for each kind of work, in order. What it measured before is kept with the first that
    changes sizes; what it measures now is for a reading to say."""
    vendor = order.vendor
    before_said = False
    for number, kind in enumerate(line.kinds):
        sizes = {}
        if kind == WorkKind.REGRIND or (kind in CHANGES_SIZE and not before_said):
            sizes = {name: (known_size(line.piece, name), None) for name in _touched(line, kind)}
            before_said = True
        work = write_work(
            by=by, at=at, piece=line.piece, kind=kind, done_on=done,
            done_by=vendor.name if vendor else str(_("in the shop")),
            sizes=sizes, order_reference=order.number,
            cost_cents=cost_cents if number == 0 else None, note=line.note,
        )  # fmt: skip
        RegrindOrderWork.objects.create(line=line, work=work)
    _chrome(by, at, line)


def _touched(line: RegrindOrderLine, kind: str) -> list[str]:
    """The dimensions with a target; of a regrind at least the diameters that are known."""
    named = {target.dimension for target in line.targets.all()}
    if kind == WorkKind.REGRIND:
        named |= set(DIAMETERS)
    return [
        name for name in DIMENSIONS if name in named and known_size(line.piece, name) is not None
    ]


def _chrome(by: Person, at: datetime, line: RegrindOrderLine) -> None:
    """Stripped, its diameters are bare; plated, they are over chrome."""
    kinds = [kind for kind in line.kinds if kind in (WorkKind.STRIP, WorkKind.PLATE)]
    if kinds:
        apply_edit(
            by=by, at=at, row=line.piece, key=line.piece.code,
            fields={"over_chrome": kinds[-1] == WorkKind.PLATE},
        )  # fmt: skip

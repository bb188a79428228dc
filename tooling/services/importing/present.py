"""What pieces are after an import: which "now" cells add a reading, and whether sizes can be.

A sheet of pieces says what a piece measures and has run today; sheets of readings, regrinds and
length run in the same import may say so already. So this comes last, and adds only what is
still missing.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, datetime, time
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import DIMENSIONS, LengthEntry, Piece, Reading, WorkMeasure
from tooling.services.derived import Told, newest_told
from tooling.services.dimensions import check_known_sizes
from tooling.services.importing.known import chunks
from tooling.services.importing.plan import Outcome, Plan, Wish

SIZE_PREFIXES = ("now_", "after_", "made_")
PLANNED_LATER = 10**15
"""Planned rows come after every saved one of the same moment."""


class _Present:
    """The newest size of every piece and dimension that this import touches."""

    def __init__(self, plan: Plan) -> None:
        pieces = [wish.piece for wish in plan.wishes] + [p for p, _o in plan.resized.values()]
        self.newest: dict[Any, Told] = {}
        self.there: set[Any] = set()
        self._turn = PLANNED_LATER
        for part in chunks(piece.pk for piece in pieces if piece.pk):
            self.newest |= newest_told(part)
            self.there |= set(
                Reading.objects.filter(piece__in=part, corrected_by=None).values_list(
                    "piece_id", "dimension", "happened_at", "value_nm"
                )
            )
        for reading in plan.records(Reading):
            if reading.value_nm is not None and reading.point != "wear":
                self.tell(reading.piece, reading.dimension, reading.happened_at, reading.value_nm)
        for measure in plan.records(WorkMeasure):
            if measure.after_nm is not None:
                at = datetime.combine(measure.work.done_on, time(23, 59), tzinfo=UTC)
                self.tell(measure.work.piece, measure.dimension, at, measure.after_nm)

    def tell(self, piece: Piece, dimension: str, at: datetime, value: int) -> bool:
        """Whether this is the newest that is known."""
        self._turn += 1
        key = (piece.pk or id(piece), dimension)
        told = (at, self._turn, value)
        if key in self.newest and told[:2] < self.newest[key][:2]:
            return False
        self.newest[key] = told
        return True

    def size(self, piece: Piece, dimension: str) -> int | None:
        told = self.newest.get((piece.pk or id(piece), dimension))
        return told[2] if told else None


def settle(plan: Plan) -> None:
    """Adds the readings and length entries that are missing; refuses sizes that cannot be."""
    present = _Present(plan)
    run = _planned_run(plan)
    for wish in plan.wishes:
        if wish.name == "length_run":
            _settle_length(wish, run[id(wish.piece)], plan)
        else:
            _settle_size(wish, wish.name.removeprefix("now_"), present, plan)
    for piece, outcome in plan.resized.values():
        for each in DIMENSIONS:
            setattr(piece, f"now_{each}_nm", present.size(piece, each))  # type: ignore[arg-type]
        try:
            check_known_sizes(piece)  # type: ignore[arg-type]
        except ToolingError as error:
            column = _column_of(outcome, error)
            error.values["in_field"] = column
            plan.refuse(outcome, column, error)


def _column_of(outcome: Outcome, error: ToolingError) -> str:
    """The column of the size that cannot be, else the first size that the row gives."""
    dimension = str(error.values.get("in_field", "")).removesuffix("_nm")
    names = [f"{prefix}{each}" for each in (dimension, *DIMENSIONS) for prefix in SIZE_PREFIXES]
    filled = (name for name in ("value", *names) if outcome.row.values.get(name) is not None)
    return next(filled, "piece" if "piece" in outcome.kind.by_name else "mark")


def _settle_size(wish: Wish, dimension: str, present: _Present, plan: Plan) -> None:
    piece, before = wish.piece, present.size(wish.piece, dimension)
    said = (piece.pk, dimension, wish.happened_at, wish.value)
    if before == wish.value or (wish.dated and said in present.there):
        return
    newest = present.tell(piece, dimension, wish.happened_at, wish.value)
    if piece.pk is not None:
        name = wish.name if newest else f"older reading of {dimension}"
        changes = {f"{name}_nm": (before if newest else None, wish.value)}
        plan.note("change", wish.title, changes, wish.outcome)
    plan.resized[id(piece)] = (piece, wish.outcome)
    plan.create(
        Reading, wish.title, quiet=True, piece=piece, dimension=dimension, value_nm=wish.value,
        unit="in" if wish.unit == "in" else "mm", happened_at=wish.happened_at,
        received_at=plan.at, how="import",
    )  # fmt: skip


def _planned_run(plan: Plan) -> dict[int, int]:
    """Piece → how much its length run grows by the sheets of length run."""
    run: dict[int, int] = defaultdict(int)
    for entry in plan.records(LengthEntry):
        replaced = entry.corrects.length_nm if entry.corrects else 0
        run[id(entry.piece)] += entry.length_nm - replaced
    return run


def _settle_length(wish: Wish, planned: int, plan: Plan) -> None:
    before = wish.piece.length_run_nm
    more = wish.value - before - planned
    if more < 0:
        error = ToolingError(
            "length_run_falls",
            _("{mark} has already run more than this sheet says; length run never falls. "
              "Leave the cell blank or correct the entry on the piece's page."),
            mark=wish.title,
        )  # fmt: skip
        plan.refuse(wish.outcome, "length_run", error)
    if more <= 0:
        return
    if wish.piece.pk is not None:
        changes = {"length_run": (before, wish.value)}
        plan.note("change", wish.title, changes, wish.outcome)
    plan.create(
        LengthEntry, wish.title, quiet=True, piece=wish.piece, length_nm=more,
        strip_class=wish.strip_class, source="import", happened_at=wish.happened_at,
        received_at=plan.at,
    )  # fmt: skip

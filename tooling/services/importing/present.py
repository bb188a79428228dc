"""What pieces are after an import: which "now" cells add a reading, and whether sizes can be.

A sheet of pieces says what a piece measures and has run today; sheets of readings, regrinds and
length run in the same import may say so already. So this comes last, some hundred pieces at a
time, and adds only what is still missing. What follows from history (present sizes, length run,
strokes) is worked out here as ``services/derived`` works it out from written rows.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Max
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import DIMENSIONS, LengthEntry, Piece, Reading, Work, WorkMeasure
from tooling.queries.shop_zone import shop_zone
from tooling.queries.work_moment import counts_from
from tooling.services import derived
from tooling.services.dimensions import check_known_sizes
from tooling.services.importing.known import Known
from tooling.services.importing.known_records import read_pieces_with
from tooling.services.importing.outcomes import Outcome
from tooling.services.importing.plan import RAN, SIZED, Plan
from tooling.services.importing.stage import CHUNK, is_new

SIZE_PREFIXES = ("now_", "after_", "made_")
RUNS = {"length_run": "length_nm", "strokes_run": "strokes"}


@dataclass(frozen=True)
class Wish:
    """What a row says a piece is now, until it is known what history will say by itself."""

    piece_id: int
    outcome_no: int
    title: str
    name: str
    value: int
    happened_at: str
    dated: int
    unit: str
    strip_class: str


def settle(plan: Plan, known: Known, progress: Callable[[float], None]) -> None:
    """Adds the readings and length entries that are missing; refuses sizes that cannot be."""
    newest = {model: _newest_key(model) for model in (Reading, WorkMeasure)}
    sql = f"SELECT DISTINCT piece_id FROM {plan.late_table} WHERE"
    (total,) = plan.stage.rows(f"SELECT COUNT(DISTINCT piece_id) FROM {plan.late_table}")[0]
    done = 0
    for page in plan.stage.pages(sql, key="piece_id", after=-(2**62), size=CHUNK):
        keys = [int(key) for (key,) in page]
        known.begin_part()
        read_pieces_with(known, keys)
        _Part(plan, known, keys, newest).settle()
        plan.flush()
        done += len(keys)
        progress(done / total)


def _newest_key(model: type[Any]) -> int:
    return model._default_manager.aggregate(newest=Max("id"))["newest"] or 0


class _Part:
    """Some pieces, with all that their history and this import say of them."""

    def __init__(
        self, plan: Plan, known: Known, keys: Sequence[int], newest: dict[type[Any], int]
    ) -> None:
        self.plan, self.keys, self._last = plan, keys, newest
        self.pieces: dict[int, Piece] = {key: known.piece_keys[key] for key in keys}
        self.newest: derived.Newest = {}
        self.there: set[tuple[Any, ...]] = set()
        self.resized: dict[int, int] = {}
        self.wishes: dict[int, list[Wish]] = defaultdict(list)
        self.run: dict[int, list[int]] = defaultdict(lambda: [0, 0])
        self._read_late()
        self._read_history([key for key in keys if key > 0])
        self._read_planned()

    def _read_late(self) -> None:
        marks = ", ".join(["%s"] * len(self.keys))
        columns = "piece_id, outcome_no, title, name, value, happened_at, dated, unit, strip_class"
        for row in self.plan.stage.rows(
            f"SELECT {columns} FROM {self.plan.late_table} WHERE piece_id IN ({marks}) ORDER BY no",
            self.keys,
        ):
            wish = Wish(*row)
            if wish.name == SIZED:
                self.resized[wish.piece_id] = wish.outcome_no
            elif wish.name != RAN:
                self.wishes[wish.piece_id].append(wish)
        numbers = {each.outcome_no for several in self.wishes.values() for each in several}
        self.outcomes = self.plan.told.find(numbers | set(self.resized.values()))

    def _read_history(self, existing: Sequence[int]) -> None:
        if existing:
            self.newest = derived.newest_told(existing)
            rows = Reading.objects.filter(piece__in=existing, corrected_by=None)
            self.there = set(rows.values_list("piece_id", "dimension", "happened_at", "value_nm"))

    def _read_planned(self) -> None:
        stage = self.plan.stage
        for reading in stage.find(Reading, "piece_id", self.keys):
            counts = reading.value_nm is not None and reading.point != "wear"
            if counts and reading.dimension in DIMENSIONS:
                self.tell(reading, reading.piece_id, reading.happened_at, reading.value_nm)
        zone = shop_zone()
        work = {each.pk: each for each in stage.find(Work, "piece_id", self.keys)}
        for measure in stage.find(WorkMeasure, "work_id", work):
            if measure.after_nm is not None:
                done = work[measure.work_id]
                at = counts_from(done.done_on, done.received_at, zone)
                self.tell(measure, done.piece_id, at, measure.after_nm)
        entries = stage.find(LengthEntry, "piece_id", self.keys)
        corrected = LengthEntry.objects.in_bulk(
            [each.corrects_id for each in entries if each.corrects_id]
        )
        for entry in entries:
            before = corrected.get(entry.corrects_id or 0)
            run = self.run[entry.piece_id]
            run[0] += entry.length_nm - (before.length_nm if before else 0)
            run[1] += entry.strokes - (before.strokes if before else 0)

    def tell(self, row: Any, piece_id: int, at: datetime, value: int) -> bool:
        """Whether this is the newest that is known; a planned row comes after every saved one."""
        key = (piece_id, row.dimension)
        told = (at, self._last[type(row)] - row.pk, value)
        if key in self.newest and told[:2] < self.newest[key][:2]:
            return False
        self.newest[key] = told
        return True

    def settle(self) -> None:
        for key, piece in self.pieces.items():
            for wish in self.wishes.get(key, ()):
                if wish.name not in RUNS:
                    self._settle_size(piece, wish)
            self._settle_run(piece, [w for w in self.wishes.get(key, ()) if w.name in RUNS])
            if key in self.resized:
                self._resize(piece, self.outcomes[self.resized[key]])
        self.plan.told.renew(self.outcomes.values())

    def _settle_size(self, piece: Piece, wish: Wish) -> None:
        dimension = wish.name.removeprefix("now_")
        at = datetime.fromisoformat(wish.happened_at)
        told = self.newest.get((wish.piece_id, dimension))
        before = told[2] if told else None
        said = (wish.piece_id, dimension, at, wish.value)
        if before == wish.value or (wish.dated and said in self.there):
            return
        reading = self.plan.create(
            Reading, wish.title, quiet=True, piece=piece, dimension=dimension,
            value_nm=wish.value, unit="in" if wish.unit == "in" else "mm", happened_at=at,
            received_at=self.plan.at, how="import",
        )  # fmt: skip
        is_newest = self.tell(reading, wish.piece_id, at, wish.value)
        self.resized[wish.piece_id] = wish.outcome_no
        if not is_new(piece):
            name = wish.name if is_newest else f"older reading of {dimension}"
            changes = {f"{name}_nm": (before if is_newest else None, wish.value)}
            self.outcomes[wish.outcome_no].note("change", wish.title, changes)

    def _settle_run(self, piece: Piece, wishes: Sequence[Wish]) -> None:
        """One further entry for what the piece has run beyond what is known of it."""
        run = self.run[piece.pk] if piece.pk in self.run or wishes else None
        if run is None:
            return
        before = (piece.length_run_nm, piece.strokes_run)
        more: dict[str, int] = {}
        for wish in wishes:
            at = list(RUNS).index(wish.name)
            missing = wish.value - before[at] - run[at]
            if missing < 0:
                self.plan.refuse(self.outcomes[wish.outcome_no], wish.name, _falls(wish))
            elif missing and not is_new(piece):
                changes = {wish.name: (before[at], wish.value)}
                self.outcomes[wish.outcome_no].note("change", wish.title, changes)
            if missing > 0:
                more[RUNS[wish.name]] = missing
        if more:
            first = wishes[0]
            self.plan.create(
                LengthEntry, first.title, quiet=True, piece=piece, source="import",
                length_nm=more.get("length_nm", 0), strokes=more.get("strokes", 0),
                strip_class=first.strip_class, received_at=self.plan.at,
                happened_at=datetime.fromisoformat(first.happened_at),
            )  # fmt: skip
        self._derive(
            piece,
            length_run_nm=before[0] + run[0] + more.get("length_nm", 0),
            strokes_run=before[1] + run[1] + more.get("strokes", 0),
        )

    def _derive(self, piece: Piece, **values: int | None) -> None:
        differing = {name: each for name, each in values.items() if getattr(piece, name) != each}
        if differing:
            self.plan.derive(piece, **differing)

    def _resize(self, piece: Piece, outcome: Outcome) -> None:
        sizes = {each: self.newest.get((piece.pk, each)) for each in DIMENSIONS}
        self._derive(
            piece, **{f"now_{name}_nm": told[2] if told else None for name, told in sizes.items()}
        )
        try:
            check_known_sizes(piece)
        except ToolingError as error:
            column = _column_of(outcome, error)
            error.values["in_field"] = column
            self.plan.refuse(outcome, column, error)


def _falls(wish: Wish) -> ToolingError:
    if wish.name == "strokes_run":
        return ToolingError(
            "strokes_run_falls",
            _("{mark} has already made more strokes than this sheet says; strokes never fall. "
              "Leave the cell blank or correct the entry on the piece's page."),
            mark=wish.title,
        )  # fmt: skip
    return ToolingError(
        "length_run_falls",
        _("{mark} has already run more than this sheet says; length run never falls. "
          "Leave the cell blank or correct the entry on the piece's page."),
        mark=wish.title,
    )  # fmt: skip


def _column_of(outcome: Outcome, error: ToolingError) -> str:
    """The column of the size that cannot be, else the first size that the row gives."""
    dimension = str(error.values.get("in_field", "")).removesuffix("_nm")
    names = [f"{prefix}{each}" for each in (dimension, *DIMENSIONS) for prefix in SIZE_PREFIXES]
    filled: Iterable[str] = (name for name in ("value", *names) if outcome.fills(name))
    return next(iter(filled), "piece" if "piece" in outcome.kind.by_name else "mark")

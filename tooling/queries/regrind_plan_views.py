"""What the page of a regrind plan shows: frozen, in the reader's words and unit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tooling.queries.regrind_asks import Asks


@dataclass(frozen=True)
class Sentence:
    """A reason, a requirement or a finding in the reader's words."""

    code: str
    level: str
    said: str


@dataclass(frozen=True)
class SizeView:
    """One diameter before and after."""

    name: str
    before_nm: int
    after_nm: int


@dataclass(frozen=True)
class DecisionView:
    """What becomes of one piece; ``spots``: where it stands, such as “1472-A pass 3 top”;
    ``unit``: in which it is written."""

    piece: str
    mark: str
    drawing: str
    owner: str
    spots: tuple[str, ...]
    kind: str
    kind_word: str
    amount_nm: int
    width_nm: int
    reasons: tuple[Sentence, ...]
    sizes: tuple[SizeView, ...]
    least_nm: int | None
    least_why: str
    left_before: int | None
    left: int | None
    pin: str
    pin_nm: int | None
    is_customers: bool
    unit: str

    @property
    def drive(self) -> SizeView | None:
        """The diameter that it runs by, else the first on record."""
        return next((s for s in self.sizes if s.name == "drive"), next(iter(self.sizes), None))


@dataclass(frozen=True)
class ShaftView:
    """The drive of one shaft before and after; ``speed…``: diameters at equal rpm."""

    piece: str
    before_nm: int
    after_nm: int
    speed_before_nm: int
    speed_after_nm: int

    @property
    def is_changed(self) -> bool:
        return self.before_nm != self.after_nm


@dataclass(frozen=True)
class PassView:
    """One pass before and after; moves are signed, down is negative."""

    number: int
    station: int | None
    top: ShaftView | None
    bottom: ShaftView | None
    centres_before_nm: int | None
    centres_after_nm: int | None
    pass_line_nm: int
    top_shaft_nm: int
    top_turns: float | None
    reset: bool
    step_nm: int | None


@dataclass(frozen=True)
class LineView:
    """One set on one mill, told in the set's ``unit``."""

    set_name: str
    mill: str
    is_other: bool
    passes: tuple[PassView, ...]
    warned: tuple[Sentence, ...]
    kept: int
    unit: str

    @property
    def resets(self) -> tuple[int, ...]:
        """Passes after which guides, side rolls and entry are set again."""
        return tuple(each.number for each in self.passes if each.reset)


@dataclass(frozen=True)
class AimsView:
    """What an answer costs."""

    cents: int
    replaced: int
    worked: int
    stock_nm: int


@dataclass(frozen=True)
class UnmeasuredView:
    """Something nobody measured; ``changes``: another value would change the plan."""

    piece: str
    mark: str
    what: str
    changes: bool


@dataclass(frozen=True)
class ConflictView:
    """Requirements that cannot be kept together, and what frees them."""

    requirements: tuple[Sentence, ...]
    frees: tuple[Sentence, ...]


@dataclass(frozen=True)
class SettledView:
    """What somebody settled for a piece. ``nm``: the diameter that it is cut to. ``waits``: it is
    on an open order, and so taken as it is."""

    piece: str
    mark: str
    kind: str
    nm: int | None
    unit: str
    waits: bool


@dataclass(frozen=True)
class StepView:
    """One figure with its formula and inputs."""

    what: str
    formula: str
    source: str
    inputs: tuple[tuple[str, str], ...]
    value: str


@dataclass(frozen=True)
class SettingView:
    """One setting of a plan: what it is worth here, and whether it is the plan's own."""

    name: str
    value: float
    is_own: bool


@dataclass(frozen=True)
class PlanPage:
    """All of a plan. ``status`` of the last answer, empty before one; ``is_stale``: what it rests
    on moved since. ``task…`` of the newest task. ``unit`` of the first set: of settings
    and sums; pieces and sets have their own."""

    number: str
    name: str
    state: str
    state_word: str
    unit: str
    copies: tuple[str, ...]
    made_at: datetime
    made_by: str
    solved_at: datetime | None
    version: int
    asks: Asks
    settings: tuple[SettingView, ...]
    status: str
    is_stale: bool
    is_proven: bool
    decisions: tuple[DecisionView, ...]
    lines: tuple[LineView, ...]
    aims: AimsView | None
    baseline: AimsView | None
    baseline_amount_nm: int
    baseline_broken: tuple[Sentence, ...]
    other_sets: tuple[str, ...]
    unmeasured: tuple[UnmeasuredView, ...]
    conflicts: tuple[ConflictView, ...]
    settled: tuple[SettledView, ...]
    on_order: tuple[str, ...]
    on_order_names: tuple[str, ...]
    how: tuple[StepView, ...]
    orders: tuple[str, ...]
    currency: str
    task: int | None
    task_state: str
    task_message: str
    task_code: str
    task_progress: float

    @property
    def is_running(self) -> bool:
        return self.task_state in ("waiting", "running")

    def unit_of_piece(self, code: str) -> str:
        """The unit in which a piece is written; of one that is not told the plan's."""
        return next((each.unit for each in self.decisions if each.piece == code), self.unit)

    @property
    def is_open(self) -> bool:
        """It may still be changed."""
        return self.state not in ("ordered", "dropped")

    @property
    def may_be_ordered(self) -> bool:
        return (
            self.state in ("solved", "ordered")
            and not self.is_stale
            and any(each.kind in ("cut", "face") for each in self.decisions)
        )

    def of(self, *kinds: str) -> tuple[DecisionView, ...]:
        return tuple(each for each in self.decisions if each.kind in kinds)

    @property
    def worked(self) -> tuple[DecisionView, ...]:
        return self.of("cut", "face", "replace")

    @property
    def left(self) -> tuple[DecisionView, ...]:
        return self.of("leave")

    @property
    def to_measure(self) -> tuple[UnmeasuredView, ...]:
        return tuple(each for each in self.unmeasured if each.changes)

    @property
    def saves(self) -> AimsView | None:
        """What it saves against cutting the whole set by the worst roll."""
        if self.aims is None or self.baseline is None:
            return None
        one, other = self.baseline, self.aims
        return AimsView(one.cents - other.cents, one.replaced - other.replaced,
                        one.worked - other.worked, one.stock_nm - other.stock_nm)  # fmt: skip

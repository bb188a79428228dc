"""What the page of when to send what shows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from tooling.engineering.timing import Lead


@dataclass(frozen=True)
class OptionView:
    """A stretch between two jobs. ``slips``: days that the next job would wait."""

    opens: date
    closes: date | None
    out: date
    back: date
    state: str
    next_job: str
    slips: int
    passes: str


@dataclass(frozen=True)
class JobView:
    """A planned job of a set, from being gathered to its end."""

    number: str
    gathers: date
    ends: date
    crosses: bool


@dataclass(frozen=True)
class ChoiceView:
    """Recut or replace the most worn piece; amounts a kilometre of strip in the currency."""

    piece: str
    says: str
    recut_per_km: float | None
    replace_per_km: float | None
    open: tuple[str, ...]
    rule: str

    @property
    def recut_cents_per_km(self) -> float | None:
        """The same in hundredths."""
        return None if self.recut_per_km is None else 100 * self.recut_per_km

    @property
    def replace_cents_per_km(self) -> float | None:
        """The same in hundredths."""
        return None if self.replace_per_km is None else 100 * self.replace_per_km


@dataclass(frozen=True)
class WindowView:
    """One set. ``crosses``: the job during which its first roll passes its limit."""

    copy: str
    set_name: str
    rolls: int
    pieces: int
    left_m: float | None
    governs: str
    governs_mark: str
    crosses: str
    deadline: date | None
    chosen: OptionView | None
    options: tuple[OptionView, ...]
    jobs: tuple[JobView, ...]
    earlier_days: int
    slack: int | None
    owes_approval: tuple[str, ...]
    away_until: date | None
    plan: str
    choice: ChoiceView | None
    today: date

    @property
    def is_overdue(self) -> bool:
        """What is away should be back already."""
        return self.away_until is not None and self.away_until < self.today

    @property
    def others(self) -> tuple[OptionView, ...]:
        """The stretches that are not suggested; of those after the limit is passed the first."""
        chosen = self.chosen
        found = [o for o in self.options if chosen is None or o.opens != chosen.opens]
        late = [o for o in found if o.state == "past_limit"]
        return tuple(o for o in found if o.state != "past_limit" or o == late[0])


@dataclass(frozen=True)
class WhenPage:
    """Every set with rolls, the most urgent first."""

    today: date
    windows: tuple[WindowView, ...]
    lead: Lead
    pieces_a_week: int
    is_proven: bool
    currency: str = ""

    @property
    def urgent(self) -> int:
        return sum(bool(each.crosses) and each.chosen is None for each in self.windows)

    @property
    def due(self) -> tuple[WindowView, ...]:
        return tuple(each for each in self.windows if each.crosses)

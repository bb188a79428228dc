"""What a regrind plan says: a decision for every piece, and what the set is like afterwards."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from tooling.engineering.findings import Finding
from tooling.engineering.how import Step
from tooling.engineering.regrinds.geometry import Least
from tooling.engineering.regrinds.weigh import Aims

Kind = Literal["leave", "cut", "face", "replace"]
Reason = Finding
"""A sentence with its numbers; ``text(show_length)`` says it in the reader's unit."""


@dataclass(frozen=True)
class Change:
    """One diameter of a piece before and after, in nm."""

    name: str
    before_nm: int
    after_nm: int


@dataclass(frozen=True)
class Decision:
    """What becomes of one piece. ``amount_nm`` comes off every diameter of a piece that is cut.

    ``width_nm`` and ``guide_nm``: what facing takes off its width and its guide offset, so much
    more fill its shaft needs. ``left``: regrinds left afterwards, ``left_before`` before.
    """

    piece: str
    kind: Kind
    amount_nm: int
    reasons: tuple[Reason, ...]
    diameters: tuple[Change, ...]
    least: Least | None
    left: int | None
    left_before: int | None
    width_nm: int = 0
    guide_nm: int = 0

    def after_nm(self, name: str) -> int | None:
        """A diameter afterwards."""
        return next((each.after_nm for each in self.diameters if each.name == name), None)


@dataclass(frozen=True)
class ShaftTold:
    """The drive of one shaft before and after: diameter, and diameter at equal speed."""

    piece: str
    before_nm: int
    after_nm: int
    speed_before_nm: Fraction
    speed_after_nm: Fraction


@dataclass(frozen=True)
class PassTold:
    """One pass before and after. Moves are signed, down is negative, in nm."""

    number: int
    station: int | None
    top: ShaftTold | None
    bottom: ShaftTold | None
    centres_before_nm: Fraction | None
    centres_after_nm: Fraction | None
    pass_line_nm: Fraction
    top_shaft_nm: Fraction
    bottom_shaft_nm: Fraction
    top_turns: float | None
    reset: bool


@dataclass(frozen=True)
class LineTold:
    """One set on one mill: its passes, and what the check of speeds and centres says afterwards."""

    name: str
    mill: str
    is_other: bool
    passes: tuple[PassTold, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Baseline:
    """Cutting the whole set by the worst roll: what it would take.

    ``amount_nm`` off a bottom roll; a top roll loses it times the ratio. ``broken``: what it would
    break, empty where it keeps everything.
    """

    amount_nm: int
    aims: Aims
    broken: tuple[Reason, ...]


@dataclass(frozen=True)
class Unmeasured:
    """Something that nobody measured. ``changes``: another plausible value changes the plan."""

    piece: str
    what: str
    changes: bool


@dataclass(frozen=True)
class Plan:
    """The answer. ``bound``: no answer has smaller aims; equal to them where it is proven."""

    decisions: tuple[Decision, ...]
    lines: tuple[LineTold, ...]
    aims: Aims
    bound: Aims | None
    is_proven: bool
    baseline: Baseline
    other_sets: tuple[str, ...]
    unmeasured: tuple[Unmeasured, ...]
    how: tuple[Step, ...] = field(repr=False, default=())

    def decision(self, piece: str) -> Decision | None:
        """What becomes of that piece."""
        return next((each for each in self.decisions if each.piece == piece), None)


@dataclass(frozen=True)
class Conflict:
    """Requirements that cannot be kept together, though any one less could; and what frees them."""

    requirements: tuple[Reason, ...]
    frees: tuple[Reason, ...]


@dataclass(frozen=True)
class Solved:
    """``ok`` with a plan, ``infeasible`` with conflicts, ``stopped`` with a plan where one was
    found before."""

    status: Literal["ok", "infeasible", "stopped"]
    plan: Plan | None = None
    conflicts: tuple[Conflict, ...] = ()

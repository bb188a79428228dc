"""What a setup sheet says: plain sentences, stacks, numbers to set. For paper and for the page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

NOTHING = "–"
"""What is said where there is no number."""

Caution = Literal["", "none", "heavy", "two_people"]


@dataclass(frozen=True, slots=True)
class StackLine:
    """One thing on a shaft: its turn from the shoulder, mark or length large, what it is below.

    ``figures`` are short; on a shaft three, each perhaps empty: width, drive diameter, mass.
    ``note`` is what must not be overlooked.
    """

    turn: str
    name: str
    code: str = ""
    what: str = ""
    figures: tuple[str, ...] = ()
    note: str = ""
    caution: Caution = ""
    is_spacer: bool = False
    is_here: bool = True


@dataclass(frozen=True, slots=True)
class ShaftPart:
    """A shaft's stack from the shoulder out."""

    which: str
    title: str
    total: str
    lines: tuple[StackLine, ...]


@dataclass(frozen=True, slots=True)
class SettingLine:
    """A number to set: target, the last good one for today, why it is struck out, what it was."""

    name: str
    target: str
    last: str = ""
    is_struck: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True)
class StationPart:
    """A station: stacks, side rolls, how it is gapped, moves, numbers to set."""

    number: int
    title: str
    code: str
    shafts: tuple[ShaftPart, ...]
    side: tuple[StackLine, ...]
    gap: tuple[tuple[str, str], ...]
    problems: tuple[str, ...]
    moves: tuple[str, ...]
    settings: tuple[SettingLine, ...]
    note: str = ""

    @property
    def has_numbers(self) -> bool:
        """Whether any of them has a target or a last good number."""
        return any(line.last or line.target != NOTHING for line in self.settings)


@dataclass(frozen=True, slots=True)
class SetupPaper:
    """A whole setup sheet. ``printed_at`` is in the shop's zone; ``kit_code`` is scanned back.

    ``proof`` is the large word, ``proof_why`` the sentence beside it.
    """

    title: str
    kit_code: str
    version: int
    revision: str
    printed_at: datetime
    is_proved: bool
    proof: str
    proof_why: str
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    stations: tuple[StationPart, ...]
    line: tuple[StackLine, ...]

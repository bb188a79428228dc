"""What a pull list on paper says: plain sentences and rows, in walking order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

Caution = Literal["", "none", "heavy", "two_people"]


@dataclass(frozen=True, slots=True)
class PullRow:
    """One thing to take: its mark or name large, its code, what it is, where it goes.

    ``mass_kg`` is None where it is not known. ``note`` is a short sentence: why it needs a
    thought.
    """

    name: str
    code: str = ""
    what: str = ""
    goes_to: str = ""
    quantity: int = 1
    mass_kg: float | None = None
    caution: Caution = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class PullStop:
    """A place on the walk, its innermost name last after `` / ``, and what to take there."""

    place: str
    rows: tuple[PullRow, ...]
    code: str = ""


@dataclass(frozen=True, slots=True)
class PullSheet:
    """A kit's pull list. ``printed_at`` is in the shop's zone; ``kit_code`` is scanned back.

    ``facts`` are pairs of a word and what it is; ``not_to_fetch`` cannot be fetched, with the
    reason as each row's note.
    """

    title: str
    kit_code: str
    version: int
    printed_at: datetime
    header: str = ""
    facts: tuple[tuple[str, str], ...] = ()
    stops: tuple[PullStop, ...] = ()
    not_to_fetch: tuple[PullRow, ...] = ()

    @property
    def quantity(self) -> int:
        return sum(row.quantity for stop in self.stops for row in stop.rows)

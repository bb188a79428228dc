"""What an owner's register on paper says: plain sentences, facts and rows, place by place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class RegisterRow:
    """One piece: its mark or name large, its label code as text and symbol, what it is, facts as
    pairs of a word and what it is. ``picture`` is the key of its picture, empty without one."""

    name: str
    code: str
    what: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    note: str = ""
    picture: str = ""


@dataclass(frozen=True, slots=True)
class CountRow:
    """Counted pieces in one bin."""

    code: str
    what: str
    quantity: int
    where: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class RegisterPlace:
    """A place, its innermost name last after `` / ``, and what lies there."""

    place: str
    code: str
    rows: tuple[RegisterRow, ...]


@dataclass(frozen=True, slots=True)
class RegisterSheet:
    """An owner's tooling at a moment. ``printed_at`` is in the shop's zone.

    ``picture`` gives the JPEG of a key, already as small as it is printed, or None.
    """

    title: str
    owner_code: str
    printed_at: datetime
    sentence: str
    facts: tuple[tuple[str, str], ...] = ()
    places: tuple[RegisterPlace, ...] = ()
    counts: tuple[CountRow, ...] = ()
    picture: Callable[[str], bytes | None] = lambda key: None

"""A setup as it comes down, as its page and programs are shown it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Coming:
    """One piece of the setup. ``to``: the place's id where it comes off to, None where nobody
    knows; ``to_name`` in words. ``state``: on (its shaft is on and it lies there), gap (its shaft
    is off and it still lies there), stays (for the next kit), flagged (held or not fit: it is
    scanned by itself), off."""

    piece_id: int
    code: str
    mark: str
    drawing: str
    shaft: str
    turn: int
    to: int | None
    to_name: str
    state: str
    condition_word: str
    now: str
    is_home: bool

    @property
    def name(self) -> str:
        return self.mark or self.drawing


@dataclass(frozen=True)
class Row:
    """One station's pegs. ``shafts``: those that are mounted still and do not stay whole."""

    station: int
    pass_number: int
    shafts: tuple[str, ...]
    pieces: tuple[Coming, ...]

    @property
    def is_open(self) -> bool:
        return bool(self.shafts)

    @property
    def coming(self) -> tuple[Coming, ...]:
        """What one tap takes off."""
        return tuple(
            each for each in self.pieces if each.state == "on" and each.shaft in self.shafts
        )

    @property
    def flagged(self) -> tuple[Coming, ...]:
        return tuple(each for each in self.pieces if each.state == "flagged")

    @property
    def stays(self) -> tuple[Coming, ...]:
        return tuple(each for each in self.pieces if each.state == "stays")

    @property
    def gaps(self) -> tuple[Coming, ...]:
        return tuple(each for each in self.pieces if each.state == "gap")

    @property
    def places(self) -> tuple[str, ...]:
        """Where it goes, each once."""
        return tuple(dict.fromkeys(each.to_name for each in self.coming if each.to_name))


@dataclass(frozen=True)
class SpacerRow:
    """Counted things that lie on the cart or the mill, and the bin they go back to; no bin: none
    is known."""

    drawing: str
    count: int
    bin: str


@dataclass(frozen=True)
class StripDown:
    """A setup being struck down. ``undo``: the newest act that can be undone, empty for none;
    ``next_job``: for which pieces stay."""

    number: str
    version: int
    job: str
    set_number: str
    set_name: str
    mill: str
    mill_name: str
    is_over: bool
    is_short: bool
    cart: str
    next_job: str
    rows: tuple[Row, ...]
    spacers: tuple[SpacerRow, ...]
    looked_over: str
    undo: str

    @property
    def open_rows(self) -> tuple[Row, ...]:
        return tuple(row for row in self.rows if row.is_open)

    @property
    def done_rows(self) -> tuple[Row, ...]:
        return tuple(row for row in self.rows if not row.is_open)

    @property
    def full_rows(self) -> tuple[Row, ...]:
        """Open rows of which everything has a place to go."""
        return tuple(row for row in self.open_rows if all(each.to for each in row.coming))

    @property
    def full_pieces(self) -> int:
        return sum(len(row.coming) for row in self.full_rows)

    @property
    def staying(self) -> tuple[Coming, ...]:
        return tuple(each for row in self.rows for each in row.stays)

    @property
    def flagged(self) -> tuple[Coming, ...]:
        return tuple(each for row in self.rows for each in row.flagged)

    @property
    def not_home(self) -> tuple[Coming, ...]:
        """What is off, or was never on, and lies neither in its place nor in storage."""
        return tuple(
            each
            for row in self.rows
            for each in row.pieces
            if each.state in ("gap", "flagged", "off") and not each.is_home
        )

    @property
    def coming(self) -> int:
        return sum(len(row.coming) for row in self.open_rows)

    @property
    def spacer_count(self) -> int:
        return sum(each.count for each in self.spacers)

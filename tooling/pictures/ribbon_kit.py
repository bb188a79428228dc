"""What the pass ribbon is drawn from: a kit's stations, shafts and pieces. Lengths in nm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tooling.pictures.state_marks import STATE_WORDS

Hand = Literal["left", "right"]
ShaftName = Literal["top", "bottom", "side"]
Side = Literal["", "drive", "operator"]

ASSUMED_WIDTH_NM = 20_000_000
ASSUMED_DIAMETER_NM = 80_000_000


@dataclass(frozen=True, slots=True)
class RibbonPiece:
    """One position: what fills it, its state and size.

    ``code`` is empty where nothing fills the position, or a pooled spacer does. ``side`` is for
    side rolls; where it is empty they take turns, the first on the drive side. A size that nobody
    knows is None and is drawn as an assumed one. Raises ValueError for a width or diameter that is
    not positive and for an unknown state.
    """

    code: str
    state: str
    order: int
    width_nm: int | None
    diameter_nm: int | None
    mark: str = ""
    is_spacer: bool = False
    side: Side = ""

    def __post_init__(self) -> None:
        if any(size is not None and size <= 0 for size in (self.width_nm, self.diameter_nm)):
            raise ValueError("a width or diameter is more than nothing, or not known")
        if self.state not in STATE_WORDS:
            raise ValueError(f"{self.state!r} is none of the nine states")

    @property
    def drawn_width_nm(self) -> int:
        return ASSUMED_WIDTH_NM if self.width_nm is None else self.width_nm

    @property
    def drawn_diameter_nm(self) -> int:
        return ASSUMED_DIAMETER_NM if self.diameter_nm is None else self.diameter_nm

    def data(self, station: int, shaft: str) -> tuple[tuple[str, str], ...]:
        """What the piece's group tells programs; a size that is not known is empty."""
        return (
            ("code", self.code),
            ("state", self.state),
            ("station", str(station)),
            ("shaft", shaft),
            ("order", str(self.order)),
            ("width-nm", "" if self.width_nm is None else str(self.width_nm)),
            ("diameter-nm", "" if self.diameter_nm is None else str(self.diameter_nm)),
        )


@dataclass(frozen=True, slots=True)
class RibbonShaft:
    """The pieces of one shaft in order from the shoulder, and where a tap on it leads."""

    shaft: ShaftName
    pieces: tuple[RibbonPiece, ...]
    href: str = ""

    def states(self) -> tuple[str, ...]:
        return tuple(piece.state for piece in self.pieces)


@dataclass(frozen=True, slots=True)
class RibbonStation:
    """One station; without pieces it is idle. ``pass_name`` is what its column is headed with."""

    station: int
    shafts: tuple[RibbonShaft, ...] = ()
    pass_name: str = ""

    @property
    def is_idle(self) -> bool:
        return not any(shaft.pieces for shaft in self.shafts)

    def states(self) -> tuple[str, ...]:
        return tuple(state for shaft in self.shafts for state in shaft.states())

    def filled(self, *names: str) -> tuple[RibbonShaft, ...]:
        """The named shafts that carry pieces."""
        return tuple(shaft for shaft in self.shafts if shaft.pieces and shaft.shaft in names)


@dataclass(frozen=True, slots=True)
class RibbonKit:
    """A kit for its picture: stations in the order in which the strip meets them.

    ``entry`` is where the operator sees the strip come in; ``drive_side`` is where the shoulders
    are, looking downstream.
    """

    stations: tuple[RibbonStation, ...]
    entry: Hand = "left"
    drive_side: Hand = "left"

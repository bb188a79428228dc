"""What a regrind plan is computed from. Lengths are whole nanometres, diameters as recorded.

A field that may be None was never measured or entered.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import Literal

PinKind = Literal["leave", "cut", "cut_to", "face", "replace"]
Side = Literal["inboard", "outboard", ""]


def _require(is_so: bool, what: str) -> None:
    if not is_so:
        raise ValueError(what)


@dataclass(frozen=True)
class Diameter:
    """One recorded diameter of a piece; ``drive`` runs at strip speed, ``root`` is the throat.

    ``least_nm`` is the drawing's minimum. ``uncertainty_nm`` is expanded (k = 2); None where the
    diameter was never measured.
    """

    name: str
    now_nm: int
    drawn_nm: int | None = None
    least_nm: int | None = None
    uncertainty_nm: int | None = None

    def __post_init__(self) -> None:
        sizes = (self.now_nm, self.drawn_nm, self.least_nm)
        _require(all(size is None or size > 0 for size in sizes), "a diameter is more than nothing")
        _require((self.uncertainty_nm or 0) >= 0, "an uncertainty is not negative")

    @property
    def top_nm(self) -> int:
        """The largest that a new roll may have here: as drawn, or as it is where that is larger."""
        return max(self.now_nm, self.drawn_nm or 0)


@dataclass(frozen=True)
class WearPoint:
    """What a gauge point lost since the last cut, normal to its face.

    ``depth_nm`` None: never read; not ``is_read``: reckoned from like pieces. ``angle_degrees`` of
    the face to the shaft. ``limit_nm`` on depth. ``crosses``: forecast to cross the limit before
    the next window. ``side``: of a face, which one. Growth is no depth: it is build-up, to be
    cleaned off.
    """

    name: str
    depth_nm: int | None
    angle_degrees: float = 0.0
    limit_nm: int | None = None
    crosses: bool = False
    side: Side = ""
    is_read: bool = True

    def __post_init__(self) -> None:
        _require(0 <= self.angle_degrees <= 90, "a face stands at 0 to 90 degrees to the shaft")
        _require(
            self.limit_nm is None or self.limit_nm > 0, "a limit on depth is more than nothing"
        )

    @property
    def is_beyond(self) -> bool:
        """Worn past its limit."""
        return None not in (self.depth_nm, self.limit_nm) and self.depth_nm > self.limit_nm  # type: ignore[operator]

    @property
    def lost_nm(self) -> int:
        """Depth to clean up; nothing where it was never read or grew."""
        return max(0, self.depth_nm or 0)


@dataclass(frozen=True)
class Keyway:
    """Bore and keyway as they were cut; no keyway: depth and width 0."""

    bore_nm: int
    hub_depth_nm: int = 0
    width_nm: int = 0

    def __post_init__(self) -> None:
        _require(self.bore_nm > 0, "a bore is more than nothing")
        _require(min(self.hub_depth_nm, self.width_nm) >= 0, "a keyway is not negative")
        _require(self.width_nm <= self.bore_nm, "a keyway is not wider than its bore")


@dataclass(frozen=True)
class Piece:
    """One roll or segment. A piece that is not ``in_plan`` stays as it is.

    ``worn_nm``: what wear took off its drive diameter since the last cut; stock counts without it.
    ``plated_nm``: plated thickness that the diameters include, a side. ``case_depth_nm``: hardened
    depth from the drawn diameter, on radius. ``faced_to_nm``: least face width. ``new_cents``:
    price of a new one. ``life_cents_per_mm``: what a millimetre of its diameter is worth.
    ``other_sets``: sets outside the plan that use it.
    """

    name: str
    diameters: tuple[Diameter, ...] = ()
    points: tuple[WearPoint, ...] = ()
    keyway: Keyway | None = None
    worn_nm: int = 0
    case_depth_nm: int | None = None
    plated_nm: int = 0
    width_nm: int | None = None
    faced_to_nm: int | None = None
    guide_offset_nm: int | None = None
    is_segment: bool = False
    idles: bool = False
    may_replace: bool = True
    in_plan: bool = True
    new_cents: int | None = None
    life_cents_per_mm: Fraction | None = None
    other_sets: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _require(bool(self.name), "a piece has a name")
        names = [each.name for each in self.diameters]
        _require(len(set(names)) == len(names), f"{self.name}: a diameter is named twice")
        numbers = (
            self.worn_nm,
            self.plated_nm,
            self.case_depth_nm,
            self.new_cents,
            self.life_cents_per_mm,
        )
        _require(
            all(number is None or number >= 0 for number in numbers),
            f"{self.name}: wear, plating, case, price and life are not negative",
        )
        widths = (self.width_nm, self.faced_to_nm)
        _require(
            all(width is None or width > 0 for width in widths),
            f"{self.name}: a face width is more than nothing",
        )

    def diameter(self, name: str) -> Diameter | None:
        """The diameter of that name."""
        return next((each for each in self.diameters if each.name == name), None)

    @property
    def drive(self) -> Diameter | None:
        """The drive diameter, where this piece may run at strip speed."""
        return None if self.idles else self.diameter("drive")


@dataclass(frozen=True)
class ShaftRun:
    """The pieces on one shaft of a pass, in order from the shoulder."""

    pieces: tuple[str, ...]
    driven: bool = True
    rpm_factor: Fraction = Fraction(1)

    def __post_init__(self) -> None:
        _require(self.rpm_factor > 0, "an rpm factor is more than nothing")


@dataclass(frozen=True)
class GapPoint:
    """Where a pass's gap is set: the pieces there, their diameters there, the gap between them."""

    top: str
    top_nm: int
    bottom: str
    bottom_nm: int
    gap_nm: int = 0

    def __post_init__(self) -> None:
        _require(min(self.top_nm, self.bottom_nm) > 0, "a diameter is more than nothing")
        _require(self.gap_nm >= 0, "a gap is not negative")


@dataclass(frozen=True)
class LinePass:
    """One occupied pass at its station. ``ratio`` is D_top / D_bottom at equal surface speed."""

    number: int
    station: int | None = None
    ratio: Fraction = Fraction(1)
    top: ShaftRun | None = None
    bottom: ShaftRun | None = None
    gap: GapPoint | None = None
    vertical_least_nm: int | None = None
    vertical_most_nm: int | None = None
    bottom_adjustable: bool = False
    screw_lead_nm: int | None = None

    def __post_init__(self) -> None:
        _require(self.ratio > 0, "a gear ratio is more than nothing")
        _require(self.screw_lead_nm is None or self.screw_lead_nm > 0, "a screw has a lead")

    def pieces(self) -> tuple[str, ...]:
        """All pieces of both shafts and of the gap point."""
        runs = [run.pieces for run in (self.top, self.bottom) if run is not None]
        at_gap = (self.gap.top, self.gap.bottom) if self.gap else ()
        return tuple(dict.fromkeys([*(name for run in runs for name in run), *at_gap]))


@dataclass(frozen=True)
class Line:
    """One copy of a set on one mill, its passes in the order in which the strip meets them.

    ``is_other``: a set outside the plan that uses pieces of it: kept no worse than it is now.
    """

    name: str
    mill: str
    passes: tuple[LinePass, ...]
    is_other: bool = False


@dataclass(frozen=True)
class Pin:
    """What the engineer settled for a piece. ``cut``: must be cut, by how much is open. ``face``:
    its worn faces are cut and its diameters stay."""

    piece: str
    kind: PinKind
    diameter_nm: int | None = None
    diameter: str = "drive"

    def __post_init__(self) -> None:
        _require(
            (self.kind == "cut_to") == (self.diameter_nm is not None),
            f"{self.piece}: a diameter belongs to “cut to” and to nothing else",
        )
        _require(
            self.diameter_nm is None or self.diameter_nm > 0, "a diameter is more than nothing"
        )


@dataclass(frozen=True)
class Limits:
    """Settings of the shop. ``slack_now``: a step that is slack today is ``mend``-ed, or ``kept``
    no worse where the engineer signs for it."""

    allowance_nm: int = 50_000
    step_nm: int = 20_000
    face_from_degrees: float = 75.0
    usual_stock_nm: int = 750_000
    least_wall_nm: int = 6_000_000
    ratio_tolerance: Fraction = Fraction(1, 1000)
    slack_now: Literal["mend", "kept"] = "mend"

    def __post_init__(self) -> None:
        _require(self.step_nm > 0, "the grinder's step is more than nothing")
        _require(self.usual_stock_nm > 0, "the usual stock per cut is more than nothing")
        _require(min(self.allowance_nm, self.least_wall_nm) >= 0, "an allowance is not negative")
        _require(0 <= self.ratio_tolerance < 1, "a ratio's tolerance is between 0 and 1")
        _require(0 < self.face_from_degrees <= 90, "the set angle is between 0 and 90 degrees")


@dataclass(frozen=True)
class Prices:
    """Prices of the shop in hundredths. A new piece without a price of its own costs ``new``."""

    setup_cents: int = 0
    cents_per_mm: Fraction = Fraction(0)
    face_cents: int = 0
    new_cents: int = 0

    def __post_init__(self) -> None:
        whole = min(self.setup_cents, self.face_cents, self.new_cents)
        _require(whole >= 0 and self.cents_per_mm >= 0, "a price is not negative")


@dataclass(frozen=True)
class Problem:
    """One question: which pieces are cut, by how much. ``contours``: pieces that share one."""

    pieces: tuple[Piece, ...]
    lines: tuple[Line, ...] = ()
    contours: tuple[tuple[str, ...], ...] = ()
    pins: tuple[Pin, ...] = ()
    limits: Limits = field(default_factory=Limits)
    prices: Prices | None = None

    def __post_init__(self) -> None:
        known = {piece.name for piece in self.pieces}
        _require(len(known) == len(self.pieces), "a piece is there twice")
        _unknown(known, (name for one in self.contours for name in one), "contour")
        _unknown(known, (pin.piece for pin in self.pins), "pin")
        _unknown(
            known, (name for line in self.lines for p in line.passes for name in p.pieces()), "pass"
        )
        pinned = [pin.piece for pin in self.pins]
        _require(len(set(pinned)) == len(pinned), "a piece is pinned twice")

    @cached_property
    def by_name(self) -> Mapping[str, Piece]:
        """The pieces by name."""
        return {piece.name: piece for piece in self.pieces}

    def pin(self, name: str) -> Pin | None:
        """What was settled for a piece."""
        return next((pin for pin in self.pins if pin.piece == name), None)


def _unknown(known: set[str], named: Iterable[str], where: str) -> None:
    stranger = next((name for name in named if name not in known), None)
    _require(stranger is None, f"a {where} names {stranger}, which is no piece of the problem")

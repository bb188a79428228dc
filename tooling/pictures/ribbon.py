"""The pass ribbon: a kit as the strip meets it, one column per station, drawn cell by cell.

Every cell is seen looking downstream: the shoulder stands on the drive side, the shaft lies
across, side rolls stand upright. One scale serves the whole ribbon, so that what is larger is
drawn larger and within a shaft widths and diameters keep their proportion exactly. Columns,
their order and their turning on a narrow screen are the style sheet's business.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tooling.pictures.shapes import Drawing, Group, Line, Mark, Rect, Shape
from tooling.pictures.state_marks import STATE_WORDS, TROUBLE, gravest
from tooling.pictures.svg import paint_svg

PX = 25.4 / 96
"""One CSS pixel in millimetres of the picture."""

NM_PER_MM = 1_000_000
CELL_WIDTH = 88 * PX
CELL_HEIGHT = 92 * PX
CELL_EDGE = 6 * PX
SHOULDER = 3 * PX
LEAST_MARKED = 14 * PX
MARK = 13 * PX
UNKNOWN_WIDTH_NM = 20 * NM_PER_MM
"""Drawn for a piece whose width nobody knows; its group then has no width."""
UNKNOWN_DIAMETER_NM = 80 * NM_PER_MM

ShaftName = Literal["top", "bottom", "side"]
DriveSide = Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class RibbonPiece:
    """What stands, or is to stand, at one position; lengths in nm, None when not known."""

    code: str
    state: str
    order: int
    width_nm: int | None
    diameter_nm: int | None
    side: str = ""


@dataclass(frozen=True, slots=True)
class RibbonShaft:
    """One shaft of a station with its pieces from the shoulder out."""

    shaft: ShaftName
    pieces: tuple[RibbonPiece, ...] = ()
    roll_space_nm: int | None = None

    @property
    def length_nm(self) -> int:
        return sum(_width_nm(piece) for piece in self.pieces)


@dataclass(frozen=True, slots=True)
class RibbonStation:
    """One station; without a pass it is idle."""

    number: int
    pass_number: int | None
    top: RibbonShaft = field(default_factory=lambda: RibbonShaft("top"))
    bottom: RibbonShaft = field(default_factory=lambda: RibbonShaft("bottom"))
    side: RibbonShaft = field(default_factory=lambda: RibbonShaft("side"))

    @property
    def shafts(self) -> tuple[RibbonShaft, ...]:
        return (self.top, self.bottom, self.side)


@dataclass(frozen=True, slots=True)
class RibbonKit:
    """A kit to draw."""

    number: str
    entry_left: bool
    drive_side: DriveSide
    stations: tuple[RibbonStation, ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """One shaft drawn: its picture, its gravest state and how many are not here."""

    shaft: ShaftName
    picture: SafeString
    state: str
    lacking: int
    said: str


@dataclass(frozen=True, slots=True)
class Column:
    """One station of the ribbon."""

    number: int
    pass_number: int | None
    state: str
    is_trouble: bool
    said: str
    top: Cell | None
    bottom: Cell | None
    side: Cell | None


@dataclass(frozen=True, slots=True)
class Ribbon:
    """What a page shows: columns in the order in which the strip meets them."""

    number: str
    entry_left: bool
    columns: tuple[Column, ...]

    @property
    def troubles(self) -> int:
        return sum(column.is_trouble for column in self.columns)


def draw_ribbon(kit: RibbonKit) -> Ribbon:
    """Every column with its cells drawn at one scale."""
    scale = _scale(kit.stations)
    columns = tuple(_column(kit, station, scale) for station in kit.stations)
    return Ribbon(kit.number, kit.entry_left, columns)


def _column(kit: RibbonKit, station: RibbonStation, scale: float) -> Column:
    cells = {each.shaft: _cell(kit, station, each, scale) for each in station.shafts if each.pieces}
    states = [piece.state for each in station.shafts for piece in each.pieces]
    state = gravest(states)
    return Column(
        number=station.number,
        pass_number=station.pass_number,
        state=state,
        is_trouble=state in TROUBLE,
        said=_("Station {n}: {states}").format(n=station.number, states=say_states(states)),
        top=cells.get("top"),
        bottom=cells.get("bottom"),
        side=cells.get("side"),
    )


def say_states(states: Iterable[str]) -> str:
    """``5 here, 1 missing``, what is here first; ``idle`` when there is nothing."""
    counts = Counter(states)
    order = [state for state in reversed(STATE_WORDS) if counts[state]]
    return ", ".join(f"{counts[state]} {STATE_WORDS[state]}" for state in order) or _("idle")


def _cell(kit: RibbonKit, station: RibbonStation, shaft: RibbonShaft, scale: float) -> Cell:
    states = [piece.state for piece in shaft.pieces]
    said = _("Station {n}, {shaft}: {states}").format(
        n=station.number, shaft=shaft_word(shaft.shaft), states=say_states(states)
    )
    draw = _upright if shaft.shaft == "side" else _stack
    drawing = draw(shaft, station.number, kit.drive_side, scale, said)
    return Cell(
        shaft=shaft.shaft,
        picture=paint_svg(drawing, key=f"cell-{station.number}-{shaft.shaft}"),
        state=gravest(states),
        lacking=sum(state != "here" for state in states),
        said=said,
    )


def shaft_word(shaft: str) -> str:
    """The shaft as a sentence says it."""
    return {"top": _("top"), "bottom": _("bottom"), "side": _("side rolls")}[shaft]


def pieces_word(count: int) -> str:
    return ngettext("{n} piece", "{n} pieces", count).format(n=count)


def _width_nm(piece: RibbonPiece) -> int:
    return piece.width_nm or UNKNOWN_WIDTH_NM


def _diameter_nm(piece: RibbonPiece) -> int:
    return piece.diameter_nm or UNKNOWN_DIAMETER_NM


def _scale(stations: Sequence[RibbonStation]) -> float:
    """Millimetres of picture per nanometre of tooling, so that the largest cell just fits."""
    across = [shaft for station in stations for shaft in (station.top, station.bottom)]
    longest = max((max(each.length_nm, each.roll_space_nm or 0) for each in across), default=0)
    thickest = max((_diameter_nm(piece) for each in across for piece in each.pieces), default=0)
    sides = [piece for station in stations for piece in station.side.pieces]
    widest = 2 * max((_diameter_nm(piece) for piece in sides), default=0)
    return scale_to_fit(
        max(longest, widest), thickest, CELL_WIDTH - SHOULDER - 2 * PX, CELL_HEIGHT - 4 * PX
    )


def scale_to_fit(length_nm: int, diameter_nm: int, width: float, height: float) -> float:
    """The largest scale at which both fit into the room of this width and height."""
    scales = [room / size for room, size in ((width, length_nm), (height, diameter_nm)) if size > 0]
    return min(scales, default=width / NM_PER_MM)


def _stack(
    shaft: RibbonShaft, station: int, drive_side: DriveSide, scale: float, said: str
) -> Drawing:
    """Pieces on a lying shaft, the first against the shoulder."""
    axis = CELL_HEIGHT / 2
    room = max(shaft.length_nm, shaft.roll_space_nm or 0) * scale
    start = (CELL_WIDTH - room - SHOULDER) / 2 + SHOULDER
    shapes: list[Shape] = [
        Line(0, axis, CELL_WIDTH, axis, "axis"),
        Rect(_seen(start - SHOULDER, SHOULDER, drive_side), axis - 9 * PX, SHOULDER, 18 * PX,
             "shoulder"),
    ]  # fmt: skip
    along = start
    for piece in shaft.pieces:
        width, height = _width_nm(piece) * scale, _diameter_nm(piece) * scale
        left = _seen(along, width, drive_side)
        shapes.append(
            piece_group(piece, station, shaft.shaft, left, axis - height / 2, width, height)
        )
        along += width
    return Drawing(CELL_WIDTH, CELL_HEIGHT, tuple(shapes), title=said, look="stack")


def _seen(left: float, width: float, drive_side: DriveSide) -> float:
    """Where something stands that is measured from a shoulder on the left."""
    return left if drive_side == "left" else CELL_WIDTH - left - width


def _upright(
    shaft: RibbonShaft, station: int, drive_side: DriveSide, scale: float, said: str
) -> Drawing:
    """Side rolls on standing pins either side of the strip, seen end-on in the middle."""
    drive = [piece for piece in shaft.pieces if piece.side == "drive"]
    away = [piece for piece in shaft.pieces if piece.side == "operator"]
    rest = [piece for piece in shaft.pieces if piece.side not in ("drive", "operator")]
    for index, piece in enumerate(rest):
        (drive if index % 2 == 0 else away).append(piece)
    widest = max((_diameter_nm(piece) for piece in shaft.pieces), default=0) * scale
    width = max(2 * widest + 2 * CELL_EDGE, 56 * PX)
    shapes: list[Shape] = [
        Line(width / 2 - CELL_EDGE, CELL_HEIGHT / 2, width / 2 + CELL_EDGE, CELL_HEIGHT / 2,
             "strip"),
    ]  # fmt: skip
    for pieces, middle in ((drive, width / 4), (away, width * 3 / 4)):
        seen = middle if drive_side == "left" else width - middle
        shapes += _column_of(pieces, station, seen, scale)
    return Drawing(width, CELL_HEIGHT, tuple(shapes), title=said, look="stack")


def _column_of(
    pieces: Sequence[RibbonPiece], station: int, middle: float, scale: float
) -> list[Shape]:
    total = sum(_width_nm(piece) for piece in pieces) * scale
    shapes: list[Shape] = []
    if pieces:
        shapes.append(Line(middle, 2 * PX, middle, CELL_HEIGHT - 2 * PX, "axis"))
    down = (CELL_HEIGHT - total) / 2
    for piece in pieces:
        high, wide = _width_nm(piece) * scale, _diameter_nm(piece) * scale
        shapes.append(piece_group(piece, station, "side", middle - wide / 2, down, wide, high))
        down += high
    return shapes


def piece_group(
    piece: RibbonPiece,
    station: int,
    shaft: ShaftName,
    left: float,
    top: float,
    width: float,
    height: float,
) -> Group:
    """One piece with its data; its mark stands in it where there is room."""
    shapes: tuple[Shape, ...] = (Rect(left, top, width, height, "body"),)
    if min(width, height) >= LEAST_MARKED:
        shapes += (Mark(piece.state, left + width / 2, top + height / 2, MARK, "shape"),)
    return Group(
        shapes,
        look="piece",
        data=(
            ("code", piece.code),
            ("state", piece.state),
            ("station", str(station)),
            ("shaft", shaft),
            ("order", str(piece.order)),
            ("width-nm", "" if piece.width_nm is None else str(piece.width_nm)),
            ("diameter-nm", "" if piece.diameter_nm is None else str(piece.diameter_nm)),
        ),
    )

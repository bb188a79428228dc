"""The shapes of one station's stacks. Millimetres on the page, laid out in CSS pixels.

A piece is an area without a stroke, so that its drawn width and diameter are in proportion to the
data whatever measures them; the light lines between pieces stand beside the pieces' groups.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.utils.translation import gettext as _

from tooling.pictures.ribbon_kit import Hand, RibbonKit, RibbonPiece, RibbonShaft, RibbonStation
from tooling.pictures.shapes import Group, Line, Mark, Path, Rect, Shape, frame
from tooling.pictures.state_marks import grave_first, summarise

PX = 25.4 / 96
COLUMN = 96 * PX
SIDE_COLUMN = 56 * PX
IDLE_COLUMN = 28 * PX

_PAD = 5 * PX
_SHOULDER = 5 * PX
_LEAST_CELL = 72 * PX
_STRIP_ROOM = 9 * PX
_LANE = 16 * PX
_FRAME = 1.25 * PX
_MARK = 13 * PX
_LEAST_MARK = 8 * PX
_TALLEST_STACK = 72 * PX
_SIDE_STACK = 23 * PX


@dataclass(frozen=True, slots=True)
class Scale:
    """Measures that all stations of a kit share. ``per_nm`` and ``side_per_nm`` are mm per nm."""

    per_nm: float
    side_per_nm: float
    cell: float
    drive_side: Hand
    downstream_right: bool

    @property
    def height(self) -> float:
        return 2 * self.cell + _STRIP_ROOM


@dataclass(frozen=True, slots=True)
class Placed:
    """One piece with its rectangle on the page, axis along the page or upright."""

    piece: RibbonPiece
    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> tuple[float, float]:
        return self.x + self.width / 2, self.y + self.height / 2

    @property
    def mark_size(self) -> float:
        """Side of the mark that the piece has room for; nothing where it would not be told."""
        room = min(self.width, self.height) - 2 * PX
        return min(_MARK, room) if room >= _LEAST_MARK else 0.0


def scale_of(kit: RibbonKit) -> Scale:
    """One scale for the kit: its longest stack fills a cell's width, its largest roll the height.

    Side rolls have a scale of their own, at which two fit beside the strip.
    """
    stacks = [shaft for station in kit.stations for shaft in station.filled("top", "bottom")]
    sides = [shaft for station in kit.stations for shaft in station.filled("side")]
    lengths = [sum(piece.drawn_width_nm for piece in shaft.pieces) for shaft in stacks]
    longest, largest = max(lengths, default=0), _largest(stacks)
    widest_side = _largest(sides)
    room = COLUMN - 2 * _PAD - _SHOULDER
    per_nm = min(room / max(longest, 1), _TALLEST_STACK / max(largest, 1))
    return Scale(
        per_nm=per_nm,
        side_per_nm=_SIDE_STACK / max(widest_side, 1),
        cell=max(_LEAST_CELL, largest * per_nm + _LANE + _PAD),
        drive_side=kit.drive_side,
        downstream_right=kit.entry == "left",
    )


def _largest(shafts: Sequence[RibbonShaft]) -> int:
    """The largest diameter on the shafts, in nm."""
    return max((piece.drawn_diameter_nm for shaft in shafts for piece in shaft.pieces), default=0)


def width_of(station: RibbonStation) -> float:
    """A station's width: the shafts' column, the side rolls' beside it, or an idle one's."""
    shafts = COLUMN if station.filled("top", "bottom") else 0.0
    sides = SIDE_COLUMN if station.filled("side") else 0.0
    return shafts + sides or IDLE_COLUMN


def station_shapes(station: RibbonStation, scale: Scale) -> Iterator[Shape]:
    """The strip line and every shaft's group, side rolls on the downstream side."""
    width = width_of(station)
    strip = scale.cell + _STRIP_ROOM / 2
    yield Line(0, strip, width, strip, "strip idle" if station.is_idle else "strip")
    side_width = SIDE_COLUMN if station.filled("side") else 0.0
    left = 0.0 if scale.downstream_right else side_width
    for shaft in station.filled("top", "bottom"):
        yield _cell(station, shaft, scale, left)
    side_left = width - side_width if scale.downstream_right else 0.0
    for shaft in station.filled("side"):
        yield _side_cell(station, shaft, scale, side_left)


def _cell(station: RibbonStation, shaft: RibbonShaft, scale: Scale, left: float) -> Group:
    """A top or bottom shaft: its largest roll stands at the strip, marks on the far side."""
    is_top = shaft.shaft == "top"
    top = 0.0 if is_top else scale.height - scale.cell
    radius = max(piece.drawn_diameter_nm for piece in shaft.pieces) * scale.per_nm / 2
    axis = top + scale.cell - radius if is_top else top + radius
    placed = tuple(_along(shaft.pieces, axis, left, scale))
    lane = axis - radius - _LANE / 2 if is_top else axis + radius + _LANE / 2
    shapes: tuple[Shape, ...] = (
        Rect(left, top, COLUMN, scale.cell, "hit"),
        *_centre(placed, axis, left),
        _shoulder(axis, min(radius, 13 * PX), left, scale.drive_side),
        *_pieces(station.station, shaft, placed),
        *_upright_gaps(placed),
        *_lane_marks(placed, lane),
    )
    return _link(station, shaft, shapes)


def _along(
    pieces: Sequence[RibbonPiece], axis: float, left: float, scale: Scale
) -> Iterator[Placed]:
    """The stack outward from the shoulder, which is on the drive side."""
    is_left = scale.drive_side == "left"
    x = left + _PAD + _SHOULDER if is_left else left + COLUMN - _PAD - _SHOULDER
    for piece in pieces:
        width, height = piece.drawn_width_nm * scale.per_nm, piece.drawn_diameter_nm * scale.per_nm
        start = x if is_left else x - width
        yield Placed(piece, start, axis - height / 2, width, height)
        x += width if is_left else -width


def _centre(placed: Sequence[Placed], axis: float, left: float) -> Iterator[Line]:
    """The shaft's axis on both sides of its stack."""
    start = min(one.x for one in placed)
    end = max(one.x + one.width for one in placed)
    yield Line(left, axis, start, axis, "centre")
    yield Line(end, axis, left + COLUMN, axis, "centre")


def _shoulder(axis: float, radius: float, left: float, drive_side: Hand) -> Rect:
    x = left + _PAD if drive_side == "left" else left + COLUMN - _PAD - _SHOULDER
    return Rect(x, axis - radius, _SHOULDER, 2 * radius, "shoulder")


def _side_cell(station: RibbonStation, shaft: RibbonShaft, scale: Scale, left: float) -> Group:
    """Side rolls on both edges of the strip, their axes upright."""
    placed = tuple(_upright(shaft.pieces, left, scale))
    lane = min(one.y for one in placed) - _LANE / 2
    shapes: tuple[Shape, ...] = (
        Rect(left, 0, SIDE_COLUMN, scale.height, "hit"),
        *_pieces(station.station, shaft, placed),
        *_level_gaps(placed),
        *_lane_marks(placed, lane),
    )
    return _link(station, shaft, shapes)


def _upright(pieces: Sequence[RibbonPiece], left: float, scale: Scale) -> Iterator[Placed]:
    middle, half_gap = left + SIDE_COLUMN / 2, 3 * PX
    for side in ("drive", "operator"):
        is_left = (side == "drive") == (scale.drive_side == "left")
        mine = [piece for piece in pieces if _side_of(piece) == side]
        y = scale.height / 2 - sum(piece.drawn_width_nm for piece in mine) * scale.side_per_nm / 2
        for piece in mine:
            width, height = (
                piece.drawn_diameter_nm * scale.side_per_nm,
                piece.drawn_width_nm * scale.side_per_nm,
            )
            x = middle - half_gap - width if is_left else middle + half_gap
            yield Placed(piece, x, y, width, height)
            y += height


def _side_of(piece: RibbonPiece) -> str:
    return piece.side or ("drive" if piece.order % 2 else "operator")


def _pieces(station: int, shaft: RibbonShaft, placed: Sequence[Placed]) -> Iterator[Group]:
    for one in placed:
        piece = one.piece
        yield Group(
            shapes=tuple(_inside(one)),
            look="piece spacer" if piece.is_spacer else "piece",
            data=piece.data(station, shaft.shaft),
        )


def _inside(one: Placed) -> Iterator[Shape]:
    """A piece that is here is solid, any other is its outline; the mark where there is room."""
    is_here = one.piece.state == "here"
    if is_here:
        yield Rect(one.x, one.y, one.width, one.height, "body")
    else:
        yield Path(frame(one.x, one.y, one.width, one.height, _FRAME), "hollow")
    if size := one.mark_size:
        yield Mark(one.piece.state, *one.middle, size, "mark on-body" if is_here else "mark")


def _upright_gaps(placed: Sequence[Placed]) -> Iterator[Line]:
    """Light lines where two solid pieces meet on a level shaft."""
    ordered = sorted(placed, key=lambda one: one.x)
    for one, other in pairwise(ordered):
        if one.piece.state == other.piece.state == "here":
            half = min(one.height, other.height) / 2
            y = one.y + one.height / 2
            yield Line(other.x, y - half, other.x, y + half, "gap-line")


def _level_gaps(placed: Sequence[Placed]) -> Iterator[Line]:
    """Light lines where two solid side rolls of one edge meet."""
    for one, other in pairwise(placed):
        if one.piece.state == other.piece.state == "here" and other.y > one.y:
            half = min(one.width, other.width) / 2
            x = one.x + one.width / 2
            yield Line(x - half, other.y, x + half, other.y, "gap-line")


def _lane_marks(placed: Sequence[Placed], lane: float) -> Iterator[Shape]:
    """Marks of pieces too thin to hold one, beside the stack, the gravest where two would meet."""
    taken: list[float] = []
    thin = [one for one in placed if one.piece.state != "here" and not one.mark_size]
    for one in sorted(thin, key=lambda one: grave_first(one.piece.state)):
        x, y = one.middle
        if all(abs(x - other) >= _MARK for other in taken):
            taken.append(x)
            edge = y - one.height / 2 if lane < y else y + one.height / 2
            near = lane + _MARK / 2 if lane < y else lane - _MARK / 2
            yield Line(x, near, x, edge, "leader")
            yield Mark(one.piece.state, x, lane, _MARK, f"mark {one.piece.state}")


def _link(station: RibbonStation, shaft: RibbonShaft, shapes: tuple[Shape, ...]) -> Group:
    names = {"top": _("top"), "bottom": _("bottom"), "side": _("side rolls")}
    label = _("Station {number}, {shaft}: {summary}").format(
        number=station.station, shaft=names[shaft.shaft], summary=summarise(shaft.states())
    )
    return Group(shapes, "cell", (("cell", shaft.shaft),), shaft.href, label)

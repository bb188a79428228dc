"""One shaft large, to be read from a metre: every piece with its mark, order, width and diameter.

Looking downstream, shoulder on the drive side, to scale.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from tooling.engineering.length_formats import Unit, say_length
from tooling.pictures.ribbon_kit import Hand, RibbonPiece, RibbonShaft, RibbonStation
from tooling.pictures.shapes import Drawing, Group, Line, Mark, Path, Rect, Shape, Text, frame
from tooling.pictures.state_marks import STATE_WORDS, summarise

PX = 25.4 / 96
WIDTH = 1000 * PX
_SIDE = 170 * PX
_TALLEST = 230 * PX
_TOP = 26 * PX
_TEXT = 17 * PX
_SMALL = 16 * PX
_ROW = 25 * PX
_MARK = 30 * PX
_FRAME = 1.6 * PX
_ARROW = 11 * PX
_SHOULDER = 16 * PX
_DIMENSION = 34 * PX
_CAPTION_MARK = 18 * PX
_LETTER = 0.62
"""How wide a letter is at most on average, of the em."""


@dataclass(frozen=True, slots=True)
class Placed:
    """One piece's rectangle along the shaft."""

    piece: RibbonPiece
    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> float:
        return self.x + self.width / 2


@dataclass(frozen=True, slots=True)
class Guide:
    """What a filled shaft is aimed at: the guide plane's distance from the shoulder, where the
    guide point lies, and the stack's total less the roll space. Lengths in nm."""

    plane_nm: int
    point_nm: int
    over_nm: int


def draw_shaft(
    station: RibbonStation,
    shaft: RibbonShaft,
    *,
    drive_side: Hand = "left",
    unit: Unit = "mm",
    guide: Guide | None = None,
) -> Drawing:
    """The shaft's stack with a row of text for each piece under it, and its total as a dimension.

    With ``guide`` the guide plane stands in it, with its distance from the shoulder. Without pieces
    the picture is an empty shaft that says so.
    """
    placed = _stack(shaft.pieces, drive_side)
    rows = _rows(placed)
    under = _TOP + _TALLEST + 14 * PX
    dimension = under + (max(rows.values(), default=0) + 1) * _ROW + 30 * PX
    total = dimension + _DIMENSION if guide is not None and placed else dimension
    return Drawing(
        width=WIDTH,
        height=total + 20 * PX,
        shapes=(
            *_shaft_line(placed, drive_side),
            *(_piece(station.station, shaft, one) for one in placed),
            *_labels(placed, rows, under, unit),
            *_total(placed, total, unit, guide),
            *(_guide(placed, dimension, unit, drive_side, guide) if guide is not None else ()),
        ),
        title=_("Station {number}, {shaft}").format(
            number=station.station, shaft=_name(shaft.shaft)
        ),
        description=_spoken(shaft.pieces, unit) + _spoken_guide(guide, unit),
        look="shaft-picture",
    )


def _name(shaft: str) -> str:
    return {"top": _("top"), "bottom": _("bottom"), "side": _("side rolls")}[shaft]


def _spoken(pieces: Sequence[RibbonPiece], unit: Unit) -> str:
    """The text alternative: the pieces in words from the shoulder."""
    said = [
        f"{piece.order}: {piece.mark or piece.code or _('spacer')}, "
        f"{_size(piece.width_nm, unit)} × {_size(piece.diameter_nm, unit)}, "
        f"{STATE_WORDS[piece.state]}"
        for piece in pieces
    ]
    return _("From the shoulder: {pieces}.").format(pieces="; ".join(said) or summarise(()))


def _size(nm: int | None, unit: Unit) -> str:
    return _("not known") if nm is None else say_length(nm, unit)


def _stack(pieces: Sequence[RibbonPiece], drive_side: Hand) -> tuple[Placed, ...]:
    total = sum(piece.drawn_width_nm for piece in pieces)
    largest = max((piece.drawn_diameter_nm for piece in pieces), default=1)
    per_nm = min((WIDTH - 2 * _SIDE) / max(total, 1), _TALLEST / largest)
    length, axis = total * per_nm, _TOP + _TALLEST / 2
    left = (WIDTH - length) / 2
    x = left if drive_side == "left" else left + length
    done: list[Placed] = []
    for piece in pieces:
        width, height = piece.drawn_width_nm * per_nm, piece.drawn_diameter_nm * per_nm
        start = x if drive_side == "left" else x - width
        done.append(Placed(piece, start, axis - height / 2, width, height))
        x += width if drive_side == "left" else -width
    return tuple(done)


def _shaft_line(placed: Sequence[Placed], drive_side: Hand) -> Iterator[Shape]:
    """Centre line, shoulder with its hatch and its name."""
    axis = _TOP + _TALLEST / 2
    start = min((one.x for one in placed), default=WIDTH / 2)
    end = max((one.x + one.width for one in placed), default=WIDTH / 2)
    yield Line(4 * PX, axis, start, axis, "centre")
    yield Line(end, axis, WIDTH - 4 * PX, axis, "centre")
    is_left = drive_side == "left"
    edge = placed[0].x + (0 if is_left else placed[0].width) if placed else WIDTH / 2
    x = edge - _SHOULDER if is_left else edge
    half = 52 * PX
    yield Rect(x, axis - half, _SHOULDER, 2 * half, "soft")
    for step in range(7):
        y = axis - half + step * _SHOULDER * 0.86
        yield Line(x, y + _SHOULDER * 0.8, x + _SHOULDER, y, "hatch")
    yield Line(edge, axis - half - 6 * PX, edge, axis + half + 6 * PX, "outline")
    where = edge - 4 * PX if is_left else edge + 4 * PX
    yield Text(
        where, axis - half - 12 * PX, _("shoulder"), _SMALL, "end" if is_left else "start",
        "label quiet",
    )  # fmt: skip


def _piece(station: int, shaft: RibbonShaft, one: Placed) -> Group:
    piece = one.piece
    return Group(
        shapes=tuple(_body(one)),
        look="piece spacer" if piece.is_spacer else "piece",
        data=piece.data(station, shaft.shaft),
    )


def _body(one: Placed) -> Iterator[Shape]:
    is_here = one.piece.state == "here"
    if is_here:
        yield Rect(one.x, one.y, one.width, one.height, "body")
    else:
        yield Path(frame(one.x, one.y, one.width, one.height, _FRAME), "hollow")
    size = min(_MARK, min(one.width, one.height) - 4 * PX)
    if size >= 8 * PX:
        look = "mark on-body" if is_here else "mark"
        yield Mark(one.piece.state, one.middle, one.y + one.height / 2, size, look)


def _rows(placed: Sequence[Placed]) -> dict[int, int]:
    """The row of text of each piece, keyed by its order.

    Texts stand to the right of their leaders; from right to left each stands below all whose
    leaders come down through it, so that no leader crosses a text.
    """
    rows: dict[int, int] = {}
    done: list[Placed] = []
    for one in sorted(placed, key=lambda one: -one.x):
        end = one.middle + _reach(one.piece)
        through = [rows[other.piece.order] for other in done if other.middle < end]
        rows[one.piece.order] = max(through, default=-1) + 1
        done.append(one)
    return rows


def _caption(piece: RibbonPiece) -> str:
    """Order and mark, and the state in a word where it is not simply here."""
    said = f"{piece.order} {piece.mark or piece.code or '–'}"
    return said if piece.state == "here" else f"{said}, {STATE_WORDS[piece.state]}"


def _reach(piece: RibbonPiece) -> float:
    """How far a piece's text goes to the right of its leader."""
    return _CAPTION_MARK + len(_caption(piece)) * _TEXT * _LETTER + 6 * PX


def _labels(
    placed: Sequence[Placed], rows: dict[int, int], under: float, unit: Unit
) -> Iterator[Shape]:
    """Mark, order and name of each piece at the foot of its leader; diameters where they fit."""
    for one in placed:
        y = under + (rows[one.piece.order] + 1) * _ROW
        yield Line(one.middle, one.y + one.height, one.middle, y - _TEXT, "leader")
        look = f"mark {one.piece.state}"
        yield Mark(one.piece.state, one.middle + 4 * PX, y - 6 * PX, 15 * PX, look)
        yield Text(
            one.middle + _CAPTION_MARK, y, _caption(one.piece), _TEXT, "start", "label strong"
        )
        yield from _sizes(one, unit)


def _sizes(one: Placed, unit: Unit) -> Iterator[Shape]:
    said = f"Ø {_size(one.piece.diameter_nm, unit)}"
    if len(said) * _SMALL * _LETTER <= one.width:
        yield Text(one.middle, one.y - 6 * PX, said, _SMALL, "middle", "label quiet")


def _spoken_guide(guide: Guide | None, unit: Unit) -> str:
    if guide is None:
        return ""
    words = _(" Guide plane {plane} from the shoulder, guide point at {point}; {over}.")
    return words.format(
        plane=say_length(guide.plane_nm, unit), point=say_length(guide.point_nm, unit),
        over=_over(guide.over_nm, unit),
    )  # fmt: skip


def _over(nm: int, unit: Unit) -> str:
    """What the stack is more or less than its roll space."""
    if nm == 0:
        return _("as long as the roll space")
    words = _("{length} proud") if nm > 0 else _("{length} short")
    return words.format(length=say_length(abs(nm), unit))


def _total(placed: Sequence[Placed], y: float, unit: Unit, guide: Guide | None) -> Iterator[Shape]:
    """The stack's length as a dimension line with arrows, and how far it is off the roll space."""
    if not placed:
        return
    left = min(one.x for one in placed)
    right = max(one.x + one.width for one in placed)
    widths = [one.piece.width_nm for one in placed]
    total = None if None in widths else sum(width for width in widths if width is not None)
    said = _size(total, unit)
    if guide is not None:
        said = f"{said}, {_over(guide.over_nm, unit)}"
    yield from _dimension(left, right, y, said)


def _guide(
    placed: Sequence[Placed], y: float, unit: Unit, drive_side: Hand, guide: Guide
) -> Iterator[Shape]:
    """The guide plane through the stack, and its distance from the shoulder."""
    if not placed:
        return
    per_nm = placed[0].width / placed[0].piece.drawn_width_nm
    is_left = drive_side == "left"
    edge = placed[0].x + (0 if is_left else placed[0].width)
    plane = edge + guide.plane_nm * per_nm * (1 if is_left else -1)
    yield Line(plane, _TOP - 8 * PX, plane, _TOP + _TALLEST + 8 * PX, "centre")
    said = _("guide plane {length}").format(length=say_length(guide.plane_nm, unit))
    yield from _dimension(min(edge, plane), max(edge, plane), y, said)


def _dimension(left: float, right: float, y: float, said: str) -> Iterator[Shape]:
    half = len(said) * _TEXT * _LETTER / 2 + 6 * PX
    middle = (left + right) / 2
    for x in (left, right):
        yield Line(x, y - 8 * PX, x, y + 8 * PX, "dimension")
    yield _arrow(left, y, 1)
    yield _arrow(right, y, -1)
    if right - left < 2 * (half + _ARROW):  # no room between the arrows: the figure stands beside
        yield Line(left, y, right, y, "dimension")
        yield Text(right + 8 * PX, y + 6 * PX, said, _TEXT, "start", "label strong")
        return
    yield Line(left, y, middle - half, y, "dimension")
    yield Line(middle + half, y, right, y, "dimension")
    yield Text(middle, y + 6 * PX, said, _TEXT, "middle", "label strong")


def _arrow(x: float, y: float, way: int) -> Path:
    length, half = _ARROW * way, 3 * PX
    tip = (("M", (x, y)), ("L", (x + length, y - half)), ("L", (x + length, y + half)), ("Z", ()))
    return Path(tip, "arrow")

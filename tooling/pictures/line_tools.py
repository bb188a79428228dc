"""What stands on the line, one small picture each: the strip, and the tool above and below it.

These are not to scale and say so by giving no sizes: a die, a blade and a key have none in common.
Each picture holds one piece with the same data as the pieces of the ribbon.
"""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from tooling.pictures.ribbon_kit import RibbonPiece
from tooling.pictures.shapes import Drawing, Group, Line, Mark, Path, Rect, Shape, frame
from tooling.pictures.state_marks import STATE_WORDS
from tooling.pictures.svg import paint_svg

PX = 25.4 / 96
WIDTH, HEIGHT = 96 * PX, 72 * PX
_BODY_WIDTH, _BODY_HEIGHT = 56 * PX, 44 * PX
_STRIP = HEIGHT / 2
_FRAME = 1.25 * PX
_MARK = 22 * PX


def draw_tool(piece: RibbonPiece, *, station: int, name: str, href: str = "") -> Drawing:
    """One tool or piece of hardware in its place on the line."""
    label = _("On the line: {name}, {state}").format(name=name, state=STATE_WORDS[piece.state])
    data = tuple(
        (key, "" if key in ("width-nm", "diameter-nm") else value)
        for key, value in piece.data(station, "line")
    )
    body = Group(tuple(_body(piece.state)), "piece tool", data)
    shapes: tuple[Shape, ...] = (Rect(0, 0, WIDTH, HEIGHT, "hit"), body)
    return Drawing(
        width=WIDTH,
        height=HEIGHT,
        shapes=(
            Line(0, _STRIP, WIDTH, _STRIP, "strip"),
            Group(shapes, "cell", (("cell", "line"),), href, label),
        ),
        title=name,
        description=str(STATE_WORDS[piece.state]),
        look="station-picture line-picture",
    )


def paint_tool(piece: RibbonPiece, *, station: int, name: str, href: str = "") -> SafeString:
    """The picture as a page shows it."""
    drawing = draw_tool(piece, station=station, name=name, href=href)
    return paint_svg(drawing, key=f"line-{station}-{piece.order}", role="group")


def _body(state: str) -> Iterator[Shape]:
    """What is here is solid, anything else its outline, as in the ribbon."""
    x, y = (WIDTH - _BODY_WIDTH) / 2, (HEIGHT - _BODY_HEIGHT) / 2
    is_here = state == "here"
    if is_here:
        yield Rect(x, y, _BODY_WIDTH, _BODY_HEIGHT, "body")
    else:
        yield Path(frame(x, y, _BODY_WIDTH, _BODY_HEIGHT, _FRAME), "hollow")
    look = "mark on-body" if is_here else f"mark {state}"
    yield Mark(state, WIDTH / 2, HEIGHT / 2, _MARK, look)

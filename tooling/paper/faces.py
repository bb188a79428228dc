"""The type face on paper, and how much of a text fits. Sizes and widths are in points.

The face draws Latin, Greek, Cyrillic and Vietnamese; a character of another script is drawn as
an empty box, so that it is missed by nobody.
"""

from __future__ import annotations

from pathlib import Path
from threading import Lock
from typing import Any

from reportlab import rl_config
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

FOLDER = Path(__file__).parent / "fonts"
REGULAR = "RollroomPaper-Regular"
BOLD = "RollroomPaper-Bold"
ELLIPSIS = "…"
PT_PER_MM = 72 / 25.4

_registering = Lock()


def register() -> None:
    """Make both weights known to ReportLab; called before any width is asked. Repeatable.

    Streams stay binary: as text they are a quarter larger and cost most of the time of a list
    with pictures.
    """
    rl_config.useA85 = 0
    with _registering:
        known = pdfmetrics.getRegisteredFontNames()
        for name in (REGULAR, BOLD):
            if name not in known:
                pdfmetrics.registerFont(TTFont(name, str(FOLDER / f"{name}.ttf")))


register()
_FONT: Any = pdfmetrics.getFont(REGULAR)
_DRAWN = frozenset(_FONT.face.charToGlyph)


_STANDS_FOR = str.maketrans({"→": "›", "←": "‹", "≤": "<=", "≥": ">=", "⌀": "Ø"})
"""Signs that the face lacks, each with one that it has."""


def plain(text: str) -> str:
    """One line that can be drawn: breaks become single spaces, unknown characters empty boxes."""
    return " ".join("".join(map(_drawn, text.translate(_STANDS_FOR))).split())


def _drawn(character: str) -> str:
    if not character.isprintable():
        return " "
    return character if ord(character) in _DRAWN else "□"


def width_of(text: str, face: str, size: float) -> float:
    """How wide the text is, in points."""
    return float(pdfmetrics.stringWidth(text, face, size))


def shortened(text: str, face: str, size: float, width: float) -> str:
    """The text, or as much of its beginning as fits with a visible ``…``."""
    if width_of(text, face, size) <= width:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if width_of(text[:middle].rstrip() + ELLIPSIS, face, size) <= width:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + ELLIPSIS


def wrapped(text: str, face: str, size: float, width: float, lines: int) -> list[str]:
    """The text in at most so many lines, broken at spaces; the last is shortened visibly."""
    words = text.split()
    done: list[str] = []
    while words and len(done) < lines - 1:
        count = _words_that_fit(words, face, size, width)
        if count == 0:
            break
        done.append(" ".join(words[:count]))
        words = words[count:]
    if words:
        done.append(shortened(" ".join(words), face, size, width))
    return done


def _words_that_fit(words: list[str], face: str, size: float, width: float) -> int:
    count = 0
    while count < len(words) and width_of(" ".join(words[: count + 1]), face, size) <= width:
        count += 1
    return count


def draw_text(
    canvas: Canvas, x: float, y: float, text: str, *, face: str = REGULAR, size: float
) -> None:
    """Draw one line from its left end on the baseline; x and y in points from the bottom left."""
    canvas.setFont(face, size)
    canvas.drawString(x, y, text)

"""Where the symbol and each line of text stand on a label. Millimetres from its upper left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import floor

from tooling.paper.faces import BOLD, PT_PER_MM, REGULAR, plain, shortened, width_of, wrapped
from tooling.paper.label_sizes import LabelSize
from tooling.paper.symbols import Symbol, label_symbol

LEAST_MODULE_MM = 0.4
"""Below this a hand scanner at arm's length begins to fail."""

_LANDSCAPE = 1.5
_LINE = 1.18
_RISE = 0.78
_SIZES_TRIED = 7
_LINES_SHARE = 0.5
"""At most this share of the room is kept for the lines under the headline: whose it is matters."""


@dataclass(frozen=True)
class LabelText:
    """What one label says: the bare code, the mark or name in large type, further lines."""

    code: str
    headline: str = ""
    lines: tuple[str, ...] = ()
    kind_word: str = ""


@dataclass(frozen=True)
class PlacedText:
    """One line on its baseline; ``size_mm`` is the em."""

    x_mm: float
    y_mm: float
    text: str
    face: str
    size_mm: float


@dataclass(frozen=True)
class PlacedLabel:
    """A label laid out: its symbol with one module's size and its texts."""

    symbol: Symbol
    symbol_x_mm: float
    symbol_y_mm: float
    module_mm: float
    texts: tuple[PlacedText, ...]


@dataclass(frozen=True)
class Column:
    """The room for text: left edge, top, width and height in mm."""

    x: float
    y: float
    width: float
    height: float


def lay_out(label: LabelText, size: LabelSize) -> PlacedLabel:
    """Lay one label out: the symbol with its quiet zone first, text in what is left.

    Text is set smaller, then broken into lines, then shortened with a visible ``…``; the code
    is set whole always. Raises ValueError where the code is no bare label code.
    """
    symbol = label_symbol(label.code)
    if size.width_mm >= _LANDSCAPE * size.height_mm:
        return _beside(label, size, symbol)
    return _below(label, size, symbol)


def _module(size: LabelSize, room_mm: float, symbol: Symbol) -> float:
    step = size.module_step_mm
    return floor(room_mm / (symbol.modules + 2 * symbol.quiet) / step + 1e-9) * step


def _beside(label: LabelText, size: LabelSize, symbol: Symbol) -> PlacedLabel:
    """The symbol at the left over the whole height, text at its right between its edges."""
    module = _module(size, min(size.height_mm, 0.56 * size.width_mm), symbol)
    box = module * (symbol.modules + 2 * symbol.quiet)
    top = (size.height_mm - module * symbol.modules) / 2
    pad = max(1.2, 0.03 * size.width_mm)
    column = Column(box, top, size.width_mm - box - pad, module * symbol.modules)
    texts = tuple(_texts(label, column, module))
    return PlacedLabel(symbol, symbol.quiet * module, top, module, texts)


def _below(label: LabelText, size: LabelSize, symbol: Symbol) -> PlacedLabel:
    """The symbol on top, text under its quiet zone."""
    text_height = max(4.2, size.height_mm - size.width_mm, 0.2 * size.height_mm)
    module = _module(size, min(size.width_mm, size.height_mm - text_height), symbol)
    box = module * (symbol.modules + 2 * symbol.quiet)
    pad = max(1.2, 0.05 * size.width_mm)
    column = Column(pad, box, size.width_mm - 2 * pad, size.height_mm - box - pad / 2)
    texts = tuple(_texts(label, column, module))
    x = (size.width_mm - module * symbol.modules) / 2
    return PlacedLabel(symbol, x, symbol.quiet * module, module, texts)


def _texts(label: LabelText, column: Column, module: float) -> Iterator[PlacedText]:
    """From the bottom up the module's size and the code, then the headings from the top down."""
    code_mm = _fitting(label.code, BOLD, _clamped(0.2 * column.height, 2.2, 11.0), column.width)
    bottom = column.y + column.height
    if column.height >= 8:
        note_mm = _clamped(0.07 * column.height, 1.5, 2.4)
        yield _placed(column, bottom, f"module {round(module, 3):g} mm", REGULAR, note_mm)
        bottom -= 1.35 * note_mm
    yield _placed(column, bottom, label.code, BOLD, code_mm)
    room = bottom - column.y - _LINE * code_mm
    yield from _headings(label, Column(column.x, column.y, column.width, room))


def _headings(label: LabelText, column: Column) -> Iterator[PlacedText]:
    """Kind word, headline and lines from the top down, as many as there is room for."""
    y = column.y
    kind, headline = plain(label.kind_word), plain(label.headline)
    small = _clamped(0.16 * column.height, 1.7, 5.0)
    if kind and column.height >= 7:
        yield _placed(column, y + _RISE * small, kind, REGULAR, small)
        y += small * _LINE
    lines = list(filter(None, map(plain, label.lines)))
    room = column.y + column.height - y
    kept = min(len(lines), int(_LINES_SHARE * room / (small * _LINE))) * small * _LINE
    big, rows = _headline(headline, column.width, room - kept)
    for row in rows:
        yield _placed(column, y + _RISE * big, row, BOLD, big)
        y += big * _LINE
    for line in lines:
        if y + small > column.y + column.height:
            return
        yield _placed(column, y + _RISE * small, line, REGULAR, small)
        y += small * _LINE


@lru_cache(maxsize=4096)
def _headline(text: str, width: float, room: float) -> tuple[float, tuple[str, ...]]:
    """Em and rows of the headline: as large as it can be whole in the room that is left.

    Where it is not whole at the least size it is shortened there.
    """
    largest = _clamped(0.45 * room, 1.7, 14.0)
    for step in range(_SIZES_TRIED):
        size = max(1.7, largest * (1 - step * 0.6 / (_SIZES_TRIED - 1)))
        most = _clamped(floor((room if step else largest) / (size * _LINE)), 1, 3)
        rows = wrapped(text, BOLD, size * PT_PER_MM, width * PT_PER_MM, int(most))
        if not rows or " ".join(rows) == text:
            break
    return size, tuple(rows)


def _fitting(text: str, face: str, largest: float, width: float) -> float:
    """The largest em, up to ``largest``, at which the text is narrower than the width: by a hair,
    so that rounding does not shorten what just fits."""
    wide = width_of(text, face, largest)
    return largest if wide < width else largest * width / wide * (1 - 1e-6)


def _placed(column: Column, y: float, text: str, face: str, size: float) -> PlacedText:
    fits = shortened(text, face, size * PT_PER_MM, column.width * PT_PER_MM)
    return PlacedText(column.x, y, fits, face, size)


def _clamped(value: float, least: float, most: float) -> float:
    return min(max(value, least), most)

"""QR and Data Matrix as rectangles of modules. One module is 1; y runs down; no quiet zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from django.utils.translation import gettext_lazy as _
from ppf.datamatrix import DataMatrix
from qrcode.constants import ERROR_CORRECT_H
from qrcode.exceptions import DataOverflowError
from qrcode.main import QRCode
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData

from tooling.errors import ToolingError

SymbolKind = Literal["qr", "datamatrix"]
QUIET_QR = 4
"""Modules kept white around a QR symbol (ISO/IEC 18004)."""
QUIET_DATA_MATRIX = 2
"""Modules kept clear around a Data Matrix: the standard asks for 1, etched edges bleed."""

_MASK = 3
_ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
_LONGEST = 40

Run = tuple[int, int, int, int]


@dataclass(frozen=True)
class Symbol:
    """A square symbol: modules along a side, and its dark runs as (x, y, width, height)."""

    modules: int
    quiet: int
    runs: tuple[Run, ...]

    @property
    def across(self) -> int:
        """Modules along a side with the quiet zone."""
        return self.modules + 2 * self.quiet


@lru_cache(maxsize=2048)
def label_symbol(code: str) -> Symbol:
    """The QR symbol of a label: version 1, level H, alphanumeric, one fixed mask.

    Raises ValueError for a text that is no bare code. Source: ISO/IEC 18004; 1-H holds ten.
    """
    if len(code) != 8 or not code.isalnum() or not _ALPHANUMERIC.issuperset(code):
        raise ValueError(f"{code!r} is no bare label code")
    return _qr(code, version=1)


def etching_symbol(text: str, kind: SymbolKind) -> Symbol:
    """The symbol of a mark or code to be etched, in the smallest size that holds it.

    Raises ToolingError ``mark_not_etchable`` for an empty or over-long text.
    """
    if not 0 < len(text) <= _LONGEST or not text.isprintable():
        raise _not_etchable(text)
    if kind == "datamatrix" and not text.isascii():
        raise _not_etchable(text)
    return _qr(text, version=None) if kind == "qr" else _data_matrix(text)


def address_symbol(address: str) -> Symbol:
    """The QR symbol of a page's address, for a phone's own camera. Raises ValueError when it is
    longer than a symbol holds."""
    return _qr(address, version=None)


def _not_etchable(text: str) -> ToolingError:
    return ToolingError(
        "mark_not_etchable",
        _(
            "“{text}” cannot be etched as a symbol: it needs 1 to {most} printable characters, "
            "and a Data Matrix plain letters, digits and signs. Use the label code, a shorter "
            "mark, or QR."
        ),
        text=text[:_LONGEST],
        most=_LONGEST,
    )


def _qr(text: str, *, version: int | None) -> Symbol:
    mode = MODE_ALPHA_NUM if _ALPHANUMERIC.issuperset(text) else MODE_8BIT_BYTE
    code = QRCode(version=version, error_correction=ERROR_CORRECT_H, mask_pattern=_MASK, border=0)
    code.add_data(QRData(text.encode(), mode=mode), optimize=0)
    try:
        code.make(fit=version is None)
    except DataOverflowError as problem:
        raise ValueError(f"{text!r} does not fit version {version}") from problem
    return Symbol(len(code.modules), QUIET_QR, dark_runs(code.modules))


def _data_matrix(text: str) -> Symbol:
    modules = DataMatrix(text).matrix
    return Symbol(len(modules), QUIET_DATA_MATRIX, dark_runs(modules))


def dark_runs(modules: Sequence[Sequence[object]]) -> tuple[Run, ...]:
    """The dark modules as few rectangles: runs along a row, grown down while the same run goes on.

    Every dark module is covered exactly once, no light one is.
    """
    done: list[Run] = []
    growing: dict[tuple[int, int], int] = {}
    for y, row in enumerate([*modules, ()]):
        here = _row_runs(row)
        for (x, width), top in list(growing.items()):
            if (x, width) not in here:
                done.append((x, top, width, y - top))
                del growing[(x, width)]
        for run in here:
            growing.setdefault(run, y)
    return tuple(done)


def _row_runs(row: Sequence[object]) -> set[tuple[int, int]]:
    found, start = set(), None
    for x, dark in enumerate([*row, False]):
        if dark and start is None:
            start = x
        elif not dark and start is not None:
            found.add((start, x - start))
            start = None
    return found

"""One cell: what it can hold, and how text that looks like a formula is kept harmless.

A spreadsheet program runs a cell that begins with ``= + - @`` (or a tab or line break before
it). On the way out such a text gets one apostrophe in front, on the way in exactly one is taken
off again, so the value that comes back is the value that went out.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

ERROR_TEXTS = frozenset(
    ("#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NULL!", "#NUM!", "#SPILL!", "#CALC!")
)
_STARTS = tuple("=+-@\t\r\n|%＝＋－＠")
_HARD_SPACES = dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u202f"), " ")
_NO_SPACES = dict.fromkeys(map(ord, "\u200b\u200c\u200d\u2060\ufeff\u00ad"))
_STRAY = {**_HARD_SPACES, **_NO_SPACES}
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff]")
_LINE_END = re.compile("\r\n?")

_NUMBER = re.compile(
    r"[\s\d.,:/+\-–%'\"×x*()#]*\d[\s\d.,:/+\-–%'\"×x*()#]*(?:mm|in|kg|lb|m|ft)?\.?"
)


@dataclass(frozen=True)
class CellError:
    """A cell that holds no value but an error such as ``#REF!``, or an uncomputed formula."""

    text: str

    def __str__(self) -> str:
        return self.text


Cell = str | int | float | bool | date | datetime | time | timedelta | CellError | None


def clean(text: str) -> str:
    """The text with control characters and hard spaces as spaces, every line end as ``\\n``, and
    without characters that have no width."""
    if text.isascii() and text.isprintable():
        return text
    return _CONTROL.sub(" ", _LINE_END.sub("\n", text.translate(_STRAY)))


def _must_guard(text: str) -> bool:
    """Whether a cell with this text would run, be read as an error, or lose its outer spaces."""
    bare = text.lstrip("'")
    return bool(bare) and (
        bare.startswith(_STARTS) or bare.upper() in ERROR_TEXTS or bare != bare.strip()
    )


def guard(text: str) -> str:
    """The text as it is written into a cell: with an apostrophe in front where it needs one."""
    text = clean(text)
    return "'" + text if _must_guard(text) else text


def unguard(cell: str) -> str:
    """The text that ``guard`` was given; other texts only lose their outer spaces.

    >>> unguard(guard("=1+1"))
    '=1+1'
    """
    cell = clean(cell)
    if cell.startswith("'") and _must_guard(cell):
        return cell[1:]
    return cell.strip()


def is_blank(cell: Cell) -> bool:
    """Whether nothing, or nothing but spaces, is in the cell."""
    if cell is None:
        return True
    if not isinstance(cell, str):
        return False
    bare = cell.strip()
    return not bare or (ord(bare[0]) in _NO_SPACES and not clean(bare).strip())


def shown(cell: Cell) -> str:
    """The cell as a person would see it in the sheet, for messages."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, float):
        return f"{cell:.15g}"
    if isinstance(cell, datetime) and cell.time() == time(0):
        return cell.date().isoformat()
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ", timespec="minutes")
    return unguard(cell) if isinstance(cell, str) else str(cell)


def looks_like_a_value(cell: Cell) -> bool:
    """Whether a cell is a number, a date or another thing that no heading would be."""
    if isinstance(cell, str):
        return len(cell) <= 60 and bool(_NUMBER.fullmatch(shown(cell)))
    return isinstance(cell, (int, float, date, time, timedelta, CellError))


def packed(cell: Cell) -> Any:
    """The cell as JSON holds it; ``unpacked`` gives the same cell again, to the second."""
    if isinstance(cell, CellError):
        return {"error": cell.text}
    if isinstance(cell, (datetime, date)):
        return {"date": cell.isoformat()}
    if isinstance(cell, time):
        return {"time": cell.isoformat()}
    return str(cell) if isinstance(cell, timedelta) else cell


def unpacked(data: Any) -> Cell:
    """The cell that ``packed`` was given; what it never gives is blank."""
    if isinstance(data, dict):
        if "error" in data:
            return CellError(str(data["error"]))
        if "time" in data:
            return time.fromisoformat(data["time"])
        written = str(data.get("date", ""))
        return datetime.fromisoformat(written) if "T" in written else date.fromisoformat(written)
    return data if isinstance(data, (str, int, float, bool)) else None

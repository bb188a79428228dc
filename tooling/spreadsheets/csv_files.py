"""Text files: which characters, which delimiter, which rows."""

from __future__ import annotations

import csv
import io
import math
import re
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from charset_normalizer import from_bytes
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import ERROR_TEXTS, Cell, CellError
from tooling.spreadsheets.sheets import Grid, NumberedRow

_DELIMITERS = (";", "\t", ",", "|")
_BOMS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_SLACK = 0.02
"""How much odder the text may look in Windows-1252 and still be taken for it: Ø over Ř."""
_BETWEEN_WORDS = re.compile(r"[\x00-\x40\x5b-\x60\x7b-\x7f\xa0–—]+")
_SIGNS = "Øø°±µ×÷¹²³½¼¾€£§‘’“”„…·®™"
_OLD_ENCODINGS = ["cp1252", "cp1250", "cp437", "cp850", "mac_roman", "cp1251", "cp1253", "cp1254"]


def decode(data: bytes, *, name: str) -> str:
    """The file's text: by its mark, else UTF-8, else Windows-1252, else the likeliest old code."""
    for bom, encoding in _BOMS:
        if data.startswith(bom):
            return _strictly(data, encoding, name=name).lstrip("\ufeff")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return _decode_old(data, name=name)


def _strictly(data: bytes, encoding: str, *, name: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        raise _unreadable(name) from None


def _decode_old(data: bytes, *, name: str) -> str:
    if (western := _as_windows_writes(data)) is not None:
        return western
    likely = from_bytes(data, cp_isolation=_OLD_ENCODINGS)
    best = likely.best()
    if best is None:
        raise _unreadable(name)
    windows = next((each for each in likely if each.encoding == "cp1252"), None)
    if windows and windows.chaos <= best.chaos + _SLACK and windows.coherence >= best.coherence:
        return str(windows)
    return str(best)


def _as_windows_writes(data: bytes) -> str | None:
    """The Windows-1252 reading if each word of it could be one, else None.

    A wrong reading shows itself: marks in the middle of words ("S³d"), a capital behind a small
    letter, words of nothing but accents.
    """
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        return None
    return text if all(_could_be_western(word) for word in _BETWEEN_WORDS.split(text)) else None


def _could_be_western(word: str) -> bool:
    body = word.strip(_SIGNS)
    if body.isascii():
        return True
    accents = sum(not letter.isascii() for letter in body)
    capital_inside = any(a.islower() and b.isupper() for a, b in pairwise(body))
    return body.isalpha() and not capital_inside and (2 * accents <= len(body) or len(body) == 1)


def _unreadable(name: str) -> ToolingError:
    return ToolingError(
        "unreadable_text",
        _("The letters in “{name}” cannot be read. Save it again as “CSV UTF-8”."),
        name=name,
    )


def find_delimiter(text: str) -> tuple[str, int]:
    """(delimiter, how many characters of the text to skip for Excel's ``sep=`` line)."""
    first, end, _rest = text.partition("\n")
    if first[:4].lower() == "sep=" and len(first.rstrip("\r")) == 5:
        return first[4], len(first) + len(end)
    head = "\n".join(text.splitlines()[:40])
    return max(_DELIMITERS, key=lambda delimiter: _agreement(head, delimiter)), 0


def _agreement(head: str, delimiter: str) -> tuple[float, int]:
    """How well the first rows agree on a width with this delimiter, and that width.

    Titles and footers are shorter than the table, so the commonest width counts.
    """
    try:
        widths = [len(row) for row in csv.reader(io.StringIO(head), delimiter=delimiter) if row]
    except csv.Error:
        return (0.0, 0)
    tally = Counter(width for width in widths if width > 1)
    if not tally:
        return (0.0, 1)
    width, rows = max(tally.items(), key=lambda each: (each[1] * math.log2(each[0] + 1), each[0]))
    return (rows / len(widths) * math.log2(width + 1), width)


def read_csv(data: bytes, *, name: str, sheet: str) -> list[Grid]:
    """The one sheet of a text file. Raises ToolingError ``unreadable_text``."""
    text = decode(data, name=name)
    delimiter, skip = find_delimiter(text)

    def rows() -> Iterator[NumberedRow]:
        stream = io.StringIO(text, newline="")
        stream.seek(skip)
        reader = csv.reader(stream, delimiter=delimiter)
        try:
            for number, row in enumerate(reader, start=2 if skip else 1):
                yield number, tuple(_cell(value) for value in row)
        except csv.Error:
            raise ToolingError(
                "unreadable_row",
                _("“{name}” cannot be read near line {line}: a quotation mark is not closed."),
                name=name,
                line=reader.line_num,
            ) from None

    return [Grid(sheet, True, rows)]


def _cell(value: str) -> Cell:
    return CellError(value.strip()) if value.strip().upper() in ERROR_TEXTS else value

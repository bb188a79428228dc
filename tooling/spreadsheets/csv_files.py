"""Text files: which characters, which delimiter, which rows."""

from __future__ import annotations

import codecs
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
from tooling.spreadsheets.sources import BLOCK, Source, blocks_of, head_of, opened

_DELIMITERS = (";", "\t", ",", "|")
_BOMS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_HEAD = 100_000
_SLACK = 0.02
"""How much odder the text may look in Windows-1252 and still be taken for it: Ø over Ř."""
_BETWEEN_WORDS = re.compile(r"[\x00-\x40\x5b-\x60\x7b-\x7f\xa0–—]+")
_SIGNS = "Øø°±µ×÷¹²³½¼¾€£§‘’“”„…·®™"
_OLD_ENCODINGS = ["cp1252", "cp1250", "cp437", "cp850", "mac_roman", "cp1251", "cp1253", "cp1254"]


def find_encoding(source: Source, *, name: str) -> str:
    """How the file's letters are coded: by its mark, else UTF-8, else Windows-1252, else the
    likeliest old code of its first megabyte. Raises ToolingError ``unreadable_text``."""
    head = head_of(source, BLOCK)
    for bom, encoding in _BOMS:
        if head.startswith(bom):
            return encoding
    return "utf-8" if _is_utf8(source) else _old_encoding(head, name=name)


def _is_utf8(source: Source) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for block in blocks_of(source):
            decoder.decode(block)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _old_encoding(head: bytes, *, name: str) -> str:
    if _as_windows_writes(head) is not None:
        return "cp1252"
    likely = from_bytes(head, cp_isolation=_OLD_ENCODINGS)
    best = likely.best()
    if best is None:
        raise _unreadable(name)
    windows = next((each for each in likely if each.encoding == "cp1252"), None)
    if windows and windows.chaos <= best.chaos + _SLACK and windows.coherence >= best.coherence:
        return "cp1252"
    return best.encoding


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


def find_delimiter(text: str) -> tuple[str, bool]:
    """(delimiter, whether Excel's ``sep=`` line names it and is to be skipped)."""
    first = text.partition("\n")[0]
    if first[:4].lower() == "sep=" and len(first.rstrip("\r")) == 5:
        return first[4], True
    head = "\n".join(text.splitlines()[:40])
    return max(_DELIMITERS, key=lambda delimiter: _agreement(head, delimiter)), False


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


def read_csv(source: Source, *, name: str, sheet: str) -> list[Grid]:
    """The one sheet of a text file. Raises ToolingError ``unreadable_text``."""
    encoding = find_encoding(source, name=name)
    with _text(source, encoding) as stream:
        delimiter, skip = find_delimiter(_strictly(stream, name=name))

    def rows() -> Iterator[NumberedRow]:
        with _text(source, encoding) as stream:
            first = 1
            if skip:
                stream.readline()
                first = 2
            reader = csv.reader(stream, delimiter=delimiter)
            try:
                for number, row in enumerate(reader, start=first):
                    yield number, tuple(_cell(value) for value in row)
            except csv.Error:
                raise ToolingError(
                    "unreadable_row",
                    _("“{name}” cannot be read near line {line}: a quotation mark is not closed."),
                    name=name,
                    line=reader.line_num,
                ) from None
            except UnicodeError:
                raise _unreadable(name) from None

    return [Grid(sheet, True, rows)]


def _text(source: Source, encoding: str) -> io.TextIOWrapper:
    return io.TextIOWrapper(opened(source), encoding=encoding, newline="")


def _strictly(stream: io.TextIOWrapper, *, name: str) -> str:
    """The beginning of the text. Raises ToolingError ``unreadable_text``."""
    try:
        return stream.read(_HEAD)
    except UnicodeError:
        raise _unreadable(name) from None


def _cell(value: str) -> Cell:
    return CellError(value.strip()) if value.strip().upper() in ERROR_TEXTS else value

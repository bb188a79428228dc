"""What the mapping page shows of a table's columns: their cells, and what each would be read as."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from django.utils.translation import gettext_lazy

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, is_blank, shown
from tooling.spreadsheets.entries import GROUP, Entry
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.glimpse import shown_sheet
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.rows import ReadCell, read_cells
from tooling.spreadsheets.sheets import column_letters
from tooling.spreadsheets.splits import part_heading, parts_of, said, take_apart
from tooling.spreadsheets.telling import tell

SAMPLES = 3
EXAMPLES = 3
SHORT_ERRORS = {
    "unit_missing": gettext_lazy("in which unit?"),
    "not_split": gettext_lazy("does not follow the pattern"),
    "missing_value": gettext_lazy("is needed"),
}
Read = list[tuple[int, tuple[Cell, ...], dict[str, ReadCell]]]


@dataclass(frozen=True)
class SampleLine:
    """One cell of a column, and what it would be read as; or why it cannot be read."""

    raw: str
    told: str = ""
    error: str = ""
    code: str = ""


@dataclass(frozen=True)
class ChoiceLine:
    """What one column, or one part of it, stands for. ``key``: ``3``, or ``3.2`` for a part."""

    key: str
    heading: str
    samples: tuple[SampleLine, ...]
    field: str
    unit: str
    units: tuple[str, ...]
    blanks: str
    blank_count: int | None
    has_merges: bool
    accepts: bool
    is_needed: bool


@dataclass(frozen=True)
class PatternLine:
    """One way to take a column apart, with its first cells taken apart so."""

    pattern: str
    told: str
    examples: tuple[str, ...]
    fits: int
    of: int
    misfits: tuple[str, ...]


@dataclass(frozen=True)
class ColumnLine:
    """One column of a table with its choices."""

    number: int
    letters: str
    heading: str
    is_group: bool
    pattern: str
    patterns: tuple[PatternLine, ...]
    choice: ChoiceLine
    parts: tuple[ChoiceLine, ...]


def read_entry(entry: Entry, mapping: Mapping) -> Read:
    """(row number, its cells, field → what it says) of the table's first and odd rows."""
    sheet = shown_sheet(entry)
    read = read_cells(sheet, mapping)
    return [
        (number, cells, found)
        for (number, cells), (_n, found) in zip(sheet.body(), read, strict=True)
    ]


def column_lines(
    entry: Entry, kind: Kind | None, mapping: Mapping | None, read: Read
) -> Iterable[ColumnLine]:
    """The columns of a table, but for blank ones without a heading."""
    first = int((entry.get("region") or {}).get("first_column") or 0)
    rows = read or [(n, cells, {}) for n, cells in shown_sheet(entry).body()]
    of_heading = {heading: name for name, heading in mapping.columns.items()} if mapping else {}
    merges = entry.get("merges") or {}
    for number, heading in enumerate(entry["headings"]):
        cells = [row[number] for _n, row, _found in rows if number < len(row)]
        is_blank_column = heading.startswith("[") and all(is_blank(cell) for cell in cells)
        if is_blank_column and heading not in of_heading:
            continue
        pattern = mapping.splits.get(heading, "") if mapping else ""
        has_merges = bool(merges.get(str(number)))

        labels = {str(number): heading}
        for part in range(1, len(parts_of(pattern)) + 1 if pattern else 1):
            labels[f"{number}.{part}"] = part_heading(heading, part)
        whole, *parts = (
            replace(
                _choice(key, label, of_heading.get(label, ""), kind, mapping, rows),
                has_merges=has_merges,
                blank_count=_at(entry.get("blanks") or (), number),
            )
            for key, label in labels.items()
        )
        yield ColumnLine(
            number=number,
            letters="" if heading == GROUP else column_letters(first + number),
            heading=heading,
            is_group=heading == GROUP,
            pattern=pattern,
            patterns=tuple(_patterns(entry, number, pattern)),
            choice=whole,
            parts=tuple(parts),
        )


def _choice(
    key: str, heading: str, name: str, kind: Kind | None, mapping: Mapping | None, rows: Read
) -> ChoiceLine:
    field = kind.by_name.get(name) if kind and name else None
    blanks = ""
    if mapping and name in mapping.fill_down:
        blanks = "above"
    elif mapping and name in mapping.spread:
        blanks = "merged"
    return ChoiceLine(
        key=key,
        heading=heading,
        samples=tuple(_samples(rows, int(key.partition(".")[0]), name, kind)),
        field=name,
        unit=mapping.units.get(name, "") if mapping else "",
        units=field.units if field else (),
        blanks=blanks,
        blank_count=None,
        has_merges=False,
        accepts=bool(mapping and name in mapping.accept),
        is_needed=bool(field and field.required),
    )


def _at(counts: Sequence[int | None], number: int) -> int | None:
    return counts[number] if number < len(counts) else None


def _samples(rows: Read, at: int, name: str, kind: Kind | None) -> list[SampleLine]:
    """A few different cells of the column, and one for each reason why some cannot be read."""
    found: dict[str, SampleLine] = {}
    for _number, cells, read in rows:
        cell = cells[at] if at < len(cells) else None
        if not is_blank(cell):
            raw = " ".join(shown(cell).split())
            found.setdefault(raw, _sample(raw, read.get(name), name, kind))
    lines = list(found.values())
    wrong = {line.code: line for line in reversed(lines) if line.error}
    right = [line for line in lines if not line.error]
    return [*right[: max(1, SAMPLES - len(wrong))], *wrong.values()][: SAMPLES + 1]


def _sample(raw: str, read: ReadCell | None, name: str, kind: Kind | None) -> SampleLine:
    if read is None or kind is None:
        return SampleLine(raw)
    if read.error is not None:
        return SampleLine(raw, error=error_said(read.error), code=read.error.code)
    told = tell(kind.field(name), read.value, read.unit)
    return SampleLine(raw, told="" if told == raw else told)


def error_said(error: ToolingError) -> str:
    """Why a cell cannot be read, in few words where its sentence is long."""
    return str(SHORT_ERRORS.get(error.code) or error.message)


def _patterns(entry: Entry, number: int, chosen: str) -> Iterable[PatternLine]:
    """The proposed ways to take a column apart, and the chosen one if it is another."""
    proposed = (entry.get("proposals") or {}).get(str(number)) or {}
    texts, patterns = proposed.get("texts") or [], list(proposed.get("patterns") or [])
    if chosen and chosen not in [each["pattern"] for each in patterns]:
        patterns.append({"pattern": chosen, "fits": 0, "of": 0, "misfits": []})
    for each in patterns:
        apart = [(text, take_apart(text, each["pattern"])) for text in texts]
        yield PatternLine(
            pattern=each["pattern"],
            told=said(each["pattern"]),
            examples=tuple(
                f"{text} → {' | '.join(parts)}" for text, parts in apart if parts is not None
            )[:EXAMPLES],
            fits=each["fits"],
            of=each["of"],
            misfits=tuple(each["misfits"]),
        )

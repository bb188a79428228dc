"""One entry of an import for each table of a file: where it stands and how it is to be read.

An entry is what JSON holds. ``file sheet title`` name the table; ``region`` says where it stands.
For the page there are ``headings``, ``rows`` and ``merges`` (its first rows), ``peek`` (rows
around the headings), ``proposals`` (patterns by column), ``body`` (how many rows), ``left_rows``
(those that hold no record) and ``notes``. A person chooses ``leave keep_rows drop_rows groups
left_out`` and ``mapping``. Everything but ``file sheet headings`` may be missing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.evidence import Evidence, find_evidence
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.files import cut_out, no_rows, read_grids, read_headings, tables_of
from tooling.spreadsheets.glimpse import glimpse, notes, peek
from tooling.spreadsheets.kept import Entry, find_again, fits, renamed, worth_keeping
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.leftovers import Leftovers, find_leftovers
from tooling.spreadsheets.mapping import Mapping as SheetMapping
from tooling.spreadsheets.sheets import (
    Grid,
    Region,
    Sheet,
    cut,
)
from tooling.spreadsheets.sources import Progress, Source, nobody_asks
from tooling.spreadsheets.suggest import suggest_kind, suggest_mapping
from tooling.spreadsheets.survey import Survey, survey
from tooling.spreadsheets.tables import are_our_own

__all__ = ["Entry", "guess_entries", "moved", "open_entries", "titled", "worth_keeping"]

GROUP = "[group]"
"""The heading of the column that rows naming a group give to the rows under them."""
LEFT_OUT_AT_FIRST = ("total", "footer", "heading", "title")
REASONS = (*LEFT_OUT_AT_FIRST, "hidden")
GROUPS = ("", "name", "leave")
"""Rows of one cell are rows like others, name the rows below them, or are left out."""
_REMEMBERED = 2_000
"""Rows of a sheet that are kept in memory between two looks at it; longer ones are read again."""


def guess_entries(
    source: Source, *, name: str, kept: Sequence[Entry] = (), progress: Progress = nobody_asks
) -> list[Entry]:
    """An entry for each table of a file. A kept mapping wins over a guess, the fullest first.

    ``progress`` is called every few hundred rows of each look at the file.

    Raises those of ``files.read_sheets``.
    """
    waiting = sorted(kept, key=lambda old: -len((old.get("mapping") or {}).get("columns") or {}))
    entries = []
    for grid in read_grids(source, name=name, progress=progress):
        seen = survey(_remembering(grid))
        regions = _regions(seen, waiting)
        for turn, region in enumerate(regions):
            table = turn + 1 if len(regions) > 1 else 0
            after = end_above(region, regions)
            entry = _described(seen.grid, region, name, table=table, after=after)
            entries.append(_guess(seen.grid, entry, waiting))
    if not entries:
        raise no_rows(name)
    return entries


def _remembering(grid: Grid) -> Grid:
    """The grid with its rows in memory, unless there are many."""
    rows = list(islice(grid.source(), _REMEMBERED + 1))
    return grid if len(rows) > _REMEMBERED else replace(grid, source=lambda: iter(rows))


def _regions(seen: Survey, kept: Sequence[Entry]) -> list[Region]:
    """Where tables stand, with those that only a kept mapping can find."""
    regions = tables_of(seen)
    there = [read_headings(seen.grid, region) for region in regions]
    for old in kept:
        if old.get("sheet") != seen.grid.name or any(fits(old, texts) for texts in there):
            continue
        again = find_again(seen, old, regions)
        if again is not None:
            regions = [each for each in regions if not _overlap(each, again)]
            regions = sorted([*regions, again], key=lambda r: (r.heading_row, r.first_column))
    return regions


def _overlap(one: Region, other: Region) -> bool:
    """Whether two tables claim the same cells, or one's headings stand among the other's rows."""
    aside = (one.last_column is not None and one.last_column < other.first_column) or (
        other.last_column is not None and other.last_column < one.first_column
    )
    over = (one.last_row is not None and one.last_row < other.heading_row) or (
        other.last_row is not None and other.last_row < one.heading_row
    )
    return not aside and not over


def end_above(region: Region, others: Iterable[Region]) -> int:
    """The last row of the table that stands above a region, 0 if none does."""
    ends = (
        each.last_row
        for each in others
        if each.last_row is not None
        and each.last_row < region.heading_row
        and (region.last_column is None or each.first_column <= region.last_column)
        and (each.last_column is None or region.first_column <= each.last_column)
    )
    return max(ends, default=0)


def _guess(grid: Grid, entry: Entry, kept: list[Entry]) -> Entry:
    old = next((each for each in kept if fits(each, entry["headings"])), None)
    if old is not None:
        kept.remove(old)
        entry.update({name: old[name] for name in ("leave", "groups") if name in old})
        entry["left_out"] = bool(old.get("left_out"))
        return _with_evidence(grid, entry, renamed(old, entry["headings"]))
    entry["left_out"] = grid.is_hidden
    sheet = _sheet(grid, entry)
    kind = _likely_kind(sheet, entry)
    mapping = _suggested(sheet, kind).to_dict() if kind else None
    return _with_evidence(grid, entry, mapping)


def _likely_kind(sheet: Sheet, entry: Entry) -> Kind | None:
    """By the title over the headings, if there is one, else by the sheet's name."""
    titles = [note["text"] for note in entry["notes"] if note["what"] == "title"]
    for title in (*titles, sheet.name):
        if kind := suggest_kind(replace(sheet, name=title)):
            return kind
    return None


def _suggested(sheet: Sheet, kind: Kind) -> SheetMapping:
    """The likeliest mapping; merged cells count for every row that they cover."""
    mapping = suggest_mapping(sheet, kind)
    merged = {sheet.headings[at] for at in sheet.merges if at < len(sheet.headings)}
    spread = {name for name, heading in mapping.columns.items() if heading in merged}
    return replace(mapping, spread=frozenset(spread))


def _with_evidence(grid: Grid, entry: Entry, mapping: dict[str, Any] | None) -> Entry:
    if mapping is None:
        return {**entry, "mapping": None}
    return with_evidence(_sheet(grid, entry), entry, mapping)


def with_evidence(sheet: Sheet, entry: Entry, mapping: dict[str, Any]) -> Entry:
    """The entry with this mapping and with what the sheet's own cells say of its dates and
    numbers, where nobody has said it."""
    ours = are_our_own(entry["headings"])
    found = Evidence() if ours else find_evidence(sheet, SheetMapping.from_dict(mapping))
    notes = [note for note in entry["notes"] if note["what"] not in ("dates", "decimals")]
    chosen = dict(mapping)
    if found.date_order and not mapping.get("date_order"):
        chosen["date_order"] = found.date_order
        notes.append({"what": "dates", "cell": found.date_cell, "value": found.date_order})
    if found.decimal_mark and not mapping.get("decimal_mark"):
        chosen["decimal_mark"] = found.decimal_mark
        notes.append({"what": "decimals", "cell": found.decimal_cell, "value": found.decimal_mark})
    return {**entry, "notes": notes, "mapping": chosen}


def _described(
    grid: Grid,
    region: Region,
    file: str,
    *,
    table: int = 0,
    groups: str | None = None,
    after: int = 0,
) -> Entry:
    """An entry without a mapping: the table's headings, first rows and rows without a record.

    ``groups``: what rows of one cell are for; None: they name the rows below if there are two.
    """
    bare = cut_out(grid, region)
    left = Leftovers.of_our_own(bare) if are_our_own(bare.headings) else find_leftovers(bare)
    if groups is None:
        groups = "name" if len(left.lone) > 1 else ""
    entry: Entry = {
        "file": file,
        "sheet": grid.name,
        "table": table,
        "region": region.to_dict(),
        "headings": [*bare.headings, GROUP] if groups == "name" else list(bare.headings),
        "body": left.body,
        "left_rows": [[each.row, each.why, each.text] for each in (*left.rows, *left.lone)],
        "leave": list(LEFT_OUT_AT_FIRST),
        "groups": groups,
        "left_out": False,
        "peek": peek(grid, region),
        "after": after,
        "notes": notes(grid, region, bare, left, after=after),
    }
    return {**entry, **glimpse(_sheet(grid, entry))}


# --- using entries ----------------------------------------------------------------------------


def titled(entries: Iterable[Entry]) -> list[Entry]:
    """The entries, each with a ``title`` that no other has: what problems call its table."""
    entries = list(entries)
    of_sheet = Counter((entry["file"], entry["sheet"]) for entry in entries)
    files = Counter(sheet for _file, sheet in of_sheet)
    turns: Counter[tuple[str, str]] = Counter()
    named = []
    for entry in entries:
        sheet = (entry["file"], entry["sheet"])
        turns[sheet] += 1
        title = sheet[1] if files[sheet[1]] == 1 else f"{sheet[0]}: {sheet[1]}"
        if of_sheet[sheet] > 1:
            title = f"{title} ({turns[sheet]})"
        named.append({**entry, "title": title})
    return named


def open_entries(
    source: Source, *, name: str, entries: Iterable[Entry]
) -> list[tuple[Entry, Sheet]]:
    """The tables of these entries of one file that are not left out, each named by its title.

    Raises those of ``files.read_grids``; rows are read as they are asked for.
    """
    wanted = [each for each in entries if each["file"] == name and not each.get("left_out")]
    grids = {grid.name: grid for grid in read_grids(source, name=name)} if wanted else {}
    found = []
    for entry in wanted:
        grid = grids.get(entry["sheet"])
        if grid is not None:
            sheet = _sheet(grid, _placed(grid, entry))
            found.append((entry, replace(sheet, name=entry.get("title") or sheet.name)))
    return found


def _placed(grid: Grid, entry: Entry) -> Entry:
    """The entry with its region; one from before there were regions gets the sheet's first."""
    if entry.get("region"):
        return entry
    regions = tables_of(survey(grid))
    if not regions:
        raise no_rows(entry["file"])
    return {**entry, "region": regions[0].to_dict()}


def _sheet(grid: Grid, entry: Mapping[str, Any]) -> Sheet:
    """The table as the entry says, without the rows that are to be left out."""
    region = Region.from_dict(entry["region"])
    headings = read_headings(grid, region)
    names_groups = entry.get("groups") == "name"
    return cut(
        grid,
        region,
        (*headings, GROUP) if names_groups else headings,
        skipped=frozenset(skipped_rows(entry, grid.hidden_rows)),
        groups=frozenset(_rows_of(entry, "group")) if names_groups else frozenset(),
    )


def skipped_rows(entry: Mapping[str, Any], hidden: frozenset[int]) -> set[int]:
    """The rows that are not read: proposed ones that nobody kept, and what a person named."""
    leave = set(entry.get("leave", LEFT_OUT_AT_FIRST))
    if entry.get("groups") == "leave":
        leave.add("group")
    kept = set(entry.get("keep_rows") or ())
    skipped = {row for why in leave for row in _rows_of(entry, why)} - kept
    if "hidden" in leave:
        skipped |= hidden
    return skipped | set(entry.get("drop_rows") or ())


def _rows_of(entry: Mapping[str, Any], why: str) -> Iterator[int]:
    return (row for row, reason, _text in entry.get("left_rows") or () if reason == why)


def moved(
    source: Source, *, entry: Entry, region: Region, kind: str = "", groups: str | None = None
) -> Entry:
    """The entry as it is when its table stands elsewhere or holds another kind of record.

    Its mapping stays where the headings still allow it. Raises those of ``files.read_grids`` and
    ToolingError ``no_headings``.
    """
    grid = _grid_of(source, entry)
    after = int(entry.get("after") or 0)
    fresh = _described(
        grid,
        region,
        entry["file"],
        table=int(entry.get("table") or 0),
        groups=groups,
        after=after if after < region.heading_row else 0,
    )
    if not set(fresh["headings"]) - {GROUP}:
        raise ToolingError(
            "no_headings",
            _("Row {row} of “{sheet}” holds no headings there. Choose another row or columns."),
            row=region.heading_last, sheet=entry["sheet"],
        )  # fmt: skip
    same = ("title", "left_out", "leave", "keep_rows", "drop_rows")
    fresh.update({name: entry[name] for name in same if name in entry})
    before = entry.get("mapping") or {}
    if before and before["kind"] == kind and fits(entry, fresh["headings"]):
        return _with_evidence(grid, fresh, renamed(entry, fresh["headings"]))
    sheet = _sheet(grid, fresh)
    wanted = find_kind(kind) if kind else _likely_kind(sheet, fresh)
    return _with_evidence(grid, fresh, _suggested(sheet, wanted).to_dict() if wanted else None)


def _grid_of(source: Source, entry: Entry) -> Grid:
    """The sheet of the file in which an entry's table stands. Raises ToolingError ``no_rows``."""
    for grid in read_grids(source, name=entry["file"]):
        if grid.name == entry["sheet"]:
            return _remembering(grid)
    raise no_rows(entry["file"])

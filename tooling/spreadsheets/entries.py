"""One entry of an import for each table of a file: where it stands and how it is to be read.

An entry is what JSON holds: ``file sheet title`` name the table; ``region`` says where it stands;
``headings``, ``values`` (a few cells of each column), ``rows`` (its first rows), ``peek`` (rows
around the headings), ``proposals`` (patterns by column), ``left_rows`` (rows that hold no record)
and ``notes`` are for the page; ``leave keep_rows drop_rows groups left_out`` and ``mapping`` are
what a person chooses. Everything but ``file sheet headings`` may be missing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import Cell, is_blank, packed, shown
from tooling.spreadsheets.evidence import find_evidence
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.files import cut_out, no_rows, read_grids, read_headings, tables_of
from tooling.spreadsheets.kept import Entry, find_again, fits, renamed, worth_keeping
from tooling.spreadsheets.kinds import find_kind
from tooling.spreadsheets.leftovers import Leftovers, find_leftovers, told
from tooling.spreadsheets.mapping import Mapping as SheetMapping
from tooling.spreadsheets.sheets import (
    Grid,
    NumberedRow,
    Region,
    Sheet,
    column_letters,
    cut,
)
from tooling.spreadsheets.splits import Proposal, propose, take_apart
from tooling.spreadsheets.suggest import suggest_kind, suggest_mapping
from tooling.spreadsheets.survey import Survey, survey

__all__ = ["guess_entries", "moved", "open_entries", "titled", "worth_keeping"]

GROUP = "[group]"
"""The heading of the column that rows naming a group give to the rows under them."""
LEFT_OUT_AT_FIRST = ("total", "footer", "heading", "title")
REASONS = (*LEFT_OUT_AT_FIRST, "hidden", "group")
_REMEMBERED = 20_000
_LOOKED_AT = 2_000
_DIFFERENT = 400
_FEW, _MORE, _FIRST_ROWS, _PEEK_BEFORE, _PEEK_AFTER, _PEEK = 4, 40, 8, 12, 8, 20
_LONGEST = 200


def guess_entries(data: bytes, *, name: str, kept: Sequence[Entry] = ()) -> list[Entry]:
    """An entry for each table of a file. A kept mapping wins over a guess, the fullest first.

    Raises those of ``files.read_sheets``.
    """
    waiting = sorted(kept, key=lambda old: -len((old.get("mapping") or {}).get("columns") or {}))
    entries = []
    for grid in read_grids(data, name=name):
        seen = survey(_remembering(grid))
        regions = _regions(seen, waiting)
        for turn, region in enumerate(regions):
            entries.append(_guess(seen, region, name, waiting, turn, len(regions)))
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


def _guess(
    seen: Survey, region: Region, file: str, kept: list[Entry], turn: int, count: int
) -> Entry:
    entry = _described(seen.grid, region, file, table=turn + 1 if count > 1 else 0)
    old = next((each for each in kept if fits(each, entry["headings"])), None)
    if old is not None:
        kept.remove(old)
        entry.update({name: old[name] for name in ("leave", "groups") if name in old})
        entry["left_out"] = bool(old.get("left_out"))
        return _with_evidence(seen.grid, entry, renamed(old, entry["headings"]))
    entry["left_out"] = seen.grid.is_hidden
    sheet = _sheet(seen.grid, entry)
    kind = _likely_kind(sheet, entry)
    mapping = _suggested(sheet, kind).to_dict() if kind else None
    return _with_evidence(seen.grid, entry, mapping)


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
    """What its own cells say of dates and numbers, where nobody has said it."""
    if mapping is None:
        return {**entry, "mapping": None}
    found = find_evidence(_sheet(grid, entry), SheetMapping.from_dict(mapping))
    notes = [note for note in entry["notes"] if note["what"] not in ("dates", "decimals")]
    chosen = dict(mapping)
    if found.date_order and not mapping.get("date_order"):
        chosen["date_order"] = found.date_order
        notes.append({"what": "dates", "cell": found.date_cell, "value": found.date_order})
    if found.decimal_mark and not mapping.get("decimal_mark"):
        chosen["decimal_mark"] = found.decimal_mark
        notes.append({"what": "decimals", "cell": found.decimal_cell, "value": found.decimal_mark})
    return {**entry, "notes": notes, "mapping": chosen}


# --- what the page shows of a table -----------------------------------------------------------


def _described(grid: Grid, region: Region, file: str, *, table: int = 0) -> Entry:
    """An entry without a mapping: the table's headings, first cells and rows without a record."""
    bare = cut_out(grid, region)
    left = find_leftovers(bare)
    names_groups = len(left.lone) > 1
    rows = [*left.rows, *left.lone] if names_groups else list(left.rows)
    entry: Entry = {
        "file": file,
        "sheet": grid.name,
        "table": table,
        "region": region.to_dict(),
        "headings": list(bare.headings),
        "left_rows": [[each.row, each.why, each.text] for each in rows],
        "leave": list(LEFT_OUT_AT_FIRST),
        "groups": "name" if names_groups else "",
        "left_out": False,
    }
    if names_groups:
        entry["headings"].append(GROUP)
    sheet = _sheet(grid, entry)
    entry.update(_seen_of(sheet))
    entry["peek"] = _peek(grid, region)
    entry["notes"] = _notes(grid, region, bare, left)
    return entry


def _seen_of(sheet: Sheet) -> Entry:
    """The first rows, a few different cells of each column, and patterns to take them apart."""
    different: list[dict[str, Cell]] = [{} for _heading in sheet.headings]
    first: list[NumberedRow] = []
    for number, cells in islice(sheet.rows(), _LOOKED_AT):
        if len(first) < _FIRST_ROWS:
            first.append((number, cells))
        for found, cell in zip(different, cells, strict=False):
            if not is_blank(cell) and len(found) < _DIFFERENT:
                found.setdefault(" ".join(shown(cell).split()), cell)
    proposals = {}
    for at, found in enumerate(different):
        texts = [text for text, cell in found.items() if isinstance(cell, str)]
        if made := [_proposed(each, texts) for each in propose(texts)]:
            proposals[str(at)] = {"texts": texts[:_MORE], "patterns": made}
    last = first[-1][0] if first else 0
    return {
        "values": [[_packed(c) for c in list(found.values())[:_FEW]] for found in different],
        "rows": [[number, [_packed(cell) for cell in cells]] for number, cells in first],
        "merges": {
            str(at): [list(span) for span in spans if span[0] <= last]
            for at, spans in sheet.merges.items()
        },
        "proposals": proposals,
    }


def _proposed(proposal: Proposal, texts: Sequence[str]) -> dict[str, Any]:
    """A pattern, how many of how many different cells follow it, and some that do not."""
    misfits = (text for text in texts if take_apart(text, proposal.pattern) is None)
    return {
        "pattern": proposal.pattern,
        "fits": proposal.fits,
        "of": proposal.of,
        "misfits": [text[:_LONGEST] for text in islice(misfits, _FEW)],
    }


def _packed(cell: Cell) -> Any:
    return cell[:_LONGEST] if isinstance(cell, str) else packed(cell)


def _peek(grid: Grid, region: Region) -> list[list[Any]]:
    """The rows around the headings, for a person to say which of them the headings are."""
    first, last = region.heading_row - _PEEK_BEFORE, region.heading_last + _PEEK_AFTER
    found: list[list[Any]] = []
    for number, cells in grid.source():
        if number > max(last, _PEEK):
            break
        line = told(region.cut(cells))
        if number >= first and line:
            found.append([number, line])
    return found[-(_PEEK_BEFORE + _PEEK_AFTER + 4) :]


def _notes(grid: Grid, region: Region, sheet: Sheet, left: Leftovers) -> list[dict[str, Any]]:
    """What of the sheet cannot be seen in its cells, or is not read."""
    notes: list[dict[str, Any]] = []
    titles = [
        told(region.cut(cells))
        for number, cells in islice(grid.source(), region.heading_row - 1)
        if number >= region.heading_row - _PEEK_BEFORE
    ]
    if any(titles):
        notes.append({"what": "title", "text": [each for each in titles if each][-1]})
    if grid.is_hidden:
        notes.append({"what": "hidden_sheet"})
    hidden = [
        heading
        for at, heading in enumerate(sheet.headings, start=region.first_column)
        if at in grid.hidden_columns
    ]
    if hidden:
        notes.append({"what": "hidden_columns", "names": hidden})
    below = sorted(row for row in grid.hidden_rows if _is_under(row, region))
    if below:
        notes.append({"what": "hidden_rows", "count": len(below), "row": below[0]})
    across = [
        each
        for each in grid.merges
        if _is_under(each.first_row, region)
        and each.last_column > each.first_column
        and region.first_column <= each.first_column < region.first_column + len(sheet.headings)
        and each.first_row not in {lone.row for lone in (*left.rows, *left.lone)}
    ]
    if across:
        one = across[0]
        name = f"{column_letters(one.first_column)}{one.first_row}"
        notes.append({"what": "merged_across", "count": len(across), "cell": name})
    return notes


def _is_under(row: int, region: Region) -> bool:
    return row > region.heading_last and (region.last_row is None or row <= region.last_row)


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


def open_entries(data: bytes, *, name: str, entries: Iterable[Entry]) -> list[tuple[Entry, Sheet]]:
    """The tables of these entries of one file that are not left out, each named by its title.

    Raises those of ``files.read_grids``; rows are read as they are asked for.
    """
    wanted = [each for each in entries if each["file"] == name and not each.get("left_out")]
    grids = {grid.name: grid for grid in read_grids(data, name=name)} if wanted else {}
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


def moved(data: bytes, *, entry: Entry, region: Region) -> Entry:
    """The entry as it is when its table stands elsewhere: looked at anew, its kind kept.

    Raises those of ``files.read_grids`` and ToolingError ``no_rows``.
    """
    grid = next(
        (each for each in read_grids(data, name=entry["file"]) if each.name == entry["sheet"]), None
    )
    if grid is None:
        raise no_rows(entry["file"])
    grid = _remembering(grid)
    fresh = _described(grid, region, entry["file"], table=int(entry.get("table") or 0))
    if not fresh["headings"] or fresh["headings"] == [GROUP]:
        raise ToolingError(
            "no_headings",
            _("Row {row} of “{sheet}” holds no headings there. Choose another row or columns."),
            row=region.heading_last, sheet=entry["sheet"],
        )  # fmt: skip
    same = ("title", "left_out", "leave", "keep_rows", "drop_rows")
    fresh.update({name: entry[name] for name in same if name in entry})
    name = (entry.get("mapping") or {}).get("kind", "")
    sheet = _sheet(grid, fresh)
    kind = find_kind(name) if name else _likely_kind(sheet, fresh)
    return _with_evidence(grid, fresh, _suggested(sheet, kind).to_dict() if kind else None)

"""A kept mapping finds its table again, wherever it stands this month."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from tooling.spreadsheets.sheets import Region, heading_texts
from tooling.spreadsheets.survey import Survey

KEPT = ("sheet", "headings", "region", "mapping", "left_out", "leave", "groups")
"""What of an entry is kept for the next time: nothing of the shop's own rows."""

Entry = dict[str, Any]


def worth_keeping(entry: Mapping[str, Any]) -> Entry:
    """What of an entry helps the next time: no samples, no file, no row numbers of its own."""
    return {name: entry[name] for name in KEPT if name in entry}


def compared(heading: str) -> str:
    """How headings are compared from month to month: no case, single spaces."""
    return " ".join(heading.split()).casefold()


def headings_needed(entry: Mapping[str, Any]) -> set[str]:
    """The headings without which a kept mapping cannot be used, as they are compared."""
    mapping = entry.get("mapping") or {}
    columns = set((mapping.get("columns") or {}).values())
    splits = mapping.get("splits") or {}
    whole = {part.rpartition(" ›")[0] for part in columns if part.rpartition(" ›")[0] in splits}
    return {
        compared(heading) for heading in whole | {c for c in columns if not _is_part(c, splits)}
    }


def _is_part(column: str, splits: Mapping[str, str]) -> bool:
    return column.rpartition(" ›")[0] in splits


def fits(entry: Mapping[str, Any], headings: Iterable[str]) -> bool:
    """Whether a table has every heading that the kept mapping needs."""
    needed = headings_needed(entry)
    there = {compared(heading) for heading in headings}
    if not needed:
        return bool(entry.get("left_out")) and there == set(map(compared, entry["headings"]))
    return needed <= there


def renamed(entry: Mapping[str, Any], headings: Sequence[str]) -> dict[str, Any] | None:
    """The kept mapping with the headings as they are written now."""
    mapping = entry.get("mapping")
    if not mapping:
        return None
    now = {compared(heading): heading for heading in headings}
    splits = mapping.get("splits") or {}
    columns = {}
    for name, column in (mapping.get("columns") or {}).items():
        whole, mark, number = column.rpartition(" ›")
        if _is_part(column, splits):
            columns[name] = now.get(compared(whole), whole) + mark + number
        else:
            columns[name] = now.get(compared(column), column)
    return {
        **mapping,
        "columns": columns,
        "splits": {now.get(compared(each), each): pattern for each, pattern in splits.items()},
    }


def find_again(seen: Survey, entry: Mapping[str, Any], regions: Sequence[Region]) -> Region | None:
    """Where the kept mapping's headings stand in a sheet whose tables were found elsewhere."""
    if not headings_needed(entry) or not entry.get("region"):
        return None
    kept = Region.from_dict(entry["region"])
    deep = kept.heading_last - kept.heading_row
    for number in sorted(seen.kept):
        if number - deep < 1:
            continue
        region = Region(number - deep, number, kept.first_column, kept.last_column)
        rows = [(n, seen.kept[n]) for n in range(number - deep, number + 1) if n in seen.kept]
        if fits(entry, heading_texts(rows, seen.grid, region)):
            return _ended(region, regions)
    return None


def _ended(region: Region, regions: Sequence[Region]) -> Region:
    """The region up to the next table under it."""
    starts = [
        each.heading_row
        for each in regions
        if each.heading_row > region.heading_last and each.first_column == region.first_column
    ]
    if not starts:
        return region
    end = max(region.heading_last, min(starts) - 1)
    return Region(region.heading_row, region.heading_last, region.first_column,
                  region.last_column, end)  # fmt: skip

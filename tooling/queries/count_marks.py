"""The last marks of a count: who counted what, to see each other's work and to take back a slip."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tooling.models import Count, CountEntry, How, PlaceKind

LAST = 8
ROWS_READ = 300


@dataclass(frozen=True)
class LastMark:
    """One scan, tick or number; a row ticked at once is one, with all its entries."""

    entries: tuple[str, ...]
    code: str
    said: str
    by: str
    at: datetime
    is_undone: bool


def last_marks(count: Count, *, most: int = LAST) -> tuple[LastMark, ...]:
    """The newest first. Two queries."""
    rows = CountEntry.objects.filter(count=count, is_taken_back=False).order_by("-at", "-id")
    together: dict[tuple[object, ...], list[tuple[int, UUID, bool]]] = {}
    for pk, uuid, by, at, how, device, corrected in rows.values_list(
        "id", "uuid", "by_id", "at", "how", "device_id", "corrected_by"
    )[:ROWS_READ]:
        ticked = how == How.TICK and device is None
        key = (by, at) if ticked else (pk,)
        if key not in together and len(together) == most:
            break
        together.setdefault(key, []).append((pk, uuid, corrected is not None))
    firsts = CountEntry.objects.select_related(
        "piece", "stock_line__drawing", "place__parent", "by", "movement__from_seen"
    ).in_bulk([entries[0][0] for entries in together.values()])
    return tuple(_mark(firsts[entries[0][0]], entries) for entries in together.values())


def _mark(first: CountEntry, entries: list[tuple[int, UUID, bool]]) -> LastMark:
    standing = tuple(str(uuid) for _pk, uuid, is_undone in entries if not is_undone)
    return LastMark(
        entries=standing,
        code=_code(first) if len(entries) == 1 else "",
        said=_said_one(first) if len(entries) == 1 else _said_row(first, len(entries)),
        by=str(first.by or "-"),
        at=first.at,
        is_undone=not standing,
    )


def _code(entry: CountEntry) -> str:
    subject = entry.piece or entry.stock_line
    return subject.code if subject is not None else ""


def _where(entry: CountEntry) -> str:
    return entry.place.name if entry.place else "-"


def _said_row(first: CountEntry, n: int) -> str:
    """A row of pegs by the place that they are on."""
    place = first.place
    if place is not None and place.kind == PlaceKind.PEG and place.parent is not None:
        place = place.parent
    said = ngettext("{n} piece, {place}", "{n} pieces, {place}", n)
    return said.format(n=n, place=place.name if place else "-")


def _said_one(entry: CountEntry) -> str:
    if entry.stock_line is not None:
        drawing = entry.stock_line.drawing.number
        return _("{n} {drawing}, {place}").format(
            n=entry.quantity, drawing=drawing, place=_where(entry)
        )
    mark = entry.piece.mark if entry.piece else ""
    came_from = entry.movement.from_seen if entry.movement else None
    said = _("{mark}, {place}, expected in {was}") if came_from else _("{mark}, {place}")
    was = (came_from.path_name or came_from.name) if came_from else ""
    return said.format(mark=mark, place=_where(entry), was=was).lstrip(", ")

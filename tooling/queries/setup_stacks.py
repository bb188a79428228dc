"""What goes on each shaft of a setup, in order from the shoulder, turned where the setup is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import cast

from tooling.engineering.turned import Faces, Fill, Stood, from_shoulder
from tooling.models import KitPosition, Setup

SHAFTS = ("top", "bottom", "side")


@dataclass(frozen=True)
class OnShaft:
    """One position where it goes on: ``turn`` counts from the shoulder, from 1; ``faces`` says
    which way its mark faces on this mill."""

    row: KitPosition
    turn: int
    faces: str


ShaftAt = tuple[int, str]
"""Number of the station, shaft."""


def stacks_of(
    setup: Setup, *, stations: Iterable[int] | None = None
) -> dict[ShaftAt, tuple[OnShaft, ...]]:
    """Each shaft that the kit puts something on, its stack from the shoulder. One query, with
    drawing, its set's position, piece and its place, and bin loaded."""
    rows = KitPosition.objects.filter(kit=setup.kit_id).exclude(shaft="line")
    if stations is not None:
        rows = rows.filter(station_number__in=list(stations))
    rows = rows.select_related(
        "drawing", "set_position", "piece__place", "piece__revision", "stock_line"
    )
    by: dict[ShaftAt, list[KitPosition]] = defaultdict(list)
    for row in rows.order_by("station_number", "shaft", "order"):
        by[row.station_number, row.shaft].append(row)
    return {key: in_order(mine, is_turned=setup.is_turned) for key, mine in by.items()}


def in_order(rows: Sequence[KitPosition], *, is_turned: bool) -> tuple[OnShaft, ...]:
    """One shaft's positions as they go on. Side rolls stand beside each other and are not
    mirrored."""
    known = {row.pk: row for row in rows}
    is_side = any(row.shaft == "side" for row in rows)
    stood = [
        Stood(row.pk, row.order, cast(Fill, row.fill), cast(Faces, _faces(row))) for row in rows
    ]
    ordered = from_shoulder(stood, is_turned=is_turned and not is_side)
    return tuple(
        OnShaft(known[each.key], turn, each.faces) for turn, each in enumerate(ordered, start=1)
    )


def _faces(row: KitPosition) -> str:
    return row.set_position.mark_faces if row.set_position else ""

"""Which places are counted as one: a rack with its shelves and pegs, a cart, a plate."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tooling.models import AWAY_KINDS, MOVING_KINDS, Place, PlaceKind
from tooling.queries.whereabouts import GONE_KINDS

HOLDS = (PlaceKind.RACK, PlaceKind.SHELF, PlaceKind.BIN, PlaceKind.PEG)
NOT_COUNTED = frozenset({*AWAY_KINDS, *GONE_KINDS, PlaceKind.STATION})
"""Away, lost, or on a mill: the plan of counts does not send anybody there."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A place as the plan needs it."""

    id: int
    code: str
    path: str
    path_name: str
    kind: str
    walking_order: int


def read_spots() -> dict[int, Spot]:
    """Every place in use, by id. One query."""
    rows = Place.objects.filter(is_active=True).values_list(
        "id", "code", "path", "path_name", "kind", "walking_order"
    )
    return {row[0]: Spot(*row) for row in rows}


def units_of(spots: Mapping[int, Spot]) -> dict[int, Spot]:
    """Place id → what it is counted with; places that are not counted are left out.

    A cart or plate is counted by itself wherever it stands; else the outermost rack, shelf, bin or
    peg; else the place itself, such as an area where something lies on the floor.
    """
    by_code = {spot.code: spot for spot in spots.values()}
    found = {pk: _unit(_way_in(spot, by_code)) for pk, spot in spots.items()}
    return {pk: unit for pk, unit in found.items() if unit is not None}


def _way_in(spot: Spot, by_code: Mapping[str, Spot]) -> list[Spot]:
    """From the outermost place to this one."""
    return [by_code[code] for code in spot.path.split("/") if code in by_code]


def _unit(way: Iterable[Spot]) -> Spot | None:
    steps = list(way)
    if not steps or any(step.kind in NOT_COUNTED for step in steps):
        return None
    moving = [step for step in steps if step.kind in MOVING_KINDS]
    holding = [step for step in steps if step.kind in HOLDS]
    return (moving[-1:] or holding[:1] or steps[-1:])[0]

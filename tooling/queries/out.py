"""What is out: in somebody's hands, at a grinder, a customer or a sister plant, and since which
movement. A box at the grinder is out as the grinder is: what stands inside such a place counts."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import connection
from django.utils import timezone

from tooling.models import AWAY_KINDS, DueBack, Place
from tooling.queries.settings import setting_values

LEAVING_KINDS = ("grinder", "customer", "sister")
"""Kinds of place out of the building; with a person a piece stays inside it."""

_INSIDE = """
WITH RECURSIVE gone(id, away) AS (
    SELECT id, id FROM tooling_place WHERE kind IN (%s, %s, %s, %s)
    UNION
    SELECT inner_place.id, gone.away
    FROM tooling_place inner_place JOIN gone ON inner_place.parent_id = gone.id
)
SELECT gone.id, gone.away FROM gone
"""


@dataclass(frozen=True)
class OutPlaces:
    """Every place that is out, by id: itself or what it stands in, the outermost."""

    places: Mapping[int, Place]
    away: Mapping[int, Place]

    def __bool__(self) -> bool:
        return bool(self.places)


def places_out() -> OutPlaces:
    """All places that are out, with what stands inside them. Two queries."""
    with connection.cursor() as cursor:
        cursor.execute(_INSIDE, list(AWAY_KINDS))
        pairs = cursor.fetchall()
    places = Place.objects.in_bulk({inner for inner, _away in pairs})
    away: dict[int, Place] = {}
    for inner, outer in pairs:
        known = away.get(inner)
        if known is None or len(places[outer].path) < len(known.path):
            away[inner] = places[outer]
    return OutPlaces(places, away)


def away_of(targets: Iterable[Place]) -> dict[int, Place]:
    """Of these places those that are out, by id, with the outermost that they are or stand in.

    One query where any of them is inside another place, else none.
    """
    wanted = {place.pk: place for place in targets}
    codes = {code for place in wanted.values() for code in _codes(place) if code != place.code}
    known = {place.code: place for place in wanted.values() if place.kind in AWAY_KINDS}
    if codes:
        rows = Place.objects.filter(code__in=codes, kind__in=AWAY_KINDS)
        known |= {place.code: place for place in rows}
    found = {}
    for place in wanted.values():
        outermost = next((known[code] for code in _codes(place) if code in known), None)
        if outermost is not None:
            found[place.pk] = outermost
    return found


def _codes(place: Place) -> list[str]:
    return [code for code in place.path.split("/") if code]


@dataclass(frozen=True)
class Due:
    """When what a movement took away is due back, as said last; no day: no date any more."""

    due_on: date | None
    reason: str
    at: datetime


def standing_dues(movements: Collection[int]) -> dict[int, Due]:
    """Movement id → what stands of it. One query, none for nothing."""
    if not movements:
        return {}
    rows = DueBack.objects.filter(movement__in=movements).order_by("at", "id")
    return {
        movement: Due(due_on, reason, at)
        for movement, due_on, reason, at in rows.values_list(
            "movement_id", "due_on", "reason", "at"
        )
    }


SETTING_OF: Mapping[str, str] = {kind: f"due_back_{kind}" for kind in AWAY_KINDS}


def usual_days() -> dict[str, int]:
    """Kind of place → days after which things are usually due back; 0: no date. One query."""
    found = setting_values(list(SETTING_OF.values()))
    return {kind: int(found[name]) for kind, name in SETTING_OF.items()}


def usual_day(days: Mapping[str, int], away: Place, moved_at: datetime) -> date | None:
    """The day that is pre-filled for something that goes there at that time."""
    number = days[away.kind]
    return timezone.localdate(moved_at) + timedelta(days=number) if number else None

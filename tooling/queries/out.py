"""What is out: in somebody's hands, at a grinder, a customer or a sister plant, and since which
movement. A box at the grinder is out as the grinder is: what stands inside such a place counts."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import connection
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import AWAY_KINDS, DueBack, Place
from tooling.queries.scan_lookup import look_up
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


@dataclass(frozen=True)
class AwayPlace:
    """Somewhere to hand things out to, and when they would usually be due back from there."""

    place: Place
    kind_word: str
    due_on: date | None

    @property
    def code(self) -> str:
        return self.place.code

    @property
    def name(self) -> str:
        return self.place.path_name or self.place.name

    @property
    def leaves(self) -> bool:
        """Out of the building, not only in somebody's hands."""
        return self.place.kind in LEAVING_KINDS


def away_place(text: str, *, at: datetime) -> AwayPlace:
    """The place away that a label code, a name or a user name names. Six queries at most.

    Raises ``not_away`` and what ``Lookup.target`` raises.
    """
    place = look_up([], [text]).target(text).place
    found = usual_of(place, at=at)
    if found is None:
        raise not_away(place)
    return found


def usual_of(place: Place, *, at: datetime) -> AwayPlace | None:
    """A place as one to hand out to; None when it is in the shop. Two queries at most."""
    away = away_of([place]).get(place.pk)
    if away is None:
        return None
    return AwayPlace(place, str(away.get_kind_display()), usual_day(usual_days(), away, at))


def not_away(place: Place) -> ToolingError:
    """What is in the shop is put away there, not handed out to it."""
    return ToolingError(
        "not_away",
        _("{place} is in the shop: what goes there is put away, not handed out. Choose a "
          "person, a grinder, a customer or a sister plant."),
        place=place.path_name or place.name,
        in_field="to",
    )  # fmt: skip


def away_places() -> dict[str, list[Place]]:
    """Where things can be handed out to, by the word of the kind: people first. One query."""
    rows = Place.objects.filter(kind__in=AWAY_KINDS, is_active=True).order_by("name")
    order = ("person", "grinder", "sister", "customer")
    found: dict[str, list[Place]] = {}
    for place in sorted(rows, key=lambda place: order.index(place.kind)):
        found.setdefault(str(place.get_kind_display()), []).append(place)
    return found

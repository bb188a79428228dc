"""Badges: whom a scanned text names, and who has which."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.utils.crypto import salted_hmac

from tooling.models import Badge, Person

OWN = "BADGE-"
"""With this begins what our own badges hold; the shop's own may hold anything."""


@dataclass(frozen=True)
class BadgeRow:
    """One badge of a person. ``by``: who issued it."""

    id: int
    label: str
    issued_at: datetime
    by: str
    ended_at: datetime | None


def badge_key(read: str) -> str:
    """The keyed digest of what a scanner read; ends of lines and case do not matter. It is worth
    nothing without this installation's secret key."""
    plain = "".join(read.split()).upper()
    return salted_hmac("rollroom.badge", plain, algorithm="sha256").hexdigest()


def person_of_badge(read: str) -> Person | None:
    """Who has the badge, as long as both hold. One query."""
    rows = Badge.objects.filter(key=badge_key(read), ended_at=None, person__is_active=True)
    badge = rows.select_related("person").first()
    return badge.person if badge is not None else None


@dataclass(frozen=True)
class BadgeRead:
    """Somebody's badge, where a label was to be read; ``holds``: it names that person today."""

    name: str
    holds: bool


def badges_read(texts: Collection[str]) -> dict[str, BadgeRead]:
    """Which of the texts stand on a badge, one that ended among them, and on whose. One query;
    none for no text."""
    keys = {text: badge_key(text) for text in texts}
    rows = Badge.objects.filter(key__in=set(keys.values())).select_related("person")
    found: dict[str, BadgeRead] = {}
    for each in rows.order_by("issued_at", "pk") if keys else ():
        holds = each.ended_at is None and each.person.is_active
        if holds or each.key not in found:
            found[each.key] = BadgeRead(each.person.name, holds)
    return {text: found[key] for text, key in keys.items() if key in found}


def badges_of(person: Person) -> tuple[BadgeRow, ...]:
    """Those that hold first, the newest first. One query."""
    rows = Badge.objects.filter(person=person).select_related("issued_by").order_by("-issued_at")
    told = [
        BadgeRow(
            each.pk, each.label, each.issued_at, each.issued_by.name if each.issued_by else "",
            each.ended_at,
        )
        for each in rows
    ]  # fmt: skip
    return tuple(sorted(told, key=lambda row: row.ended_at is not None))

"""The places to be: a bar on a desk; on a phone four at the thumb and the rest under More."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy as _

from tooling.models import Person, Role
from tooling.permissions import Verb, can

WORDS = {
    "today": _("Today"),
    "scan": _("Scan"),
    "kits": _("Kits"),
    "mills": _("Mills"),
    "pieces": _("Pieces"),
    "wear": _("Wear"),
    "regrinds": _("Regrinds"),
    "sets": _("Sets"),
    "shop": _("Shop"),
}
"""The places in the order of the bar, by the name of their address."""

AT_THUMB: dict[str, tuple[str, str, str, str]] = {
    Role.CREW: ("today", "scan", "kits", "mills"),
    Role.ATTENDANT: ("today", "scan", "kits", "pieces"),
    Role.ENGINEER: ("today", "kits", "pieces", "sets"),
    Role.SUPERVISOR: ("today", "kits", "mills", "shop"),
    Role.VIEWER: ("today", "kits", "mills", "pieces"),
}
"""Whoever has several roles gets the four of the first that is listed here."""


@dataclass(frozen=True)
class NavPlace:
    """One place in the bar."""

    name: str
    word: Any
    url: str
    is_current: bool
    at_thumb: bool


@dataclass(frozen=True)
class Nav:
    """What the bar shows to one person."""

    places: tuple[NavPlace, ...]


def navigation(request: HttpRequest) -> dict[str, Nav | None]:
    """``nav`` for the templates; None for somebody who is not logged in."""
    person = getattr(request, "user", None)
    if not isinstance(person, Person) or not person.is_authenticated:
        return {"nav": None}
    return {"nav": nav_for(person, path=request.path)}


def nav_for(person: Person, *, path: str) -> Nav:
    """The places of a person, the one that ``path`` lies in marked as current."""
    thumb = four_of(person)
    places = [
        NavPlace(name, WORDS[name], url, path.startswith(url), name in thumb)
        for name, url in _addresses().items()
        if name != "scan" or can(person, Verb.MOVE_PIECES)
    ]
    return Nav(places=tuple(places))


def four_of(person: Person) -> tuple[str, str, str, str]:
    """The four places at the thumb, by the person's roles."""
    for role, four in AT_THUMB.items():
        if role in person.role_set:
            return four
    return AT_THUMB[Role.VIEWER]


def _addresses() -> dict[str, str]:
    """Every place that has a page; one without is left out, so that no link is dead."""
    found = {}
    for name in WORDS:
        try:
            found[name] = reverse(name)
        except NoReverseMatch:
            continue
    return found

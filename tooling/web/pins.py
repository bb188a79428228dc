"""The one gate before what cannot be undone: who came by badge gives their PIN."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpRequest
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from tooling.services import pins
from tooling.services.pins import CameBy
from tooling.web.sessions import person_of

BY_BADGE, CONFIRMED = "by_badge", "pin_confirmed_at"


def confirm(request: HttpRequest, pin: str | None = None) -> None:
    """Let through whoever came by password, and whoever gives the right PIN with this form or gave
    it within two minutes. ``pin``: from a body that is no form.

    Raises PinNeeded ``pin_needed``, ``pin_not_set``, ``pin_wrong``, ``pin_locked``.
    """
    at, given = timezone.now(), request.POST.get("pin", "") if pin is None else pin
    if pins.check(by=person_of(request), at=at, came=came_by(request), pin=given):
        request.session[CONFIRMED] = at.isoformat()


def came_by(request: HttpRequest) -> CameBy:
    """How the person of this session is known. A token is as good as a password."""
    session: Any = getattr(request, "session", {})
    if not session.get(BY_BADGE):
        return CameBy(badge=False)
    return CameBy(badge=True, confirmed_at=_moment(session.get(CONFIRMED)))


def _moment(text: str | None) -> datetime | None:
    return parse_datetime(text) if text else None


def asked(request: HttpRequest) -> dict[str, bool]:
    """For every template: ``asks_pin`` where a form that cannot be undone shows the PIN field."""
    return {"asks_pin": came_by(request).needs_pin(timezone.now())}

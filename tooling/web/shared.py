"""Shared tablets: known by a signed cookie; a person who walks away is logged out after a while."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from time import time

from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse

from tooling.models import Device
from tooling.queries.devices import find_device, stays_open
from tooling.queries.settings import setting_value

COOKIE = "rollroom-tablet"
LASTS_S = 5 * 365 * 24 * 3600
SESSION = "shared"
SAVED_EACH_S = 20


def shared_device(request: HttpRequest) -> Device | None:
    """The shared tablet that asks, if it is one still. One query with the cookie, none without."""
    said = request.get_signed_cookie(COOKIE, default="", salt=COOKIE)
    row = find_device(uuid.UUID(said)) if said else None
    return row if row is not None and row.is_shared else None


def mark_tablet(request: HttpRequest, response: HttpResponse, device: Device) -> None:
    """From now on this browser is known as that shared tablet, or no longer as one."""
    if not device.is_shared:
        response.delete_cookie(COOKIE, samesite="Lax")
        return
    response.set_signed_cookie(
        COOKIE, str(device.pk), salt=COOKIE, max_age=LASTS_S, httponly=True, samesite="Lax",
        secure=request.is_secure(),
    )  # fmt: skip


def begin_watch(request: HttpRequest, device: Device | None) -> None:
    """A session that has just begun on a shared tablet ends when nobody touches it."""
    if device is not None:
        idle = int(setting_value("shared_tablet_idle"))
        request.session[SESSION] = {"device": str(device.pk), "idle_s": idle, "at": time()}


class IdleMiddleware:
    """Ends a session on a shared tablet that nobody touched; not at a mill whose setup is open."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        watched = request.session.get(SESSION)
        if watched is not None:
            self._look(request, watched)
        return self.get_response(request)

    def _look(self, request: HttpRequest, watched: dict[str, float | str]) -> None:
        quiet_s = time() - float(watched["at"])
        is_left = quiet_s > float(watched["idle_s"])
        if is_left and not stays_open(uuid.UUID(str(watched["device"]))):
            logout(request)
        elif _is_touched(request) and quiet_s > SAVED_EACH_S:
            request.session[SESSION] = {**watched, "at": time()}


def _is_touched(request: HttpRequest) -> bool:
    """A person did something: a page that asks by itself every second does not count."""
    return request.method == "POST" or "HX-Request" not in request.headers

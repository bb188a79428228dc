"""Each request lives in the shop's zone: what it shows, what is typed, and which day it is.

The zone is read with the person who asks, in the same statement: it is right at once in every
process, and nothing is kept that could grow old.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import tzinfo
from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.http import FileResponse, HttpRequest, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone

from tooling.models import Person
from tooling.queries.shop_zone import people_with_zone, shop_zone, zone_named


class ShopBackend(ModelBackend):
    """Who logged in, by name and password, read again for each request with the shop's zone."""

    def get_user(self, user_id: Any) -> Any:
        person = people_with_zone().filter(pk=user_id).first()
        return person if person is not None and self.user_can_authenticate(person) else None


class ShopZoneMiddleware:
    """Activates the shop's zone for one request and its answer; UTC where nobody is logged in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        zone = _zone_of(request.user)
        with timezone.override(zone):
            response = self.get_response(request)
        if isinstance(response, StreamingHttpResponse) and not isinstance(response, FileResponse):
            response.streaming_content = _parts(iter(response), zone)
        return response


def _zone_of(user: Any) -> tzinfo:
    if not isinstance(user, Person):
        return timezone.get_default_timezone()
    if not hasattr(user, "shop_zone"):  # logged in before this was kept: asked for by itself
        return shop_zone()
    return zone_named(user.shop_zone)


def _parts(parts: Iterator[bytes], zone: tzinfo) -> Iterator[bytes]:
    """What is written while it is sent lives in the zone too."""
    while True:
        with timezone.override(zone):
            part = next(parts, None)
        if part is None:
            return
        yield part

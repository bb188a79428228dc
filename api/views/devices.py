"""Phones and tablets, the badges of people, and their PINs."""

from __future__ import annotations

import uuid

from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, confirm, given
from api.serializers.devices import BadgeIn, BadgeOut, DeviceIn, DeviceOut, IssuedOut, PinIn
from tooling.errors import Unknown
from tooling.models import Badge, Person
from tooling.permissions import Verb, check_can
from tooling.queries.badges import badges_of
from tooling.queries.by_code import mill_of
from tooling.queries.devices import device_rows, find_device
from tooling.services import badges, devices, pins


class Devices(Door):
    """Every device that ever scanned, the last seen first."""

    verbs = {"GET": Verb.RUN_SHOP}

    @extend_schema(responses=DeviceOut(many=True))
    def get(self, request: Request) -> Response:
        return Response(DeviceOut(device_rows(), many=True).data)


class OneDevice(Door):
    """Its name, whether several people use it, at which mill it stands."""

    verbs = {"PUT": Verb.RUN_SHOP}

    @extend_schema(request=DeviceIn, responses=DeviceOut)
    def put(self, request: Request, key: uuid.UUID) -> Response:
        values = given(DeviceIn, request)
        if find_device(key) is None:
            raise Unknown("unknown_device", _("There is no device {key}."), key=key)
        number = values.pop("mill")
        mill = mill_of(number) if number else None
        devices.edit_device(by=by(request), at=timezone.now(), key=key, mill=mill, **values)
        return answer(DeviceOut, next(row for row in device_rows() if row.key == key))


class Badges(Door):
    """The badges of a person, those that hold first."""

    verbs = {"GET": Verb.RUN_SHOP, "POST": Verb.RUN_SHOP}

    @extend_schema(responses=BadgeOut(many=True))
    def get(self, request: Request, username: str) -> Response:
        return Response(BadgeOut(badges_of(_person(username)), many=True).data)

    @extend_schema(request=BadgeIn, responses={201: IssuedOut})
    def post(self, request: Request, username: str) -> Response:
        """A badge by what was read from it, or a new one."""
        values, person = given(BadgeIn, request), _person(username)
        confirm(request)
        issued = badges.issue_badge(by=by(request), at=timezone.now(), person=person, **values)
        return answer(IssuedOut, issued, 201)


class EndBadge(Door):
    """Lost or given back: it names nobody from now on."""

    verbs = {"POST": Verb.RUN_SHOP}

    @extend_schema(request=None, responses={204: None})
    def post(self, request: Request, username: str, number: int) -> Response:
        row = Badge.objects.filter(pk=number, person__username=username).first()
        if row is None:
            raise Unknown("unknown_badge", _("There is no badge {number}."), number=number)
        badges.end_badge(by=by(request), at=timezone.now(), badge=row)
        return Response(status=204)


class Pin(Door):
    """A new PIN, one's own or, by a supervisor, somebody else's; it unlocks too."""

    @extend_schema(request=PinIn, responses={204: None})
    def put(self, request: Request, username: str) -> Response:
        person = _person(username)
        if person != by(request):
            check_can(by(request), Verb.RUN_SHOP)
        pin = given(PinIn, request)["pin"]
        confirm(request)
        pins.set_pin(by=by(request), at=timezone.now(), person=person, pin=pin)
        return Response(status=204)


def _person(username: str) -> Person:
    person = Person.objects.filter(username=username).first()
    if person is None:
        raise Unknown("unknown_person", _("There is nobody called {name}."), name=username)
    return person

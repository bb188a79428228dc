"""A program's token; with it comes the shop's zone, in the same statement."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.authentication import TokenAuthentication
from rest_framework.authtoken.models import Token
from rest_framework.exceptions import AuthenticationFailed

from tooling.models import Person, PersonRole
from tooling.queries.prepared import Prepared, columns, made
from tooling.queries.shop_zone import zone_column, zone_named

_TOKENS = Prepared(
    lambda keys: (
        Token.objects.annotate(shop_zone=zone_column())
        .filter(key__in=keys)
        .values_list("shop_zone", *columns(Token), *(f"user__{name}" for name in columns(Person)))
    )
)


_ROLES = Prepared(lambda people: PersonRole.objects.filter(person__in=people).values_list("role"))


class ZoneTokenAuthentication(TokenAuthentication):
    """Times without an offset are the shop's, and so is every answer. The request's middleware
    ends what begins here."""

    def authenticate_credentials(self, key: str) -> tuple[Any, Any]:
        row = next(iter(_TOKENS([key])), None)
        if row is None:
            raise AuthenticationFailed(_("Invalid token."))
        zone, begins = row[0], 1 + len(columns(Token))
        token, person = made(Token, row[1:begins]), made(Person, row[begins:])
        if not person.is_active:
            raise AuthenticationFailed(_("User inactive or deleted."))
        token.user = person
        person._roles = frozenset(role for (role,) in _ROLES([person.pk]))
        timezone.activate(zone_named(zone))
        return (person, token)

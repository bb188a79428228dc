"""A program's token; with it comes the shop's zone, in the same statement."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.authentication import TokenAuthentication
from rest_framework.authtoken.models import Token
from rest_framework.exceptions import AuthenticationFailed

from tooling.queries.shop_zone import zone_column, zone_named


class ZoneTokenAuthentication(TokenAuthentication):
    """Times without an offset are the shop's, and so is every answer. The request's middleware
    ends what begins here."""

    def authenticate_credentials(self, key: str) -> tuple[Any, Any]:
        tokens = Token.objects.select_related("user").annotate(shop_zone=zone_column())
        token = tokens.filter(key=key).first()
        if token is None:
            raise AuthenticationFailed(_("Invalid token."))
        if not token.user.is_active:
            raise AuthenticationFailed(_("User inactive or deleted."))
        timezone.activate(zone_named(token.shop_zone))
        return (token.user, token)

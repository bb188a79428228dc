"""Owners on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn


class OwnerOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    name = serializers.CharField()
    is_shop = serializers.BooleanField(help_text="The shop itself; one owner is.")
    contact = serializers.CharField()
    consent_reference = serializers.CharField(
        help_text="The written consent under which other jobs may use this owner's pieces."
    )


class EditOwnerIn(ActionIn):
    """What is to change; the code stays."""

    name = serializers.CharField(required=False, max_length=120)
    contact = serializers.CharField(required=False, allow_blank=True, max_length=200)
    consent_reference = serializers.CharField(required=False, allow_blank=True, max_length=120)
    is_shop = serializers.BooleanField(required=False)


class CreateOwnerIn(EditOwnerIn):
    """A new owner."""

    code = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=120)

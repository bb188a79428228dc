"""Places on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm, plain
from tooling.models import PlaceKind


class PlaceOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    name = serializers.CharField()
    path_name = serializers.CharField(help_text="From the outermost place to this one.")
    kind = serializers.ChoiceField(PlaceKind.choices)
    inside = serializers.CharField(
        source="parent.code", allow_null=True, default=None, help_text="The place it is in."
    )
    moves = serializers.BooleanField(help_text="A cart or plate: it moves with what is on it.")
    walking_order = serializers.IntegerField()
    max_load_kg = serializers.FloatField(allow_null=True)
    height_mm = LengthMm("height_nm")
    owner = serializers.CharField(source="owner.code", allow_null=True, default=None)
    is_active = serializers.BooleanField()
    moved_at = serializers.DateTimeField(source="placed_effective_at", allow_null=True)


class _PlaceFactsIn(ActionIn):
    lengths = plain("height")
    inside = serializers.CharField(
        required=False, allow_null=True, max_length=40, help_text="The code of the place it is in."
    )
    walking_order = serializers.IntegerField(required=False, min_value=0, max_value=1_000_000)
    max_load_kg = serializers.FloatField(
        required=False, allow_null=True, min_value=0.1, max_value=100_000
    )
    owner = serializers.CharField(required=False, allow_null=True, max_length=20)


class CreatePlacesIn(_PlaceFactsIn):
    """A place, or a row of them: from ``Peg 1``, 24 give ``Peg 1`` to ``Peg 24``."""

    name = serializers.CharField(max_length=80)
    kind = serializers.ChoiceField(PlaceKind.choices)
    count = serializers.IntegerField(default=1, min_value=1, max_value=500)


class EditPlaceIn(_PlaceFactsIn):
    """What is to change; a cart changes its place by a scan."""

    name = serializers.CharField(required=False, max_length=80)
    kind = serializers.ChoiceField(PlaceKind.choices, required=False)
    is_active = serializers.BooleanField(required=False)

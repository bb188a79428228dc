"""Contrary scans on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn
from tooling.models import ContradictionKind


class SaidScanOut(serializers.Serializer[Any]):
    """One of the scans that cannot both be right."""

    place = serializers.CharField(help_text="Label code; empty where it named none.")
    place_name = serializers.CharField()
    happened_at = serializers.DateTimeField(help_text="By the device's clock, put right.")
    heard_at = serializers.DateTimeField()
    by = serializers.CharField()
    device = serializers.CharField()
    clock_is_off = serializers.BooleanField()
    refused = serializers.CharField(help_text="Why it was not taken; empty when it was.")


class ContradictionOut(serializers.Serializer[Any]):
    """What cannot both be right; ``here`` is where the thing is until somebody settles it."""

    id = serializers.IntegerField()
    kind = serializers.ChoiceField(ContradictionKind.choices)
    piece = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    bin = serializers.CharField()
    cart = serializers.CharField(help_text="A cart or plate, by its label code.")
    cart_name = serializers.CharField()
    read = serializers.CharField(help_text="What a refused scan read.")
    here = serializers.CharField()
    here_name = serializers.CharField()
    seen_at = serializers.DateTimeField(allow_null=True)
    found_at = serializers.DateTimeField()
    said = SaidScanOut(many=True)


class ContradictionsAsked(serializers.Serializer[Any]):
    piece = serializers.CharField(default="", max_length=8, help_text="Only of this piece or cart.")
    after = serializers.IntegerField(required=False, help_text="As the last page's next says.")


class SettleContradictionIn(ActionIn):
    """Which is right, and how one knows."""

    to = serializers.CharField(
        default="", allow_blank=True, max_length=8,
        help_text="Where the piece or cart is; empty: where the ledger has it.",
    )  # fmt: skip
    reason = serializers.CharField(max_length=200)


class SettledOut(serializers.Serializer[Any]):
    id = serializers.IntegerField(source="pk")
    settled_at = serializers.DateTimeField()
    settled_how = serializers.CharField()

"""Scans in, results out."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.moments import MomentField
from tooling.models import How

MOST_SCANS = 2000
MOST_DEVICE, MOST_TO, MOST_CODE, MOST_SEQUENCE = 80, 200, 60, 2**53


class ScanInSerializer(serializers.Serializer[Any]):
    """One scan: this was put there, then. Its id makes it count once."""

    id = serializers.UUIDField()
    happened_at = MomentField()
    to = serializers.CharField(
        max_length=MOST_TO,
        allow_blank=True,
        required=False,
        default="",
        help_text="Label code of the place, cart, kit, station or person; empty only to undo.",
    )
    code = serializers.CharField(
        max_length=MOST_CODE,
        allow_blank=True,
        help_text="Label code, mark or old number of what is put there.",
    )
    how = serializers.ChoiceField(choices=[How.SCAN, How.TICK, How.TYPED], default=How.SCAN)
    corrects = serializers.UUIDField(
        required=False, allow_null=True, default=None, help_text="The id of the scan to put right."
    )
    sequence = serializers.IntegerField(
        required=False, allow_null=True, default=None, min_value=0, max_value=MOST_SEQUENCE
    )
    quantity = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        min_value=1,
        max_value=1_000_000,
        help_text="For stock bins: how many. Without it all, or as many as the kit wants.",
    )
    due_on = serializers.DateField(
        required=False,
        allow_null=True,
        help_text="When it is due back from a place away; left out: as usual; null: no day.",
    )
    only_home = serializers.BooleanField(
        default=False, help_text="Take it only where it belongs (guided put-away)."
    )


class ScanBatchInSerializer(serializers.Serializer[Any]):
    """A batch from one device, with its clock."""

    device = serializers.CharField(max_length=MOST_DEVICE)
    device_now = MomentField()
    scans = serializers.ListField(child=ScanInSerializer(), max_length=MOST_SCANS)


class ScanResultOutSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    status = serializers.ChoiceField(choices=["taken", "repeated", "refused"])
    code = serializers.CharField(allow_blank=True, help_text="The problem; empty when taken.")
    message = serializers.CharField()
    place = serializers.CharField(allow_null=True, help_text="Label code of the place.")


class ScanBatchOutSerializer(serializers.Serializer[Any]):
    results = ScanResultOutSerializer(many=True)

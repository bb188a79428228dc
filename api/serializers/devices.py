"""Phones, tablets and badges on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn


class DeviceOut(serializers.Serializer[Any]):
    """One device that scans; ``clock_ahead_s`` is negative for a clock that is behind."""

    id = serializers.UUIDField(source="key")
    name = serializers.CharField()
    is_shared = serializers.BooleanField()
    mill = serializers.CharField()
    clock_ahead_s = serializers.SerializerMethodField()
    clock_is_off = serializers.BooleanField()
    seen_at = serializers.DateTimeField(allow_null=True)
    waiting = serializers.IntegerField(
        allow_null=True, help_text="Scans that it said it still kept; null: it never said."
    )

    def get_clock_ahead_s(self, row: Any) -> float:
        return float(row.offset.total_seconds())


class DeviceIn(ActionIn):
    """A device becomes a shared tablet for badges only from its own browser as well."""

    name = serializers.CharField(allow_blank=True, max_length=80)
    is_shared = serializers.BooleanField()
    mill = serializers.CharField(default="", allow_blank=True, max_length=30)


class BadgeOut(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    called = serializers.CharField(source="label", help_text="Such as: blue key fob.")
    issued_at = serializers.DateTimeField()
    by = serializers.CharField()
    ended_at = serializers.DateTimeField(allow_null=True)


class BadgeIn(ActionIn):
    read = serializers.CharField(
        default="", allow_blank=True, max_length=200,
        help_text="What a scanner reads from a badge that there is; empty: a new one.",
    )  # fmt: skip
    called = serializers.CharField(source="label", default="", allow_blank=True, max_length=60)


class IssuedOut(serializers.Serializer[Any]):
    id = serializers.IntegerField(source="badge.pk")
    text = serializers.CharField(help_text="What its code holds; told this once.")


class PinIn(ActionIn):
    pin = serializers.CharField(max_length=8, help_text="4 to 8 digits.")

"""Two setups beside each other on the wire."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from rest_framework import serializers

from api.serializers.lengths import LengthMm
from tooling.engineering.lengths import NM_PER_MM
from tooling.queries.setup_against import NumberPair, SideOf


class AgainstSideOut(serializers.Serializer[Any]):
    """One of the two setups; durations in minutes."""

    number = serializers.CharField(source="head.number")
    job = serializers.CharField(source="head.job")
    mill = serializers.CharField(source="head.mill_number")
    turned = serializers.BooleanField(source="head.is_turned")
    strip_mm = LengthMm("strip_nm")
    left_out = serializers.ListField(child=serializers.CharField())
    mounting_minutes = serializers.SerializerMethodField()
    to_good_minutes = serializers.SerializerMethodField()

    def get_mounting_minutes(self, side: SideOf) -> float | None:
        return _minutes(side.mounting)

    def get_to_good_minutes(self, side: SideOf) -> float | None:
        return _minutes(side.to_good)


class NumberPairOut(serializers.Serializer[Any]):
    """One number in both setups: a length in mm, anything else in its unit. ``translated``: the
    other's as it should read here; null, with ``why``, where the two do not compare."""

    station = serializers.IntegerField()
    name = serializers.CharField(help_text="Empty: the gap.")
    end = serializers.CharField()
    unit = serializers.SerializerMethodField()
    ours = serializers.SerializerMethodField()
    theirs = serializers.SerializerMethodField()
    translated = serializers.SerializerMethodField()
    difference = serializers.SerializerMethodField()
    why = serializers.CharField()

    def get_unit(self, pair: NumberPair) -> str:
        return "mm" if pair.is_length else pair.unit

    def get_ours(self, pair: NumberPair) -> float | None:
        return _plain(pair, pair.ours)

    def get_theirs(self, pair: NumberPair) -> float | None:
        return _plain(pair, pair.theirs)

    def get_translated(self, pair: NumberPair) -> float | None:
        return _plain(pair, pair.translated)

    def get_difference(self, pair: NumberPair) -> float | None:
        return _plain(pair, pair.difference)


class AgainstOut(serializers.Serializer[Any]):
    """Two setups of one set beside each other."""

    ours = AgainstSideOut()
    theirs = AgainstSideOut()
    numbers = NumberPairOut(many=True)


def _minutes(took: timedelta | None) -> float | None:
    return None if took is None else round(took.total_seconds() / 60, 1)


def _plain(pair: NumberPair, value: float | None) -> float | None:
    if value is None:
        return None
    return value / NM_PER_MM if pair.is_length else value

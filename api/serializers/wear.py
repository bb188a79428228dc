"""Gauges, gauge points, readings at them and wear on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm, StripLengthM, plain
from api.serializers.moments import MomentField
from tooling.models import DIMENSIONS, PointKind, Unit


class GaugeFactsIn(ActionIn):
    """What a gauge's certificate says."""

    lengths = plain("resolution", "uncertainty", "least", "most")
    name = serializers.CharField(required=False, max_length=80)
    unit = serializers.ChoiceField(Unit.choices, required=False)
    certificate = serializers.CharField(required=False, allow_blank=True, max_length=60)
    calibrated_on = serializers.DateField(required=False, allow_null=True)
    due_on = serializers.DateField(required=False, allow_null=True)


class GaugeIn(GaugeFactsIn):
    """A new gauge."""

    number = serializers.CharField(max_length=30)
    name = serializers.CharField(max_length=80)


class GaugeOut(serializers.Serializer[Any]):
    """A gauge. ``is_overdue``, ``is_uncalibrated`` (neither day is kept): readings with it are
    kept, nothing is said about conformity."""

    number = serializers.CharField()
    name = serializers.CharField()
    unit = serializers.ChoiceField(Unit.choices)
    resolution_mm = LengthMm("resolution_nm")
    uncertainty_mm = LengthMm("uncertainty_nm")
    least_mm = LengthMm("least_nm")
    most_mm = LengthMm("most_nm")
    certificate = serializers.CharField()
    calibrated_on = serializers.DateField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    is_overdue = serializers.BooleanField()
    is_uncalibrated = serializers.BooleanField()


class PointIn(ActionIn):
    """A gauge point, new or the one of that name changed."""

    lengths = plain("new", "limit", "depth_limit", "local_radius")
    name = serializers.CharField(max_length=40)
    where = serializers.CharField(required=False, allow_blank=True, max_length=120)
    kind = serializers.ChoiceField(PointKind.choices, required=False)
    dimension = serializers.ChoiceField(
        [("", "none"), *((name, name) for name in DIMENSIONS)], required=False
    )
    grows = serializers.BooleanField(required=False)
    is_diameter = serializers.BooleanField(required=False)
    has_two_ends = serializers.BooleanField(required=False)
    face_angle_deg = serializers.FloatField(required=False)
    order = serializers.IntegerField(required=False)
    is_in_use = serializers.BooleanField(required=False)


class PointOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    order = serializers.IntegerField()
    where = serializers.CharField()
    kind = serializers.ChoiceField(PointKind.choices)
    dimension = serializers.CharField()
    is_diameter = serializers.BooleanField()
    grows = serializers.BooleanField()
    has_two_ends = serializers.BooleanField()
    face_angle_deg = serializers.FloatField()
    new_mm = LengthMm("new_nm")
    limit_mm = LengthMm("limit_nm")
    depth_limit_mm = LengthMm("depth_limit_nm")
    local_radius_mm = LengthMm("local_radius_nm")
    is_in_use = serializers.BooleanField()


class PointReadingIn(ActionIn):
    """One reading at a gauge point: ``value_mm``, ``value_in`` or ``verdict``."""

    lengths = plain("value", never_empty=("value",))
    id = serializers.UUIDField(required=False, help_text="Makes a repeat harmless.")
    piece = serializers.CharField(max_length=40)
    point = serializers.CharField(max_length=40, help_text="Its name on the piece's drawing.")
    end = serializers.ChoiceField([(e, e) for e in ("", "inboard", "outboard")], default="")
    verdict = serializers.CharField(default="", allow_blank=True, max_length=8)
    gauge = serializers.CharField(default="", allow_blank=True, max_length=30)
    soaked = serializers.BooleanField(required=False, allow_null=True)
    temperature_c = serializers.FloatField(required=False, allow_null=True)
    happened_at = MomentField(required=False)
    sure = serializers.BooleanField(default=False)
    corrects = serializers.IntegerField(required=False, min_value=1)
    note = serializers.CharField(default="", allow_blank=True, max_length=300)


class PointReadingOut(serializers.Serializer[Any]):
    """A reading with what may be said of it: in, out, cannot_tell, gauge_overdue,
    gauge_uncalibrated, no_limit."""

    id = serializers.IntegerField()
    piece = serializers.CharField(source="piece.code")
    point = serializers.CharField(source="gauge_point.name")
    end = serializers.CharField()
    value_mm = LengthMm("value_nm")
    verdict = serializers.CharField()
    happened_at = serializers.DateTimeField()
    conformity = serializers.CharField()
    uncertainty_mm = LengthMm("uncertainty_nm")
    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)


class SheetRowOut(serializers.Serializer[Any]):
    """One reading to take: the last value, where nine of ten lie now, and why."""

    piece = serializers.CharField()
    mark = serializers.CharField()
    place = serializers.CharField()
    point = serializers.CharField()
    end = serializers.CharField()
    kind = serializers.CharField()
    last_mm = LengthMm("last_nm")
    last_verdict = serializers.CharField()
    last_at = serializers.DateTimeField(allow_null=True)
    low_mm = LengthMm("low_nm")
    high_mm = LengthMm("high_nm")
    limit_mm = LengthMm("limit_nm")
    why = serializers.CharField()


class WearRowOut(serializers.Serializer[Any]):
    """A gauge point with what is left of the named strip. ``until``: when planned work uses up
    what is sure; only where the piece's own readings say so."""

    piece = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    point = serializers.CharField()
    end = serializers.CharField()
    says = serializers.CharField()
    strip_class = serializers.CharField()
    left_half_m = StripLengthM("left_half_nm")
    left_sure_m = StripLengthM("left_sure_nm")
    until = serializers.DateTimeField(allow_null=True)
    outlasts_plan = serializers.BooleanField()
    run_m = StripLengthM("run_nm")
    readings = serializers.IntegerField()
    last_read_at = serializers.DateTimeField(allow_null=True)
    flags = serializers.ListField(child=serializers.CharField())
    why = serializers.CharField()


class BandOut(serializers.Serializer[Any]):
    at_km = serializers.FloatField()
    low_mm = LengthMm("low_nm")
    middle_mm = LengthMm("middle_nm")
    high_mm = LengthMm("high_nm")


class PointReadOut(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    at = serializers.DateTimeField()
    at_km = serializers.FloatField()
    value_mm = LengthMm("value_nm")
    verdict = serializers.CharField()
    is_off = serializers.BooleanField()
    conformity = serializers.CharField(source="statement.said")


class AheadOut(serializers.Serializer[Any]):
    job = serializers.CharField(source="job.number")
    to_km = serializers.FloatField()
    chance = serializers.FloatField(allow_null=True)


class PointWearOut(serializers.Serializer[Any]):
    """How one gauge point wears. ``…_km``: equivalent km of cold rolled strip since new."""

    name = serializers.CharField()
    end = serializers.CharField()
    kind = serializers.CharField()
    now_km = serializers.FloatField()
    readings = PointReadOut(many=True)
    band = BandOut(many=True)
    ahead = AheadOut(many=True)
    left_half_m = StripLengthM("left_half_nm")
    left_sure_m = StripLengthM("left_sure_nm")
    until = serializers.DateTimeField(allow_null=True)
    pool = serializers.CharField()
    flags = serializers.ListField(child=serializers.CharField())
    measure_next = serializers.ListField(child=serializers.CharField(), source="look_words")


class PieceWearOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    strip_class = serializers.CharField()
    points = PointWearOut(many=True)


class PoolOut(serializers.Serializer[Any]):
    key = serializers.CharField()
    usual_um_per_km = serializers.FloatField(source="usual_um")
    low_um_per_km = serializers.FloatField(source="low_um")
    high_um_per_km = serializers.FloatField(source="high_um")
    pieces = serializers.IntegerField()
    readings = serializers.IntegerField()


class FactorOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    factor = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    is_learned = serializers.BooleanField()


class PoolsOut(serializers.Serializer[Any]):
    """What like pieces taught: depth per km of cold rolled strip, and strip against it."""

    pools = PoolOut(many=True)
    factors = FactorOut(many=True)
    fitted_at = serializers.DateTimeField(allow_null=True)


class LifeSumOut(serializers.Serializer[Any]):
    """Life and money of one set's pieces, or of all; money in hundredths of ``currency``."""

    set = serializers.CharField(source="name", help_text="Its number; empty for all pieces.")
    pieces = serializers.IntegerField()
    run_m = StripLengthM("run_nm", help_text="The most that one of them ran.")
    cuts = serializers.IntegerField()
    cuts_left = serializers.IntegerField(
        source="cuts_left_least", allow_null=True, help_text="The fewest that one of them has."
    )
    spent_cents = serializers.IntegerField(allow_null=True)
    per_km_cents = serializers.IntegerField(source="per_km", allow_null=True)
    value_cents = serializers.IntegerField(allow_null=True)
    at_risk_cents = serializers.IntegerField(allow_null=True)
    unpriced = serializers.IntegerField(help_text="Pieces without any price: they count nothing.")


class LifeSumsOut(serializers.Serializer[Any]):
    """Life and money set by set, then of all pieces, each counted once."""

    currency = serializers.CharField()
    sums = LifeSumOut(many=True, source="sums_shown")
    whole = LifeSumOut()


class LifeRowOut(serializers.Serializer[Any]):
    """One piece's life and money; money in hundredths."""

    piece = serializers.CharField()
    drawing = serializers.CharField()
    sets = serializers.ListField(child=serializers.CharField())
    run_m = StripLengthM("run_nm")
    strokes = serializers.IntegerField()
    cuts = serializers.IntegerField()
    cuts_left = serializers.IntegerField(allow_null=True)
    spent_cents = serializers.IntegerField(allow_null=True)
    per_km_cents = serializers.IntegerField(source="per_km", allow_null=True)
    value_cents = serializers.IntegerField(allow_null=True)
    is_out = serializers.BooleanField()

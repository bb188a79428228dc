"""Runs and counters on the wire: strip lengths in m or ft, all else in mm or in."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm, StripLengthM, plain
from api.serializers.moments import MomentField
from tooling.engineering.lengths import StripUnit, parse_strip_length
from tooling.errors import ToolingError
from tooling.models import Feed
from tooling.services.counter_readings import CounterIn
from tooling.services.run_ways import RunIn

STRIPS = ("length", "counter_now", "counter_start", "counter_end", "scrap", "threading")
COUNTED = ("parts", "mass_kg", "from_feed", "counter")


def read_strip(values: dict[str, Any], name: str, label: Any) -> int | None:
    """Take a length of strip, in nm, from its two spellings; None where neither was sent.

    Raises as ``parse_strip_length``; ``ambiguous_length`` for both, or a unit not the field's.
    """
    units: tuple[StripUnit, StripUnit] = ("m", "ft")
    there = {unit: values.pop(f"{name}_{unit}", None) for unit in units}
    said = {unit: text for unit, text in there.items() if text is not None}
    if len(said) > 1:
        raise ToolingError(
            "ambiguous_length",
            _("{field} is given in m and in ft. Send one of the two."),
            field=label,
            in_field=f"{name}_m",
        )
    for unit, text in said.items():
        read = parse_strip_length(text, unit=unit, field=str(label))
        if read.unit_written != unit:
            raise ToolingError(
                "ambiguous_length",
                _("{field} “{text}” names another unit than its field, which is in {unit}."),
                field=label,
                text=text,
                unit=unit,
                in_field=f"{name}_{unit}",
            )
        return read.nm
    return None


class LengthOfRunIn(ActionIn):
    """What is told of a run. How much: in any of the ways; a counter counts before parts, parts
    before what is estimated by the coil."""

    lengths = plain("part", "thickness", "width", "coil_outside", "coil_inside")
    id = serializers.UUIDField(required=False, help_text="Makes a repeat harmless.")
    length_m = serializers.CharField(required=False, max_length=40)
    length_ft = serializers.CharField(required=False, max_length=40)
    counter_now_m = serializers.CharField(
        required=False, max_length=40, help_text="What the counter shows; the last run began it."
    )
    counter_now_ft = serializers.CharField(required=False, max_length=40)
    counter_start_m = serializers.CharField(required=False, max_length=40)
    counter_start_ft = serializers.CharField(required=False, max_length=40)
    counter_end_m = serializers.CharField(required=False, max_length=40)
    counter_end_ft = serializers.CharField(required=False, max_length=40)
    scrap_m = serializers.CharField(required=False, max_length=40)
    scrap_ft = serializers.CharField(required=False, max_length=40)
    threading_m = serializers.CharField(required=False, max_length=40)
    threading_ft = serializers.CharField(required=False, max_length=40)
    parts = serializers.IntegerField(required=False, allow_null=True)
    mass_kg = serializers.FloatField(required=False, allow_null=True)
    pounds_per_inch = serializers.FloatField(required=False, allow_null=True)
    from_feed = serializers.BooleanField(default=False, help_text="As the mill's counter moved.")
    counter = serializers.CharField(default="", allow_blank=True, max_length=30)
    coil = serializers.CharField(required=False, allow_blank=True, max_length=60)
    strip_class = serializers.CharField(required=False, allow_blank=True, max_length=40)
    feed = serializers.ChoiceField(Feed.choices, required=False)
    entries = serializers.IntegerField(required=False, min_value=1, max_value=100_000)
    unit = serializers.ChoiceField([("m", "m"), ("ft", "ft")], required=False)
    began_at = MomentField(required=False, allow_null=True)
    happened_at = MomentField(required=False, help_text="When it ended; left out: now.")
    note = serializers.CharField(required=False, allow_blank=True, max_length=400)
    sure = serializers.BooleanField(default=False)

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        if any(f"{name}_ft" in values for name in STRIPS):
            values.setdefault("unit", "ft")  # what is said of it is said as it was written
        strips = {
            name: read_strip(values, name, name.replace("_", " ").capitalize()) for name in STRIPS
        }
        values["said"] = RunIn(
            length_nm=strips["length"],
            counter_now_nm=strips["counter_now"],
            counter_start_nm=strips["counter_start"],
            counter_end_nm=strips["counter_end"],
            scrap_nm=strips["scrap"] or 0,
            threading_nm=strips["threading"] or 0,
            part_nm=values.pop("part_nm", None),
            coil_outside_nm=values.pop("coil_outside_nm", None),
            coil_inside_nm=values.pop("coil_inside_nm", None),
            lb_per_in=values.pop("pounds_per_inch", None),
            **{name: values.pop(name) for name in COUNTED if name in values},
        )
        return values


class SetupRunIn(LengthOfRunIn):
    """A run of a setup."""

    setup = serializers.CharField(
        max_length=8, help_text="Number of the setup, which is its kit's."
    )


class TakeRunBackIn(ActionIn):
    id = serializers.UUIDField(required=False)
    note = serializers.CharField(default="", allow_blank=True, max_length=400)


class WayOut(serializers.Serializer[Any]):
    """Another way of telling the length, how far off, and whether beyond what the shop allows."""

    way = serializers.CharField()
    length_m = StripLengthM("length_nm")
    percent = serializers.FloatField()
    is_estimate = serializers.BooleanField()
    differs = serializers.BooleanField()


class RunOut(serializers.Serializer[Any]):
    """One run. ``state``: stands, corrected or taken_back."""

    id = serializers.IntegerField()
    uuid = serializers.CharField()
    state = serializers.CharField()
    setup = serializers.CharField()
    job = serializers.CharField()
    set = serializers.CharField(source="set_number")
    mill = serializers.CharField(source="mill_number")
    coil = serializers.CharField()
    strip_class = serializers.CharField()
    length_m = StripLengthM("length_nm")
    way = serializers.CharField()
    ways = WayOut(many=True)
    counter_start_m = StripLengthM("counter_start_nm")
    counter_end_m = StripLengthM("counter_end_nm")
    parts = serializers.IntegerField(allow_null=True)
    part_mm = LengthMm("part_nm")
    scrap_m = StripLengthM("scrap_nm")
    threading_m = StripLengthM("threading_nm")
    feed = serializers.CharField()
    entries = serializers.IntegerField()
    thickness_mm = LengthMm("thickness_nm")
    width_mm = LengthMm("width_nm")
    began_at = serializers.DateTimeField(allow_null=True)
    happened_at = serializers.DateTimeField()
    received_at = serializers.DateTimeField()
    by = serializers.CharField()
    note = serializers.CharField()
    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)
    corrected_by = serializers.IntegerField(source="corrected_by_id", allow_null=True)


class RunPieceOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    length_m = StripLengthM("length_nm")
    strokes = serializers.IntegerField()


class RunPageOut(serializers.Serializer[Any]):
    """A run with what it put on each piece. ``feed_tells_m``: another length that the counter feed
    tells of it now, where it took its own from there and readings came late; to take that, correct
    the run with ``from_feed``."""

    run = RunOut()
    pieces = RunPieceOut(many=True)
    feed_tells_m = StripLengthM("otherwise_nm")


class CounterReadingIn(ActionIn):
    """One reading: ``value_m`` or ``value_ft``."""

    id = serializers.UUIDField()
    happened_at = MomentField()
    value_m = serializers.CharField(required=False, max_length=40)
    value_ft = serializers.CharField(required=False, max_length=40)
    counter = serializers.CharField(default="", allow_blank=True, max_length=30)
    was_reset = serializers.BooleanField(default=False, help_text="Set to nothing just before.")

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        nm = read_strip(values, "value", _("Value"))
        if nm is None:
            raise serializers.ValidationError({"value_m": [str(_("This field is required."))]})
        return {"reading": CounterIn(value_nm=nm, **values)}


class CounterBatchIn(ActionIn):
    readings = CounterReadingIn(many=True)


class CounterResultOut(serializers.Serializer[Any]):
    id = serializers.CharField()
    status = serializers.ChoiceField([(s, s) for s in ("taken", "repeated", "refused")])
    code = serializers.CharField()
    message = serializers.CharField()


class CounterResultsOut(serializers.Serializer[Any]):
    results = CounterResultOut(many=True)


class CounterMovedOut(serializers.Serializer[Any]):
    """What one counter of the mill moved between two moments."""

    counter = serializers.CharField()
    moved_m = StripLengthM("moved_nm")
    readings = serializers.IntegerField()
    resets = serializers.IntegerField()
    first = serializers.DateTimeField()
    last = serializers.DateTimeField()

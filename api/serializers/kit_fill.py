"""Filling the shafts of a kit, on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.kits import FillIn
from api.serializers.lengths import ActionIn, LengthMm
from tooling.models import Fill
from tooling.models.fields import Shaft

LEVEL = [(Shaft.TOP.value, Shaft.TOP.label), (Shaft.BOTTOM.value, Shaft.BOTTOM.label)]


class SpacerOut(serializers.Serializer[Any]):
    """One spacer; ``code`` is empty for one of a count."""

    order = serializers.IntegerField()
    name = serializers.CharField()
    code = serializers.CharField()
    drawing = serializers.CharField()
    length_mm = LengthMm("length_nm")
    is_shim = serializers.BooleanField()
    is_measured = serializers.BooleanField()


class FillOut(serializers.Serializer[Any]):
    """One fill from the shoulder; ``least_mm`` and ``most_mm`` while the others stay."""

    fill = serializers.ChoiceField(Fill.choices, source="spot.fill")
    after = serializers.IntegerField(source="spot.after")
    length_mm = LengthMm("length_nm")
    aim_mm = LengthMm("aim_nm")
    least_mm = LengthMm("window_nm.0")
    most_mm = LengthMm("window_nm.1")
    is_pinned = serializers.BooleanField()
    spacers = SpacerOut(many=True)


class ShaftFillOut(serializers.Serializer[Any]):
    """One shaft. ``error_mm``: guide point less guide plane; ``over_mm``: total less roll space;
    each with what unmeasured widths may add."""

    station = serializers.IntegerField()
    set_pass = serializers.IntegerField(source="pass_number")
    shaft = serializers.ChoiceField(LEVEL)
    state = serializers.ChoiceField(["filled", "off", "empty"])
    guide_from_shoulder_mm = LengthMm("guide_from_shoulder_nm")
    error_mm = LengthMm("error_nm")
    spread_mm = LengthMm("spread_nm")
    over_mm = LengthMm("over_nm")
    total_spread_mm = LengthMm("total_spread_nm")
    unmeasured = serializers.ListField(child=serializers.CharField())
    is_mounted = serializers.BooleanField()
    is_struck = serializers.BooleanField()
    fills = FillOut(many=True)

    def get_fields(self) -> dict[str, Any]:
        """``pass`` is a word of the language, and a field of the answer."""
        return {"pass" if k == "set_pass" else k: v for k, v in super().get_fields().items()}


class LackOut(serializers.Serializer[Any]):
    """A fill that stock cannot meet, with the nearest lengths that it gives."""

    station = serializers.IntegerField(source="spot.station")
    shaft = serializers.ChoiceField(LEVEL, source="spot.shaft")
    fill = serializers.ChoiceField(Fill.choices, source="spot.fill")
    after = serializers.IntegerField(source="spot.after")
    least_mm = LengthMm("window_nm.0")
    most_mm = LengthMm("window_nm.1")
    below_mm = LengthMm("below_nm")
    above_mm = LengthMm("above_nm")
    in_whole_stock = serializers.BooleanField()


class MakeOut(serializers.Serializer[Any]):
    """A piece to make for a fill; ``is_ground``: to a length off the shop's grid."""

    station = serializers.IntegerField(source="spot.station")
    shaft = serializers.ChoiceField(LEVEL, source="spot.shaft")
    fill = serializers.ChoiceField(Fill.choices, source="spot.fill")
    length_mm = LengthMm("length_nm")
    shaft_mm = LengthMm("shaft_nm")
    key_width_mm = LengthMm("key_width_nm")
    is_ground = serializers.SerializerMethodField()

    def get_is_ground(self, row: Any) -> bool:
        return row.window_nm is not None


class NotReckonedOut(serializers.Serializer[Any]):
    """Why a shaft, or with no station the whole kit, cannot be reckoned."""

    code = serializers.CharField()
    message = serializers.CharField(source="said")
    station = serializers.IntegerField(allow_null=True)
    shaft = serializers.CharField()


class DifferenceOut(serializers.Serializer[Any]):
    """Top less bottom of a station."""

    station = serializers.IntegerField()
    difference_mm = LengthMm("difference_nm")
    spread_mm = LengthMm("spread_nm")
    holds = serializers.BooleanField()


class FillTaskOut(serializers.Serializer[Any]):
    """The work on it; ``code`` where it was refused, such as stale_plan."""

    id = serializers.IntegerField()
    state = serializers.CharField()
    is_over = serializers.BooleanField()
    progress = serializers.FloatField()
    message = serializers.CharField()
    code = serializers.CharField()


class FillPageOut(serializers.Serializer[Any]):
    """How the shafts stand, and what the last answer could not meet."""

    kit = serializers.CharField()
    version = serializers.IntegerField()
    task = FillTaskOut(allow_null=True)
    is_proven = serializers.BooleanField(source="answer.is_proven", default=False)
    is_stopped = serializers.BooleanField(source="answer.stopped", default=False)
    shafts = ShaftFillOut(many=True)
    differences = DifferenceOut(many=True)
    missing = NotReckonedOut(many=True)
    lacks = LackOut(many=True, source="answer.lacks", default=list)
    make = MakeOut(many=True, source="answer.make", default=list)
    make_is_proven = serializers.BooleanField(source="answer.make_is_proven", default=False)
    not_there = serializers.ListField(
        child=serializers.CharField(), source="answer.not_there", default=list
    )


class StartFillIn(FillIn):
    """Nothing: fill the shafts. With station, shaft and order: choose what fills one position, as
    ``code`` says."""

    station = serializers.IntegerField(min_value=1, max_value=999, required=False)
    shaft = serializers.ChoiceField(Shaft.choices, required=False)
    order = serializers.IntegerField(min_value=1, max_value=999, required=False)


class SpacerIn(ActionIn):
    """One spacer that fills a shaft."""

    station = serializers.IntegerField(min_value=1, max_value=999)
    shaft = serializers.ChoiceField(LEVEL)
    order = serializers.IntegerField(min_value=1, max_value=999)


class NotThereIn(SpacerIn):
    """``bin`` and ``there``: so many are really in the bin, and its count is put right."""

    bin = serializers.CharField(required=False, max_length=20, help_text="Its label code.")
    there = serializers.IntegerField(required=False, min_value=0, max_value=1_000_000)


class PinFillIn(SpacerIn):
    is_pinned = serializers.BooleanField(default=True)


class SwapIn(SpacerIn):
    code = serializers.CharField(
        max_length=40, help_text="The other spacer: its code, mark, drawing or length mark."
    )


class ByHandIn(ActionIn):
    """A fill from the shoulder: length marks, drawings, codes or marks with + between them."""

    station = serializers.IntegerField(min_value=1, max_value=999)
    shaft = serializers.ChoiceField(LEVEL)
    fill = serializers.ChoiceField(Fill.choices)
    after = serializers.IntegerField(default=0, min_value=0, max_value=999)
    text = serializers.CharField(max_length=400, allow_blank=True)


class ClearIn(ActionIn):
    """Nothing: all shafts that are not mounted. Else one."""

    station = serializers.IntegerField(min_value=1, max_value=999, required=False)
    shaft = serializers.ChoiceField(LEVEL, required=False)

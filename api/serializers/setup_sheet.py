"""The setup sheet on the wire: lengths as exact decimals in mm, other values in their own unit."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.serializers.lengths import LengthMm
from api.serializers.setups import StripOut
from tooling.engineering.last_good import Struck
from tooling.engineering.lengths import exact_mm
from tooling.engineering.measures import plain_measure
from tooling.queries.setup_sheet_views import LastGood, SheetSetting

PROOFS = [(each, each) for each in ("proved", "unproved", "drawn", "none")]
MEANS = [(each, each) for each in ("feelers", "other", "spacers")]
STRUCK = [(str(each), str(each)) for each in Struck]
_VALUE = {"type": "string", "nullable": True, "example": "1.25"}


@extend_schema_field({"type": "array", "nullable": True, "items": {"type": "string"}})
class LeavesMm(serializers.Field[Any, Any, list[str], Any]):
    """The leaves of a pack, thinnest first, in mm."""

    def to_representation(self, value: Any) -> list[str]:
        return [exact_mm(nm) for nm in value.leaves_nm]


class SheetPieceOut(serializers.Serializer[Any]):
    """One thing of a stack; ``turn`` counts from the shoulder."""

    turn = serializers.IntegerField()
    order = serializers.IntegerField(source="position.order")
    fill = serializers.CharField(help_text="inboard, middle, outboard; empty: called for.")
    faces = serializers.CharField(help_text="Which way its mark faces.")
    drawing = serializers.CharField(source="position.drawing")
    kind = serializers.CharField(source="position.kind")
    piece = serializers.CharField(source="position.code", help_text="Its label code, or its bin's.")
    mark = serializers.CharField(source="position.mark")
    state = serializers.CharField(source="position.state")
    place = serializers.CharField(source="position.place")
    length_mm = LengthMm("length_nm")
    drive_diameter_mm = LengthMm("position.drive_diameter_nm")
    mass_kg = serializers.FloatField(source="position.mass_kg", allow_null=True)


class SheetSideOut(serializers.Serializer[Any]):
    """A side roll with how it stands."""

    drawing = serializers.CharField(source="position.drawing")
    piece = serializers.CharField(source="position.code")
    mark = serializers.CharField(source="position.mark")
    state = serializers.CharField(source="position.state")
    side = serializers.CharField(source="position.side")
    height_mm = LengthMm("height_nm")
    in_out_mm = LengthMm("in_out_nm")
    tilt_degrees = serializers.FloatField(allow_null=True)


class SheetGapOut(serializers.Serializer[Any]):
    """How a pass is gapped. ``check_with``: two packs of feelers, another way, or spacers."""

    target_mm = LengthMm("target_nm")
    allowance_mm = LengthMm("allowance_nm")
    method = serializers.CharField()
    is_loaded = serializers.BooleanField()
    point = serializers.CharField()
    degrees = serializers.FloatField()
    check_with = serializers.ChoiceField(MEANS, source="packs", allow_blank=True)
    feeler_mm = LengthMm("feeler_nm")
    go_mm = LeavesMm(source="go", allow_null=True)
    no_go_mm = LeavesMm(source="no_go", allow_null=True)
    centres_mm = LengthMm("centres_nm")
    centres_problem = serializers.CharField(help_text="below_stop, above_most or empty.")
    is_by_drive = serializers.BooleanField(help_text="Drive diameters stand in.")
    unmeasured = serializers.ListField(child=serializers.CharField())
    how = serializers.SerializerMethodField()

    @extend_schema_field({"type": "array", "items": {"type": "object"}})
    def get_how(self, gap: Any) -> list[dict[str, object]]:
        return [step.as_dict() for step in gap.steps]


class SheetMovesOut(serializers.Serializer[Any]):
    """Since the last good setup; down is negative."""

    pass_line_mm = LengthMm("pass_line_nm")
    top_mm = LengthMm("top_nm")
    bottom_mm = LengthMm("bottom_nm")
    top_turns = serializers.FloatField(allow_null=True)
    bottom_turns = serializers.FloatField(allow_null=True)
    reset = serializers.BooleanField(help_text="Guides, side rolls and entry are set again.")


class SheetSettingOut(serializers.Serializer[Any]):
    """One number to set, in its own unit. ``name`` empty: the gap, at ``end``."""

    name = serializers.CharField()
    end = serializers.CharField()
    unit = serializers.CharField()
    target = serializers.SerializerMethodField()
    last = serializers.SerializerMethodField()

    @extend_schema_field(_VALUE)
    def get_target(self, setting: SheetSetting) -> str | None:
        return plain_measure(setting.target_nm, setting.target, setting.unit) or None

    @extend_schema_field(
        {
            "type": "object",
            "nullable": True,
            "properties": {
                "was": _VALUE,
                "now": _VALUE,
                "method": {"type": "string"},
                "struck": {"type": "array", "items": {"enum": [each for each, _said in STRUCK]}},
                "reset": {"type": "boolean"},
            },
        }
    )
    def get_last(self, setting: SheetSetting) -> dict[str, Any] | None:
        last: LastGood | None = setting.last
        if last is None:
            return None
        return {
            "was": plain_measure(last.was_nm, last.was, setting.unit) or None,
            "now": plain_measure(last.now_nm, last.now, setting.unit) or None,
            "method": last.method,
            "struck": [str(each) for each in last.struck],
            "reset": last.reset,
        }


class SheetStationOut(serializers.Serializer[Any]):
    station = serializers.IntegerField(source="number")
    code = serializers.CharField()
    pass_number = serializers.IntegerField(allow_null=True)
    pass_name = serializers.CharField()
    note = serializers.CharField()
    top = SheetPieceOut(many=True, source="top.pieces")
    bottom = SheetPieceOut(many=True, source="bottom.pieces")
    side = SheetSideOut(many=True)
    gap = SheetGapOut(allow_null=True)
    moves = SheetMovesOut(allow_null=True)
    settings = SheetSettingOut(many=True)


class LastSetupOut(serializers.Serializer[Any]):
    number = serializers.CharField()
    mill = serializers.CharField()
    is_this_mill = serializers.BooleanField()
    good_at = serializers.DateTimeField()
    strip_mm = LengthMm("strip_nm")


class SetupSheetOut(serializers.Serializer[Any]):
    """A kit's setup sheet, idle stations too."""

    number = serializers.CharField()
    version = serializers.IntegerField()
    job = serializers.CharField(source="job.number")
    tool_set = serializers.CharField(source="job.set_number")
    mill = serializers.CharField(source="job.mill_number")
    chart_revision = serializers.CharField()
    proof = serializers.ChoiceField(PROOFS)
    is_turned = serializers.BooleanField()
    last = LastSetupOut(allow_null=True)
    strip = StripOut()
    stations = SheetStationOut(many=True)

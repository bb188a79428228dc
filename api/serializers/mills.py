"""Mills with their stations and shafts on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm, plain
from tooling.models import Closing, Datum, Drive, Hand, KeyStyle, Unit

SIDES = [("left", "left, looking downstream"), ("right", "right, looking downstream")]
SHAFTS = [("top", "top"), ("bottom", "bottom")]
MILL_LENGTHS = plain(
    *("closing_least", "closing_most", "guide_plane", "pass_line_height", "base_clearance"),
    signed=("closing_least", "closing_most", "guide_plane"),
)
CENTRES = plain("centre_to_next", "vertical_least", "vertical_most")
BARE_SHAFT = ("diameter", "roll_space")


class MillOut(serializers.Serializer[Any]):
    number = serializers.CharField()
    name = serializers.CharField()
    unit = serializers.ChoiceField(Unit.choices)
    datum = serializers.ChoiceField(Datum.choices)
    hand = serializers.ChoiceField(
        Hand.choices, help_text="The side of the drive, looking downstream."
    )
    operator_side = serializers.ChoiceField(SIDES)
    closing = serializers.ChoiceField(
        Closing.choices, allow_blank=True, help_text="Empty: not entered yet."
    )
    closing_least_mm = LengthMm("closing_least_nm", help_text="Stack total less roll space.")
    closing_most_mm = LengthMm("closing_most_nm")
    guide_plane_mm = LengthMm("guide_plane_nm", help_text="From the datum plane.")
    pass_line_height_mm = LengthMm("pass_line_height_nm")
    base_clearance_mm = LengthMm("base_clearance_nm")
    max_speed_m_min = serializers.FloatField(allow_null=True)
    place = serializers.CharField(source="place.code", allow_null=True, default=None)
    is_active = serializers.BooleanField()


class ShaftOut(serializers.Serializer[Any]):
    which = serializers.ChoiceField(SHAFTS)
    bank = serializers.IntegerField()
    diameter_mm = LengthMm("diameter_nm")
    key_style = serializers.ChoiceField(KeyStyle.choices)
    key_width_mm = LengthMm("key_width_nm")
    key_height_mm = LengthMm("key_height_nm")
    roll_space_mm = LengthMm("roll_space_nm")
    shoulder_offset_mm = LengthMm(
        "shoulder_offset_nm", help_text="Positive: outboard of the datum plane."
    )
    shoulder_measured_on = serializers.DateField(allow_null=True)
    end_play_mm = LengthMm("end_play_nm")
    end_play_measured_on = serializers.DateField(allow_null=True)
    drive = serializers.ChoiceField(Drive.choices)
    drive_group = serializers.CharField(source="drive_group.name", allow_null=True, default=None)


class StationOut(serializers.Serializer[Any]):
    code = serializers.CharField(help_text="The station's label code.")
    number = serializers.IntegerField()
    place = serializers.CharField(source="place.code")
    centre_to_next_mm = LengthMm("centre_to_next_nm")
    vertical_least_mm = LengthMm("vertical_least_nm")
    vertical_most_mm = LengthMm("vertical_most_nm")
    gear_ratio = serializers.DecimalField(
        max_digits=9, decimal_places=6, help_text="D top / D bottom at equal surface speed."
    )
    bottom_adjustable = serializers.BooleanField()
    screw_lead_mm = LengthMm("screw_lead_nm")
    stand_clearance_mm = LengthMm("stand_clearance_nm")
    side_roll_room_mm = LengthMm("side_roll_room_nm")
    side_roll_mounting = serializers.CharField()
    aligned_on = serializers.DateField(allow_null=True)
    shafts = ShaftOut(many=True)


class GroupOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    rpm_factor = serializers.FloatField()


class MillDetailOut(MillOut):
    """A mill with its stations, their shafts, and the drive groups."""

    drive_groups = GroupOut(many=True)
    stations = StationOut(many=True)


class EditMillIn(ActionIn):
    """What is to change of the whole machine; the number stays."""

    lengths = MILL_LENGTHS
    name = serializers.CharField(required=False, max_length=80)
    datum = serializers.ChoiceField(Datum.choices, required=False)
    hand = serializers.ChoiceField(Hand.choices, required=False)
    operator_side = serializers.ChoiceField(SIDES, required=False)
    closing = serializers.ChoiceField(Closing.choices, required=False, allow_blank=True)
    max_speed_m_min = serializers.FloatField(
        required=False, allow_null=True, min_value=0.1, max_value=1_000
    )
    is_active = serializers.BooleanField(required=False)


class CreateMillIn(EditMillIn):
    """A mill whose stations are all alike at first."""

    lengths = [
        *MILL_LENGTHS,
        *CENTRES,
        *plain(
            *(*BARE_SHAFT, "key_width", "key_height", "shoulder_offset"),
            required=BARE_SHAFT,
            signed=("shoulder_offset",),
            never_empty=(*BARE_SHAFT, "shoulder_offset"),
        ),
    ]
    number = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=80)
    unit = serializers.ChoiceField(Unit.choices, default=Unit.MM)
    datum = serializers.ChoiceField(Datum.choices)
    hand = serializers.ChoiceField(Hand.choices)
    operator_side = serializers.ChoiceField(SIDES)
    stations = serializers.IntegerField(min_value=1, max_value=60)


class EditStationIn(ActionIn):
    lengths = [*CENTRES, *plain("screw_lead", "stand_clearance", "side_roll_room")]
    gear_ratio = serializers.DecimalField(
        required=False, max_digits=9, decimal_places=6, min_value=0
    )
    bottom_adjustable = serializers.BooleanField(required=False)
    side_roll_mounting = serializers.CharField(required=False, allow_blank=True, max_length=40)
    aligned_on = serializers.DateField(required=False, allow_null=True)


class EditShaftIn(ActionIn):
    lengths = plain(
        *(*BARE_SHAFT, "key_width", "key_height", "shoulder_offset", "joint_length", "end_play"),
        signed=("shoulder_offset",),
        never_empty=(*BARE_SHAFT, "shoulder_offset"),
    )
    bank = serializers.IntegerField(default=1, min_value=1, max_value=2)
    key_style = serializers.ChoiceField(KeyStyle.choices, required=False)
    shoulder_measured_on = serializers.DateField(required=False, allow_null=True)
    end_play_measured_on = serializers.DateField(required=False, allow_null=True)
    drive = serializers.ChoiceField(Drive.choices, required=False)
    drive_group = serializers.CharField(required=False, allow_null=True, max_length=20)


class GroupIn(ActionIn):
    """A drive group, new or of that name, with its rpm against the line's."""

    name = serializers.CharField(max_length=20)
    rpm_factor = serializers.FloatField(min_value=0.01, max_value=100)

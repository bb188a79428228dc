"""Forms of mills, stations and shafts."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.models import Closing, Datum, Drive, DriveGroup, Hand, KeyStyle, Mill
from tooling.web.forms.fields import (
    LengthInput,
    RecordForm,
    day,
    plain_number,
    unit_choice,
    whole_number,
)

SIDES = [("left", _("left, looking downstream")), ("right", _("right, looking downstream"))]
MILL_LENGTHS = (
    *("closing_least_nm", "closing_most_nm", "guide_plane_nm", "pass_line_height_nm"),
    "base_clearance_nm",
)
STATION_LENGTHS = (
    *("centre_to_next_nm", "vertical_least_nm", "vertical_most_nm", "screw_lead_nm"),
    *("stand_clearance_nm", "side_roll_room_nm"),
)
SHAFT_LENGTHS = (
    *("diameter_nm", "key_width_nm", "key_height_nm", "roll_space_nm", "shoulder_offset_nm"),
    *("joint_length_nm", "end_play_nm"),
)


class _MillFacts(RecordForm):
    name = forms.CharField(label=_("Name"), max_length=80)
    datum = forms.ChoiceField(label=_("Aligned from"), choices=Datum.choices)
    hand = forms.ChoiceField(label=_("Hand"), choices=Hand.choices)
    operator_side = forms.ChoiceField(label=_("The operator stands"), choices=SIDES)
    closing = forms.ChoiceField(
        label=_("How a shaft closes"),
        choices=[("", _("not entered yet")), *Closing.choices],
        required=False,
    )
    closing_least_nm = LengthInput(
        label=_("Closing window, least"),
        signed=True,
        help_text=_("Stack total less roll space; negative when the stack is short."),
    )
    closing_most_nm = LengthInput(label=_("Closing window, most"), signed=True)
    guide_plane_nm = LengthInput(label=_("Datum plane to guide plane"), signed=True)
    pass_line_height_nm = LengthInput(label=_("Pass line height"))
    base_clearance_nm = LengthInput(label=_("Bottom shaft at its lowest to the base"))
    max_speed_m_min = plain_number(
        label=_("Most speed, m/min"), required=False, min_value=0.1, max_value=1_000
    )


class NewMill(_MillFacts):
    """A mill whose stations are all alike at first."""

    number = forms.CharField(label=_("Mill number"), max_length=20)
    unit = unit_choice(label=_("Measured in"))
    stations = whole_number(label=_("Stations"), min_value=1, max_value=60)
    centre_to_next_nm = LengthInput(label=_("Horizontal centre to the next station"))
    vertical_least_nm = LengthInput(label=_("Vertical centres, least"))
    vertical_most_nm = LengthInput(label=_("Vertical centres, most"))
    diameter_nm = LengthInput(label=_("Shaft diameter"), usual_mm=(10, 400), required=True)
    roll_space_nm = LengthInput(label=_("Roll space"), usual_mm=(30, 3_000), required=True)
    key_width_nm = LengthInput(label=_("Key width"), usual_mm=(2, 80))
    key_height_nm = LengthInput(label=_("Key stands above the shaft by"), usual_mm=(0.5, 40))
    shoulder_offset_nm = LengthInput(
        label=_("Shoulder offset"),
        signed=True,
        help_text=_("Positive when the shoulder stands outboard of the datum plane."),
    )
    field_order = ("number", "name", "unit", "stations")

    STATION = ("centre_to_next_nm", "vertical_least_nm", "vertical_most_nm")
    SHAFT = ("diameter_nm", "roll_space_nm", "key_width_nm", "key_height_nm", "shoulder_offset_nm")

    def parts(self) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
        """What is the mill's, each station's and each shaft's."""
        values = dict(self.cleaned_data)
        station = {name: values.pop(name) for name in self.STATION}
        shaft = {name: values.pop(name) for name in self.SHAFT}
        shaft["shoulder_offset_nm"] = shaft["shoulder_offset_nm"] or 0
        return values, station, shaft


class EditMill(_MillFacts):
    is_active = forms.BooleanField(label=_("In use"), required=False)


class StationForm(RecordForm):
    centre_to_next_nm = LengthInput(label=_("Horizontal centre to the next station"))
    vertical_least_nm = LengthInput(label=_("Vertical centres, least"))
    vertical_most_nm = LengthInput(label=_("Vertical centres, most"))
    gear_ratio = forms.DecimalField(
        label=_("Gear ratio"),
        max_digits=9,
        decimal_places=6,
        help_text=_("D top / D bottom at equal surface speed."),
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
    )
    bottom_adjustable = forms.BooleanField(label=_("Bottom shaft adjustable"), required=False)
    screw_lead_nm = LengthInput(label=_("Lead of the screw"))
    stand_clearance_nm = LengthInput(label=_("Shaft axis to the nearest stand or bar"))
    side_roll_room_nm = LengthInput(label=_("Room for side rolls to the next station"))
    side_roll_mounting = forms.CharField(
        label=_("Side-roll mounting"), required=False, max_length=40
    )
    aligned_on = day(label=_("Last aligned"), required=False)


class ShaftForm(RecordForm):
    diameter_nm = LengthInput(label=_("Shaft diameter"), usual_mm=(10, 400), required=True)
    roll_space_nm = LengthInput(label=_("Roll space"), usual_mm=(30, 3_000), required=True)
    key_style = forms.ChoiceField(label=_("Key"), choices=KeyStyle.choices)
    key_width_nm = LengthInput(label=_("Key width"), usual_mm=(2, 80))
    key_height_nm = LengthInput(label=_("Key stands above the shaft by"), usual_mm=(0.5, 40))
    shoulder_offset_nm = LengthInput(label=_("Shoulder offset"), signed=True, required=True)
    shoulder_measured_on = day(label=_("Shoulder offset measured"), required=False)
    end_play_nm = LengthInput(label=_("End play"), usual_mm=(0, 2))
    end_play_measured_on = day(label=_("End play measured"), required=False)
    drive = forms.ChoiceField(label=_("Drive"), choices=Drive.choices)
    drive_group = forms.ModelChoiceField(
        label=_("Drive group"), queryset=DriveGroup.objects.none(), required=False
    )
    joint_length_nm = LengthInput(label=_("Universal joint, length"))
    joint_most_degrees = plain_number(
        label=_("Universal joint, most degrees"), required=False, min_value=0, max_value=60
    )

    def __init__(self, *args: Any, mill: Mill, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["drive_group"].queryset = mill.drive_groups.order_by("name")  # type: ignore[attr-defined]


class GroupForm(RecordForm):
    name = forms.CharField(label=_("Drive group"), max_length=20)
    rpm_factor = plain_number(label=_("Rpm factor"), initial=1, min_value=0.01, max_value=100)

"""The form of a gauge point, in the drawing's own unit."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.models import PointKind
from tooling.queries.gauge_points import DIMENSION_WORDS
from tooling.web.forms.fields import LengthInput, RecordForm, plain_number, whole_number


class PointForm(RecordForm):
    """``fields_for_service``: what the service takes."""

    name = forms.CharField(label=_("Name"), max_length=40, help_text=_("Such as root, or lip."))
    where = forms.CharField(
        label=_("How to find it"), required=False, max_length=120,
        help_text=_("Such as 12 mm from the inboard face."),
    )  # fmt: skip
    kind = forms.ChoiceField(label=_("What is read"), choices=PointKind.choices)
    dimension = forms.ChoiceField(
        label=_("It is the piece's"),
        required=False,
        choices=[("", _("none of its dimensions")), *DIMENSION_WORDS.items()],
    )
    new_nm = LengthInput(label=_("When new"), help_text=_("Empty: as drawn, or the first reading."))
    limit_nm = LengthInput(label=_("Limit: beyond it parts are bad"))
    depth_limit_nm = LengthInput(label=_("Or: most depth lost since the cut"))
    grows = forms.BooleanField(label=_("It grows as it wears, as a groove does"), required=False)
    is_diameter = forms.BooleanField(
        label=_("Both sides wear, as on a diameter"), required=False, initial=True
    )
    has_two_ends = forms.BooleanField(label=_("Read at both ends"), required=False)
    face_angle_deg = plain_number(
        label=_("Face to the shaft (°)"), required=False, min_value=0, max_value=90,
        help_text=_("0 along the shaft; 60 on a steep flank."),
    )  # fmt: skip
    local_radius_nm = LengthInput(
        label=_("Radius at the point"),
        help_text=_("Far from the drive radius it slides more. Empty: as points like it do."),
    )
    order = whole_number(label=_("No."), required=False, min_value=1, max_value=999)

    def told(self) -> dict[str, Any]:
        values = dict(self.cleaned_data)
        values["face_angle_deg"] = values.get("face_angle_deg") or 0.0
        if not values.get("order"):
            values.pop("order", None)
        return {**values, "is_in_use": True}

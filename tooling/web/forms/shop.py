"""Forms of the Shop: places, people, owners, settings."""

from __future__ import annotations

import zoneinfo
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.models import Mill, Owner, PlaceKind, Role, ToolSet, Unit
from tooling.models.defaults import Declared, SettingKind
from tooling.web.forms.fields import (
    LengthInput,
    LengthsInput,
    RecordForm,
    day,
    place_input,
    plain_number,
    whole_number,
)

KINDS = [choice for choice in PlaceKind.choices if choice[0] != PlaceKind.STATION]


class _PlaceFacts(RecordForm):
    name = forms.CharField(label=_("Name"), max_length=80)
    kind = forms.ChoiceField(label=_("Kind"), choices=KINDS, initial="shelf")
    parent = place_input(label=_("Inside"), required=False)
    walking_order = whole_number(
        label=_("Walking order"),
        required=False,
        min_value=0,
        max_value=1_000_000,
        help_text=_("Pull lists go from low to high."),
    )
    max_load_kg = plain_number(
        label=_("Most load, kg"), required=False, min_value=0.1, max_value=100_000
    )
    height_nm = LengthInput(label=_("Height of the hands"), usual_mm=(50.0, 2_500.0))
    owner = forms.ModelChoiceField(
        label=_("Owner"),
        queryset=Owner.objects.none(),
        required=False,
        help_text=_("Only for a customer's own place."),
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["owner"].queryset = Owner.objects.order_by("-is_shop", "name")  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if "walking_order" in cleaned and cleaned["walking_order"] is None:
            cleaned["walking_order"] = 0
        return cleaned


class NewPlaces(_PlaceFacts):
    """One place, or a row of pegs in one go."""

    count = whole_number(
        label=_("How many"),
        initial=1,
        min_value=1,
        max_value=500,
        help_text=_("24 from “Peg 1” makes Peg 1 to Peg 24."),
    )
    field_order = ("name", "count", "kind", "parent")


class EditPlace(_PlaceFacts):
    is_active = forms.BooleanField(label=_("In use"), required=False)


class OwnerForm(RecordForm):
    code = forms.CharField(label=_("Owner code"), max_length=20)
    name = forms.CharField(label=_("Name"), max_length=120)
    is_shop = forms.BooleanField(label=_("This is the shop itself"), required=False)
    contact = forms.CharField(label=_("Contact"), required=False, max_length=200)
    consent_reference = forms.CharField(
        label=_("Written consent"),
        required=False,
        max_length=120,
        help_text=_("Where it is filed, if other jobs may use this owner's pieces."),
    )
    insurance_reference = forms.CharField(
        label=_("Insured"),
        required=False,
        max_length=120,
        help_text=_("Who insures this owner's tooling, and under which policy."),
    )


def _roles() -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        label=_("Roles"), choices=Role.choices, widget=forms.CheckboxSelectMultiple
    )


def _password(**more: Any) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": "new-password"})
    return forms.CharField(label=_("Password"), widget=widget, max_length=200, **more)


class NewPerson(RecordForm):
    name = forms.CharField(label=_("Name"), max_length=120)
    username = forms.CharField(label=_("User name"), max_length=60)
    password = _password(help_text=_("Eight characters or more, not a common word."))
    roles = _roles()


class EditPerson(RecordForm):
    name = forms.CharField(label=_("Name"), max_length=120)
    roles = _roles()
    is_active = forms.BooleanField(
        label=_("May log in"), required=False, help_text=_("Leave out for somebody who left.")
    )
    password = _password(required=False, help_text=_("Only to give a new one."))


class MyselfForm(RecordForm):
    length_unit = forms.ChoiceField(
        label=_("Lengths"), choices=[("drawn", _("as drawn")), *Unit.choices]
    )
    strip_unit = forms.ChoiceField(label=_("Strip length"), choices=[("m", "m"), ("ft", "ft")])
    password = _password(required=False, help_text=_("Only to choose a new one."))
    new_pin = forms.CharField(
        label=_("PIN"),
        required=False,
        max_length=8,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text=_("Only to choose a new one. 4 to 8 digits, for shared tablets."),
    )


class ShopForm(RecordForm):
    name = forms.CharField(label=_("Name of the shop"), max_length=120)
    time_zone = forms.ChoiceField(label=_("Time zone"), choices=())
    length_unit = forms.ChoiceField(label=_("Lengths in"), choices=Unit.choices)
    strip_unit = forms.ChoiceField(label=_("Strip length in"), choices=[("m", "m"), ("ft", "ft")])
    currency = forms.CharField(
        label=_("Currency"),
        required=False,
        max_length=3,
        help_text=_("Three letters, such as USD or EUR; what values are written in."),
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        zones = sorted(zoneinfo.available_timezones())
        self.fields["time_zone"].choices = [(zone, zone) for zone in zones]  # type: ignore[attr-defined]


class GaugeForm(RecordForm):
    number = forms.CharField(label=_("Gauge number"), max_length=30)
    name = forms.CharField(label=_("Name"), max_length=80)
    unit = forms.ChoiceField(label=_("Reads in"), choices=Unit.choices)
    resolution_nm = LengthInput(label=_("Resolution"))
    uncertainty_nm = LengthInput(
        label=_("Uncertainty, k = 2"), help_text=_("As its certificate states it.")
    )
    least_nm = LengthInput(label=_("Reads from"))
    most_nm = LengthInput(label=_("Reads up to"))
    certificate = forms.CharField(label=_("Certificate"), required=False, max_length=60)
    calibrated_on = day(label=_("Calibrated on"), required=False)
    due_on = day(
        label=_("Calibration due"),
        required=False,
        help_text=_("Past it, readings are kept and nothing is said about conformity."),
    )


class SettingForm(RecordForm):
    """One setting, for the shop, a mill or a set."""

    mill = forms.ModelChoiceField(
        label=_("Only for mill"), queryset=Mill.objects.none(), required=False
    )
    tool_set = forms.ModelChoiceField(
        label=_("Only for set"), queryset=ToolSet.objects.none(), required=False
    )

    def __init__(self, *args: Any, declared: Declared, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["value"] = self._value(declared)
        if declared.kind in (SettingKind.LENGTH, SettingKind.LENGTHS):
            self.fields["value"].label = f"{declared.label} ({self.unit})"
        self.order_fields(["value", "mill", "tool_set"])
        self._offer("mill", declared.per_mill, Mill)
        self._offer("tool_set", declared.per_set, ToolSet)

    def _value(self, declared: Declared) -> forms.Field:
        label = f"{declared.label}" + (f" ({declared.unit})" if declared.unit else "")
        if declared.kind == SettingKind.LENGTH:
            return LengthInput(label=label, required=True)
        if declared.kind == SettingKind.LENGTHS:
            return LengthsInput(label=label, unit=self.unit)
        if declared.kind == SettingKind.COUNT:
            return whole_number(label=label)
        return plain_number(label=label)

    def _offer(self, name: str, offered: bool, model: Any) -> None:
        if offered:
            self.fields[name].queryset = model.objects.order_by("number")  # type: ignore[attr-defined]
        else:
            del self.fields[name]

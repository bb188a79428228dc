"""Forms of jobs and kits."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import parse_strip_length
from tooling.errors import ToolingError
from tooling.models import Mill, Owner, SetVariant, ToolSet
from tooling.web.forms.fields import (
    LengthInput,
    RecordForm,
    place_input,
    plain_number,
    said,
    unit_choice,
)

STRIP_WIDTH_MM = (5.0, 2500.0)
STRIP_THICKNESS_MM = (0.1, 13.0)


class PlaceForm(RecordForm):
    """Where a kit is gathered."""

    place = place_input(
        label=_("Cart, plate or rack of pegs"),
        help_text=_("Its name or its label code."),
        required=True,
    )


class CloseForm(RecordForm):
    """Closing a kit; one that is not complete needs a reason."""

    reason = forms.CharField(
        label=_("Reason, if it is short"),
        required=False,
        max_length=400,
        help_text=_("Such as: run without pass 3, spacer borrowed from the next kit."),
    )
    HIDDEN = ("sure",)


class MillChoice(forms.ModelChoiceField):
    """Mills by the number that people call them by, then the name."""

    def label_from_instance(self, obj: Any) -> str:
        return str(obj.name) if obj.number in obj.name else f"{obj.number} {obj.name}"


class VariantChoice(forms.ModelChoiceField):
    """Variants behind the number of the set that they are of."""

    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.tool_set.number} {obj.name}"


class JobForm(RecordForm):
    """A planned run."""

    number = forms.CharField(label=_("Job number"), max_length=30)
    tool_set = forms.ModelChoiceField(label=_("Tool set"), queryset=ToolSet.objects.none())
    variant = VariantChoice(
        label=_("Variant"), queryset=SetVariant.objects.none(), required=False,
        empty_label=_("as the set stands"),
    )  # fmt: skip
    mill = MillChoice(label=_("Mill"), queryset=Mill.objects.none())
    starts_at = forms.DateTimeField(
        label=_("Starts"),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    hours = plain_number(label=_("Expected hours"), min_value=0.1, max_value=2000, initial=8)
    gathers_at = forms.DateTimeField(
        label=_("Kit is gathered from"),
        required=False,
        help_text=_("Empty: a day before the start."),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    customer = forms.ModelChoiceField(
        label=_("Customer"), queryset=Owner.objects.none(), required=False,
        empty_label=_("the shop's own"),
    )  # fmt: skip
    unit = unit_choice(label=_("Strip is written in"))
    grade = forms.CharField(label=_("Strip grade"), required=False, max_length=40)
    thickness_nm = LengthInput(label=_("Strip thickness"), usual_mm=STRIP_THICKNESS_MM)
    width_nm = LengthInput(label=_("Strip width"), usual_mm=STRIP_WIDTH_MM)
    coating = forms.CharField(label=_("Coating"), required=False, max_length=40)
    strip_length = forms.CharField(
        label=_("Length to run"),
        required=False,
        max_length=30,
        help_text=_("With its unit, such as 4000 m or 12000 ft."),
    )

    def __init__(self, *args: Any, strip_unit: Any = "m", **more: Any) -> None:
        super().__init__(*args, **more)
        self.strip_unit = strip_unit
        choices: dict[str, Any] = {
            "tool_set": ToolSet.objects.order_by("number"),
            "variant": SetVariant.objects.select_related("tool_set").order_by("tool_set", "name"),
            "mill": Mill.objects.filter(is_active=True).order_by("number"),
            "customer": Owner.objects.filter(is_shop=False).order_by("name"),
        }
        for name, rows in choices.items():
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = rows

    def clean_strip_length(self) -> int:
        """Whole nm; nothing written is no length yet."""
        text = str(self.cleaned_data["strip_length"]).strip()
        if not text:
            return 0
        try:
            return parse_strip_length(text, unit=self.strip_unit, field=str(_("Length to run"))).nm
        except ToolingError as error:
            raise said(error)

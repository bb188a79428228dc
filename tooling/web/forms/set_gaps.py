"""Forms of middle fills, of what is checked on the first piece, and of free-named settings."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.engineering.measures import Measure, read_measure
from tooling.errors import ToolingError
from tooling.models import SetPass, ToolSet
from tooling.web.forms.fields import LengthInput, RecordForm, said, whole_number


class FillForm(RecordForm):
    set_pass = forms.ModelChoiceField(
        label=_("Pass"), queryset=SetPass.objects.none(), to_field_name="number"
    )
    shaft = forms.ChoiceField(
        label=_("Shaft"), choices=[("top", _("top")), ("bottom", _("bottom"))]
    )
    after_order = whole_number(
        label=_("After position"),
        min_value=1,
        max_value=60,
        help_text=_("The fill stands outboard of this roll."),
    )
    length_nm = LengthInput(label=_("Length"), required=True)
    below_nm = LengthInput(label=_("May be shorter by"))
    above_nm = LengthInput(label=_("May be longer by"))
    outside_most_nm = LengthInput(
        label=_("Outside diameter at most"),
        help_text=_("Empty: any spacer that clears the shaft's neighbours."),
    )

    def __init__(self, *args: Any, tool_set: ToolSet, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["set_pass"].queryset = tool_set.passes.order_by("number")  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        for name in ("below_nm", "above_nm"):
            if name in cleaned:
                cleaned[name] = cleaned[name] or 0
        return cleaned


class MeasuredForm(RecordForm):
    """A form whose values have a unit of their own: lengths in mm or in, else plain numbers.

    ``MEASURED`` names the fields; clean, each is there twice: ``name_nm`` and ``name``.
    """

    MEASURED: tuple[str, ...] = ()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        unit = cleaned.get("unit", "").strip()
        for name in self.MEASURED:
            text = cleaned.get(name, "").strip()
            try:
                field = str(self.fields[name].label)
                found = read_measure(text, unit=unit, field=field) if text else Measure()
            except ToolingError as error:
                self.add_error(name, said(error))
                found = Measure()
            cleaned |= {f"{name}_nm": found.nm, name: found.number}
        return cleaned


def measured_input(label: Any, **more: Any) -> forms.CharField:
    widget = forms.TextInput(attrs={"autocomplete": "off"})
    return forms.CharField(label=label, required=False, max_length=40, widget=widget, **more)


def own_unit() -> forms.CharField:
    return forms.CharField(
        label=_("Unit"), max_length=12, help_text=_("mm, in, turns, °, bar … as it is read.")
    )


class AxisForm(MeasuredForm):
    MEASURED = ("target",)
    name = forms.CharField(
        label=_("Setting"),
        max_length=60,
        help_text=_(
            "A screw or dial of a shaft begins with Top or Bottom, such as “top screw”: then its "
            "last good number is translated after recuts."
        ),
    )
    unit = own_unit()
    target = measured_input(_("Target"))


class CharacteristicForm(MeasuredForm):
    MEASURED = ("nominal", "least", "most")
    name = forms.CharField(
        label=_("What is checked"), max_length=80, help_text=_("Such as “web width”.")
    )
    order = whole_number(label=_("Place in the list"), required=False, min_value=1, max_value=99)
    unit = own_unit()
    nominal = measured_input(_("Nominal"))
    least = measured_input(_("Least"))
    most = measured_input(_("Most"))

"""Forms of jobs and kits."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import format_strip_length, parse_strip_length
from tooling.errors import ToolingError
from tooling.models import Job, Mill, Owner, SetVariant, ToolSet
from tooling.web.forms.fields import (
    LengthInput,
    RecordForm,
    place_input,
    plain_number,
    said,
    unit_choice,
)
from tooling.web.forms.moments import MomentInput

STRIP_WIDTH_MM = (5.0, 2500.0)
STRIP_THICKNESS_MM = (0.1, 13.0)


class PlaceForm(RecordForm):
    """Where a kit is gathered."""

    place = place_input(
        label=_("Cart, plate or rack of pegs"),
        help_text=_("Its name or its label code."),
        required=True,
    )


class ProveForm(RecordForm):
    """What the run that proves a set was like."""

    note = forms.CharField(label=_("Note"), required=False, max_length=400)


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
    starts_at = MomentInput(label=_("Starts"))
    hours = plain_number(label=_("Expected hours"), min_value=0.1, max_value=2000, initial=8)
    gathers_at = MomentInput(
        label=_("Kit is gathered from"), required=False,
        help_text=_("Empty: a day before the start."),
    )  # fmt: skip
    due_at = MomentInput(
        label=_("Must have run by"), required=False,
        help_text=_("Empty: when does not matter. The best order of jobs keeps to it."),
    )  # fmt: skip
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


class CancelForm(RecordForm):
    """Calling a job off, which always needs a reason."""

    reason = forms.CharField(
        label=_("Why it is called off"),
        required=False,  # the service says what is missing
        max_length=400,
        help_text=_("Such as: the customer moved the order to another month."),
    )
    HIDDEN = ("sure",)


class EditJob(JobForm):
    """A job that is planned already. Its number stays; while its kit is open, set, variant and
    mill stay too. What was not touched is not sent on: a time keeps its seconds, a length its
    last nanometre."""

    FACTS = ("tool_set", "variant", "mill", "starts_at", "gathers_at", "due_at", "customer", "unit",
             "grade", "coating")  # fmt: skip
    LENGTHS = ("thickness_nm", "width_nm")
    KEPT_BY_KIT = ("tool_set", "variant", "mill")

    def __init__(
        self, *args: Any, job: Job, has_kit: bool, strip_unit: Any = "m", **more: Any
    ) -> None:
        self.job = job
        initial: dict[str, Any] = {name: getattr(job, name) for name in self.FACTS}
        for name in ("starts_at", "gathers_at", "due_at"):
            if initial[name] is not None:
                initial[name] = initial[name].replace(second=0, microsecond=0)
        initial["hours"] = f"{job.hours:g}"
        length = format_strip_length(job.length_nm, strip_unit)
        initial["strip_length"] = f"{length} {strip_unit}" if job.length_nm else ""
        lengths = {name: getattr(job, name) for name in self.LENGTHS}
        more |= {"initial": initial, "lengths": lengths, "unit": job.unit}
        super().__init__(*args, strip_unit=strip_unit, **more)
        sent = any(name in self.data for name in self.KEPT_BY_KIT)
        for name in ("number", *(self.KEPT_BY_KIT if has_kit and not sent else ())):
            del self.fields[name]

    def clean_strip_length(self) -> int:
        if "strip_length" in self.changed_data:
            return super().clean_strip_length()
        return self.job.length_nm

    def changes(self) -> dict[str, Any]:
        """What a clean form changes of the job, by the service's names."""
        touched = set(self.changed_data)
        if "unit" in touched:
            touched |= set(self.LENGTHS)
        wanted = {name: self.cleaned_data[name] for name in touched}
        if "strip_length" in wanted:
            wanted["length_nm"] = wanted.pop("strip_length")
        return wanted

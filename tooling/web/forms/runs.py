"""The form of a run: one number, and below it all that somebody may also know."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import format_strip_length, parse_strip_length
from tooling.errors import ToolingError
from tooling.models import Feed
from tooling.queries.runs import RunView
from tooling.services.run_ways import RunIn
from tooling.web.forms.fields import LengthInput, RecordForm, plain_number, said, whole_number
from tooling.web.forms.moments import moment

KINDS = (("length", _("the length that ran")), ("now", _("what the counter shows now")))
STRIPS = ("length", "counter_start", "scrap", "threading")


def _strip(label: Any, *, required: bool = False, help_text: Any = "") -> forms.CharField:
    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    return forms.CharField(
        label=label, required=required, max_length=40, widget=widget, help_text=help_text
    )


class RunForm(RecordForm):
    """``strip_unit``: the person's m or ft; ``unit``: mm or in, of the strip and the coil."""

    length = _strip(_("Length or counter"))
    kind = forms.ChoiceField(label=_("The number is"), choices=KINDS, required=False)
    parts = whole_number(label=_("Parts"), required=False, min_value=0)
    part_length = LengthInput(label=_("Length of a part"))
    coil = forms.CharField(label=_("Coil"), required=False, max_length=60)
    counter_start = _strip(_("Counter before"), help_text=_("Empty: as the last run left it."))
    feed = forms.ChoiceField(label=_("Strip came"), choices=Feed.choices, required=False)
    entries = whole_number(
        label=_("Times threaded"), required=False, min_value=1, help_text=_("Entries wear too.")
    )
    scrap = _strip(_("Scrap"))
    threading = _strip(_("Threading"))
    strip_class = forms.CharField(
        label=_("Strip"), required=False, max_length=40, help_text=_("Empty: as the job says.")
    )
    thickness = LengthInput(label=_("Thickness as measured"))
    width = LengthInput(label=_("Width"))
    coil_outside = LengthInput(label=_("Coil, outside diameter used up from"))
    coil_inside = LengthInput(label=_("Coil, down to"))
    mass = plain_number(label=_("Mass of the strip (kg)"), required=False)
    pounds_per_inch = plain_number(label=_("Pounds per inch of width"), required=False)
    happened_at = moment(_("Ended"))
    began_at = moment(_("Began"))
    note = forms.CharField(label=_("Note"), required=False, max_length=400)
    sure = forms.BooleanField(label=_("It is right: I looked again"), required=False)

    def __init__(
        self, *args: Any, strip_unit: Any, from_counter: bool = False, **more: Any
    ) -> None:
        self.strip_unit = strip_unit
        super().__init__(*args, **more)
        for name in STRIPS:
            self.fields[name].label = f"{self.fields[name].label} ({strip_unit})"
        self.initial.setdefault("kind", "now" if from_counter else "length")
        self.initial.setdefault("entries", 1)
        self.initial.setdefault("feed", Feed.COIL)

    @property
    def more_fields(self) -> list[Any]:
        """All but the one number and what is asked about it."""
        return [self[name] for name in self.fields if name not in ("length", "kind", "sure")]

    @property
    def has_more_errors(self) -> bool:
        return any(each.errors for each in self.more_fields)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        strips = {name: self._read_strip(name, cleaned.get(name) or "") for name in STRIPS}
        is_now = cleaned.get("kind") == "now"
        number, start = strips["length"], strips["counter_start"]
        is_span = is_now or start is not None
        cleaned["said"] = RunIn(
            length_nm=None if is_span else number,
            counter_now_nm=number if is_span else None,
            counter_start_nm=start,
            parts=cleaned.get("parts"),
            part_nm=cleaned.get("part_length"),
            coil_outside_nm=cleaned.get("coil_outside"),
            coil_inside_nm=cleaned.get("coil_inside"),
            mass_kg=cleaned.get("mass"),
            lb_per_in=cleaned.get("pounds_per_inch"),
            scrap_nm=strips["scrap"] or 0,
            threading_nm=strips["threading"] or 0,
        )
        return cleaned

    def told(self) -> dict[str, Any]:
        """What the service takes besides the length."""
        value = self.cleaned_data.get
        return {
            "coil": value("coil"),
            "strip_class": value("strip_class"),
            "thickness_nm": value("thickness"),
            "width_nm": value("width"),
            "feed": value("feed") or Feed.COIL,
            "entries": value("entries") or 1,
            "unit": self.strip_unit,
            "note": value("note"),
            "happened_at": value("happened_at"),
            "began_at": value("began_at"),
            "sure": value("sure"),
        }

    def _read_strip(self, name: str, text: str) -> int | None:
        if not text.strip():
            return None
        label = str(self.fields[name].label).removesuffix(f" ({self.strip_unit})")
        try:
            return parse_strip_length(text, unit=self.strip_unit, field=label).nm
        except ToolingError as error:
            self.add_error(name, said(error))
            return None


def filled_with(run: RunView, *, strip_unit: Any) -> dict[str, Any]:
    """What the form of a correction begins with: ``initial`` and ``lengths``."""

    def strip(nm: int | None) -> str:
        return "" if not nm else format_strip_length(nm, strip_unit)

    is_span = run.counter_end_nm is not None
    is_counted = run.way == "counter"
    initial = {
        "length": strip(run.counter_end_nm if is_span else run.length_nm) if is_counted else "",
        "kind": "now" if is_span else "length",
        "counter_start": format_strip_length(run.counter_start_nm or 0, strip_unit)
        if is_span else "",
        "parts": run.parts,
        "coil": run.coil,
        "feed": run.feed,
        "entries": run.entries,
        "scrap": strip(run.scrap_nm),
        "threading": strip(run.threading_nm),
        "strip_class": run.strip_class,
        "happened_at": timezone.localtime(run.happened_at),
        "began_at": timezone.localtime(run.began_at) if run.began_at else None,
        "note": run.note,
    }  # fmt: skip
    lengths = {"part_length": run.part_nm, "thickness": run.thickness_nm, "width": run.width_nm}
    return {"initial": initial, "lengths": lengths}

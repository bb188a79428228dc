"""Forms of setups: how one starts, what was set, what the first piece had, the handover."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import format_length, parse_length
from tooling.engineering.written_numbers import read_written
from tooling.errors import ToolingError
from tooling.models import CheckLevel, Gauge, Method
from tooling.queries.as_set import LENGTH_UNITS
from tooling.queries.setup_gaps import EndView, GapsPage, SettingView
from tooling.queries.setup_views import CheckView
from tooling.services.as_set import SetIn
from tooling.services.part_checks import CheckIn
from tooling.web.forms.fields import LengthInput, RecordForm, place_input, said
from tooling.web.forms.kits import STRIP_THICKNESS_MM

END_WORDS = {"inboard": _("Inboard end"), "outboard": _("Outboard end"), "": _("Set to")}
LOADED = [("", _("not said")), ("no", _("unloaded")), ("yes", _("loaded, strip in"))]


class StartForm(RecordForm):
    """How a kit is mounted."""

    plate = place_input(
        label=_("Plate, if it is built off line"),
        required=False,
        help_text=_("Its name or label code; empty: on the mill itself."),
    )
    check_level = forms.ChoiceField(
        label=_("What is scanned at the mill"),
        required=False,
        choices=[("", _("as the mill's setting says")), *CheckLevel.choices],
    )
    is_turned = forms.ChoiceField(
        label=_("Hand"),
        required=False,
        choices=[
            ("", _("as the set's chart says")),
            ("no", _("as drawn")),
            ("yes", _("turned for the other hand")),
        ],
    )

    @property
    def turned(self) -> bool | None:
        text = self.cleaned_data.get("is_turned")
        return None if not text else text == "yes"


class NoteForm(RecordForm):
    """What the next shift must know, or what the run was like."""

    note = forms.CharField(
        label=_("What the next must know"),
        required=False,
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


def _number_input(label: Any, unit: str) -> forms.CharField:
    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    return forms.CharField(
        label=f"{label} ({unit})" if unit else label, required=False, max_length=40, widget=widget
    )


def read_number(text: str, *, unit: str, label: str) -> dict[str, Any]:
    """What was written, as `SetIn` and `CheckIn` take it. Raises as ``parse_length``, and
    ``not_a_number``."""
    if unit in LENGTH_UNITS:
        written = read_written(text)
        length = parse_length(text, unit="in" if unit == "in" else "mm", field=label, signed=True)
        return {
            "value_nm": length.nm,
            "unit": length.unit_written,
            "unit_is_written": written is not None and bool(written.unit),
        }
    try:
        return {"value": float(text.replace(",", ".")), "unit": unit}
    except ValueError:
        raise ToolingError(
            "not_a_number", _("“{text}” is no number."), text=text[:20], in_field=label
        ) from None


class GapsForm(RecordForm):
    """Both ends of a station's gap, its other axes, and one more that nobody charted. Filled in
    with what was set last, else with the target; ``unit`` is the person's."""

    method = forms.ChoiceField(label=_("Found with"), choices=Method.choices)
    loaded = forms.ChoiceField(label=_("Mill"), required=False, choices=LOADED)
    sure = forms.BooleanField(label=_("It is right"), required=False)
    more_name = forms.CharField(label=_("Another setting"), required=False, max_length=60)
    more_value = _number_input(_("Set to"), "")
    more_unit = forms.CharField(label=_("Unit"), required=False, max_length=12)

    def __init__(self, *args: Any, page: GapsPage, **more: Any) -> None:
        self.page = page
        self.asked: dict[str, tuple[SettingView, EndView, str]] = {}
        super().__init__(*args, **more)
        numbers: dict[str, forms.Field] = {}
        for n, setting in enumerate(page.settings):
            unit = self.unit if setting.is_length else setting.unit
            for end in setting.ends:
                name = (
                    end.end if not setting.name else f"axis-{n}{'-' + end.end if end.end else ''}"
                )
                label = END_WORDS[end.end] if not setting.name else setting.name
                numbers[name] = _number_input(label, unit)
                self.initial.setdefault(name, _shown(setting, end, unit))
                self.asked[name] = (setting, end, unit)
        self.fields = {**numbers, **self.fields}
        gap = page.gap
        last = next((end for end in gap.ends if end.is_set), None)
        self.initial.setdefault("method", last.method if last else gap.method or Method.FEELER)
        is_loaded = last.is_loaded if last else gap.is_loaded
        self.initial.setdefault("loaded", {None: "", True: "yes", False: "no"}[is_loaded])

    @property
    def number_fields(self) -> list[Any]:
        return [self[name] for name in self.asked]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        numbers: list[SetIn] = []
        for name, (setting, end, unit) in self.asked.items():
            text = str(cleaned.get(name) or "").strip()
            is_shown = not self._is_new(name, text) and setting.name
            if text and not is_shown:
                self._read(numbers, name, text, unit, name=setting.name, end=end.end)
        self._read_more(numbers, cleaned)
        cleaned["numbers"] = numbers
        loaded = cleaned.get("loaded")
        cleaned["is_loaded"] = None if not loaded else loaded == "yes"
        return cleaned

    def _is_new(self, name: str, text: str) -> bool:
        return text != str(self.initial.get(name) or "")

    def _read_more(self, numbers: list[SetIn], cleaned: dict[str, Any]) -> None:
        text = str(cleaned.get("more_value") or "").strip()
        if text:
            unit = str(cleaned.get("more_unit") or "").strip() or self.unit
            name = str(cleaned.get("more_name") or "").strip()
            if not name:
                error = ToolingError("empty_text", _("Say what was set."))
                self.add_error("more_name", said(error))
                return
            self._read(numbers, "more_value", text, unit, name=name, end="")

    def _read(
        self, numbers: list[SetIn], field: str, text: str, unit: str, *, name: str, end: str
    ) -> None:
        label = str(self.fields[field].label)
        try:
            numbers.append(SetIn(end=end, name=name, **read_number(text, unit=unit, label=label)))
        except ToolingError as error:
            self.add_error(field, said(error))


def _shown(setting: SettingView, end: EndView, unit: str) -> str:
    """What a field begins with."""
    nm = end.value_nm if end.is_set else setting.target_nm
    if setting.is_length:
        return "" if nm is None else format_length(nm, "in" if unit == "in" else "mm")
    value = end.value if end.is_set else setting.target
    return "" if value is None else f"{value:g}"


class StripForm(RecordForm):
    """The strip as it was measured on the mill."""

    thickness_nm = LengthInput(
        label=_("Strip thickness"), usual_mm=STRIP_THICKNESS_MM, required=True,
        help_text=_("Over its coating, with a micrometer, away from the edge."),
    )  # fmt: skip
    width_nm = LengthInput(label=_("Strip width, if measured"))
    coil = forms.CharField(label=_("Coil"), required=False, max_length=60)
    gauge = forms.ModelChoiceField(
        label=_("Gauge"), queryset=Gauge.objects.none(), required=False,
        empty_label=_("not said"),
    )  # fmt: skip
    sure = forms.BooleanField(label=_("It is right"), required=False)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["gauge"].queryset = Gauge.objects.order_by("number")  # type: ignore[attr-defined]


class ChecksForm(RecordForm):
    """Every characteristic of the set: what was measured, or good and not good."""

    def __init__(self, *args: Any, checks: tuple[CheckView, ...], **more: Any) -> None:
        self.checks = checks
        super().__init__(*args, **more)
        for each in checks:
            unit = self.unit if each.is_length else each.unit
            self.fields[f"value-{each.id}"] = _number_input(each.name, unit)
            self.fields[f"good-{each.id}"] = forms.ChoiceField(
                label=_("Judged"),
                required=False,
                choices=[("", _("by the number")), ("yes", _("good")), ("no", _("not good"))],
            )

    @property
    def rows(self) -> list[tuple[CheckView, Any, Any]]:
        return [(c, self[f"value-{c.id}"], self[f"good-{c.id}"]) for c in self.checks]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        found = []
        for each in self.checks:
            name = f"value-{each.id}"
            text = str(cleaned.get(name) or "").strip()
            good = cleaned.get(f"good-{each.id}")
            if not text and not good:
                continue
            try:
                unit = self.unit if each.is_length else each.unit
                number = read_number(text, unit=unit, label=each.name) if text else {}
            except ToolingError as error:
                self.add_error(name, said(error))
                continue
            found.append(
                CheckIn(
                    each.name,
                    number.get("value_nm"),
                    number.get("value"),
                    None if not good else good == "yes",
                )
            )
        cleaned["checks"] = found
        return cleaned

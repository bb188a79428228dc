"""Fields that read the trade's way of writing, and the form that keeps what was typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import NM_PER_MM, format_length, parse_length
from tooling.engineering.money import parse_money, plain_money
from tooling.errors import ToolingError
from tooling.models import Person, Place, Unit
from tooling.queries.find import find_drawing, find_piece, find_place
from tooling.spreadsheets.kinds.words import USUAL_MM


def unit_of(person: Person | Any, drawn_in: str) -> Any:
    """The unit in which a person reads and writes a record's lengths."""
    chosen = getattr(person, "length_unit", "drawn")
    return chosen if chosen in ("mm", "in") else drawn_in or "mm"


def said(error: ToolingError) -> ValidationError:
    """A stated problem as a form shows it, its code kept for programs and tests."""
    return ValidationError(error.message, code=error.code)


class LengthInput(forms.CharField):
    """A length; its value is whole nm once the form is clean."""

    def __init__(
        self,
        *,
        label: Any,
        usual_mm: tuple[float, float] | None = None,
        signed: bool = False,
        required: bool = False,
        **more: Any,
    ) -> None:
        widget = forms.TextInput(attrs={"autocomplete": "off", "inputmode": "text"})
        super().__init__(label=label, required=required, max_length=40, widget=widget, **more)
        self.signed = signed
        self.expected_nm = (
            (round(usual_mm[0] * NM_PER_MM), round(usual_mm[1] * NM_PER_MM)) if usual_mm else None
        )


class LengthsInput(forms.CharField):
    """Several lengths, apart by semicolons or spaces; their value is whole nm in their order."""

    def __init__(self, *, label: Any, unit: Any, longest: int = 1_000, **more: Any) -> None:
        widget = forms.TextInput(attrs={"autocomplete": "off", "inputmode": "text"})
        more.setdefault("help_text", _("One after the other, with a space or semicolon between."))
        super().__init__(label=label, max_length=longest, widget=widget, **more)
        self.unit = unit

    def clean(self, value: Any) -> list[int]:
        text = super().clean(value)
        found = []
        for each in text.replace(";", " ").split():
            try:
                found.append(parse_length(each, unit=self.unit, field=str(self.label)).nm)
            except ToolingError as error:
                raise said(error)
        return found

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, str) or value is None:
            return value
        return "; ".join(format_length(nm, self.unit) for nm in value)


def dimension_input(name: str, label: Any, **more: Any) -> LengthInput:
    """One of the eight dimensions with its usual range."""
    return LengthInput(label=label, usual_mm=USUAL_MM[name], signed=name == "guide_offset", **more)


class MoneyInput(forms.CharField):
    """An amount in the shop's currency; its value is whole hundredths."""

    def __init__(self, **more: Any) -> None:
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(max_length=30, widget=widget, **more)

    def clean(self, value: Any) -> int | None:
        text = super().clean(value)
        try:
            return parse_money(text) if text else None
        except ToolingError as error:
            raise said(error)

    def prepare_value(self, value: Any) -> Any:
        return plain_money(value) if isinstance(value, int) else value


class FoundInput(forms.CharField):
    """A row named by what people call it; its value is the row."""

    def __init__(self, *, find: Callable[[str], Any], **more: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"autocomplete": "off"}), **more)
        self.find = find

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            return self.find(text)
        except ToolingError as error:
            raise said(error)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, Place):
            return value.path_name
        return str(getattr(value, "number", None) or getattr(value, "code", None) or value or "")


def place_input(**more: Any) -> FoundInput:
    more.setdefault("label", _("Place"))
    more.setdefault("help_text", _("Its name, such as Rack A / Shelf 3, or its label code."))
    return FoundInput(find=find_place, max_length=600, **more)


def drawing_input(**more: Any) -> FoundInput:
    more.setdefault("label", _("Drawing"))
    return FoundInput(find=find_drawing, max_length=40, **more)


def piece_input(**more: Any) -> FoundInput:
    more.setdefault("label", _("Piece"))
    more.setdefault("help_text", _("Its label code, mark or old number."))
    return FoundInput(find=find_piece, max_length=40, **more)


class RecordForm(forms.Form):
    """A form of a record: lengths in the person's unit, a service's refusal in its place.

    ``unit`` is meant where the form has no unit field of its own. A length that is shown rounded
    and was not touched keeps its exact value. Fields ``reason`` and ``sure`` stay hidden until a
    service asks for them.
    """

    HIDDEN: tuple[str, ...] = ("reason", "sure")

    def __init__(self, *args: Any, unit: Any = "mm", lengths: Any = None, **more: Any) -> None:
        self.unit = unit
        self.lengths_nm: dict[str, int] = {
            name: nm for name, nm in (lengths or {}).items() if nm is not None
        }
        initial = dict(more.pop("initial", None) or {})
        for name, nm in self.lengths_nm.items():
            initial[name] = format_length(nm, unit)
        more["initial"] = initial
        super().__init__(*args, **more)
        self.shown = {name: initial[name] for name in self.lengths_nm}
        for name, field in self.fields.items():
            if isinstance(field, LengthInput) and "unit" not in self.fields:
                field.label = f"{field.label} ({unit})"
            if name in self.HIDDEN and not self.data.get(name):
                field.widget = forms.HiddenInput()

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        unit = cleaned.get("unit") or self.unit
        for name, field in self.fields.items():
            if isinstance(field, LengthInput) and name in cleaned:
                cleaned[name] = self._length(name, field, cleaned[name], unit)
        return cleaned

    def _length(self, name: str, field: LengthInput, text: str, unit: Any) -> int | None:
        text = text.strip()
        if not text:
            return None
        if name in self.shown and text == self.shown[name] and unit == self.unit:
            return self.lengths_nm[name]
        label = str(field.label).removesuffix(f" ({self.unit})")
        try:
            length = parse_length(
                text, unit=unit, field=label, expected_nm=field.expected_nm, signed=field.signed
            )
        except ToolingError as error:
            self.add_error(name, said(error))
            return None
        return length.nm

    def refuse(self, error: ToolingError) -> None:
        """Show a service's refusal at the field it is about, and the field it asks for."""
        where = error.values.get("in_field")
        asks = error.values.get("asks")
        if asks in self.fields:
            is_tick = isinstance(self.fields[asks], forms.BooleanField)
            self.fields[asks].widget = forms.CheckboxInput() if is_tick else forms.TextInput()
        self.add_error(where if where in self.fields else None, said(error))


def unit_choice(**more: Any) -> forms.ChoiceField:
    more.setdefault("label", _("Unit"))
    return forms.ChoiceField(choices=Unit.choices, **more)


def whole_number(**more: Any) -> forms.IntegerField:
    """A count; typed, without the browser's little arrows that a wheel changes by accident."""
    widget = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})
    return forms.IntegerField(widget=widget, **more)


def plain_number(**more: Any) -> forms.FloatField:
    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    return forms.FloatField(widget=widget, **more)


def day(**more: Any) -> forms.DateField:
    return forms.DateField(
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **more
    )


def reason_input() -> forms.CharField:
    return forms.CharField(label=_("Reason"), required=False, max_length=400)

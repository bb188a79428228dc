"""Forms of orders for work on pieces."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.models import Gauge, WorkKind
from tooling.queries.find import find_copy
from tooling.queries.print_limits import LABELS
from tooling.queries.regrind_order_views import JobChoice, SizeView
from tooling.queries.regrind_orders import VendorChoice
from tooling.services.regrind_targets import Target
from tooling.web.forms.fields import (
    FoundInput,
    LengthInput,
    MoneyInput,
    RecordForm,
    day,
    dimension_input,
    piece_input,
    place_input,
    reason_input,
)

TURNS = ("strip", "rebore", "regrind", "recontour", "face", "polish", "plate", "remark")
"""Chrome comes off before the cut and goes on after it; the mark is last."""
ORDERED = [(turn, WorkKind(turn).label) for turn in TURNS]
CUT_LENGTH = (0.01, 20.0)
TOLERANCE = (0.0, 1.0)


def _kinds() -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        label=_("Work, in this order"),
        choices=ORDERED,
        widget=forms.CheckboxSelectMultiple,
        initial=[WorkKind.REGRIND],
    )


def _in_order(kinds: Iterable[str]) -> list[str]:
    """As it is done, whatever the order of the ticks."""
    return sorted(kinds, key=TURNS.index)


class OrderHeadForm(RecordForm):
    """Who does it, until when, for what price."""

    vendor = forms.ChoiceField(label=_("Who does it"), required=False)
    due_on = day(label=_("Due back"), required=False)
    price_cents = MoneyInput(label=_("Price, all of it"), required=False)
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    def __init__(self, *args: Any, vendors: Sequence[VendorChoice], **more: Any) -> None:
        super().__init__(*args, **more)
        here = [("", _("in this shop"))]
        self.fields["vendor"].choices = here + [(v.code, v.name) for v in vendors]  # type: ignore[attr-defined]


class NewOrderForm(OrderHeadForm):
    """An order: pieces by code or mark, those of a set, or those that a plan cuts."""

    codes = forms.CharField(
        label=_("Pieces: codes or marks, one after the other"),
        required=False,
        max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 3, "autocapitalize": "characters"}),
    )
    copy = FoundInput(
        find=find_copy,
        label=_("Or every roll of a set"),
        required=False,
        max_length=40,
        help_text=_("The set's number and the letter, such as 1472-A."),
    )
    plan = forms.CharField(label=_("Or what a regrind plan cuts"), required=False, max_length=20)
    kinds = _kinds()
    take_off = LengthInput(
        label=_("Comes off, on diameter"),
        usual_mm=CUT_LENGTH,
        help_text=_("The same off every piece; targets of single pieces are changed on the order."),
    )
    tolerance = LengthInput(
        label=_("Within, each way"), usual_mm=TOLERANCE,
        help_text=_("Empty: as the shop's settings say."),
    )  # fmt: skip
    leave_out = forms.BooleanField(
        label=_("Leave out what is lost or on another order, and order the rest"), required=False
    )
    HIDDEN = ("leave_out",)
    field_order = ("codes", "copy", "plan", "leave_out", "kinds", "take_off", "tolerance", "vendor",
                   "due_on", "price_cents", "note")  # fmt: skip

    def clean_kinds(self) -> list[str]:
        return _in_order(self.cleaned_data["kinds"])

    def clean_codes(self) -> list[str]:
        text = self.cleaned_data["codes"].replace(",", "\n").replace(";", "\n")
        lines = [line.strip() for line in text.splitlines()]
        return list(dict.fromkeys(line for line in lines if line))


class AddPieceForm(RecordForm):
    """One more piece."""

    piece = piece_input()
    kinds = _kinds()
    take_off = LengthInput(label=_("Comes off, on diameter"), usual_mm=CUT_LENGTH)
    tolerance = LengthInput(label=_("Within, each way"), usual_mm=TOLERANCE)
    note = forms.CharField(label=_("Note"), required=False, max_length=300)

    def clean_kinds(self) -> list[str]:
        return _in_order(self.cleaned_data["kinds"])


class LineForm(RecordForm):
    """Work and targets of one piece: each dimension with how much it may be under and over."""

    HIDDEN = ()
    kinds = _kinds()
    mark_to_restore = forms.BooleanField(label=_("The mark is to be restored"), required=False)
    note = forms.CharField(label=_("Note"), required=False, max_length=300)
    reason = reason_input()

    def __init__(
        self, *args: Any, names: Sequence[str], asks_reason: bool = False, **more: Any
    ) -> None:
        self.names = tuple(names)
        super().__init__(*args, **more)
        if not asks_reason:
            self.fields["reason"].widget = forms.HiddenInput()
        for name in self.names:
            label = f"{LABELS[name]} ({self.unit})"
            self.fields[f"target_{name}"] = dimension_input(name, label)
            for side, word in (("minus", _("under")), ("plus", _("over"))):
                label = _("{dimension}, {word} by").format(dimension=LABELS[name], word=word)
                self.fields[f"{side}_{name}"] = LengthInput(label=label, usual_mm=TOLERANCE)
        for name, text in self.shown.items():
            if name in self.fields:
                self.initial.setdefault(name, text)

    def clean_kinds(self) -> list[str]:
        return _in_order(self.cleaned_data["kinds"])

    def targets(self) -> dict[str, Target]:
        """Dimension → target, of what was filled in."""
        values = self.cleaned_data
        return {
            name: Target(
                values[f"target_{name}"], values.get(f"minus_{name}") or 0,
                values.get(f"plus_{name}") or 0,
            )
            for name in self.names
            if values.get(f"target_{name}") is not None
        }  # fmt: skip

    def rows(self) -> list[tuple[Any, Any, Any]]:
        """Target, under, over: the bound fields of each dimension."""
        return [
            (self[f"target_{name}"], self[f"minus_{name}"], self[f"plus_{name}"])
            for name in self.names
        ]


class BackForm(RecordForm):
    """What came back: one scan after the other."""

    code = forms.CharField(label=_("What came back: code or mark"), max_length=60)
    to = place_input(label=_("Put to"), required=False)
    done_on = day(label=_("Day of the work"), required=False)
    cost_cents = MoneyInput(label=_("Cost of each"), required=False)
    not_done = forms.BooleanField(
        label=_("It came back as it was: it leaves the order"), required=False
    )
    reason = reason_input()
    HIDDEN = ()


class MeasureForm(RecordForm):
    """What a piece measures after the work."""

    gauge = forms.ModelChoiceField(
        label=_("Gauge"), queryset=Gauge.objects.none(), required=False, empty_label=_("not said"),
        to_field_name="number",
    )  # fmt: skip
    over_chrome = forms.BooleanField(label=_("Measured over chrome"), required=False)
    sure = forms.BooleanField(label=_("It is right: I measured again"), required=False)
    HIDDEN = ("sure",)

    def __init__(self, *args: Any, sizes: Sequence[SizeView], **more: Any) -> None:
        super().__init__(*args, **more)
        self.sizes = tuple(sizes)
        self.fields["gauge"].queryset = Gauge.objects.order_by("number")  # type: ignore[attr-defined]
        for size in sizes:
            field = dimension_input(size.name, size.label)
            field.widget.attrs.update({"inputmode": "decimal", "data-enter-next": ""})
            self.fields[size.name] = field

    def measured(self) -> dict[str, int]:
        """Dimension → nm, of what was filled in."""
        return {
            size.name: value
            for size in self.sizes
            if (value := self.cleaned_data.get(size.name)) is not None
        }


class ReleaseForm(RecordForm):
    """The release; the reason is asked for where an engineer may sign one."""

    reason = reason_input()
    version = forms.IntegerField(widget=forms.HiddenInput, required=False)


class ForJobForm(RecordForm):
    """The release for one job."""

    HIDDEN = ()
    job = forms.ChoiceField(label=_("For job"))
    reason = reason_input()

    def __init__(self, *args: Any, jobs: Sequence[JobChoice], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["job"].choices = [(job.number, job.name) for job in jobs]  # type: ignore[attr-defined]


class DropForm(RecordForm):
    """Dropping an order."""

    HIDDEN = ()
    reason = reason_input()

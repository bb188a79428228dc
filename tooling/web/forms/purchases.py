"""Forms of orders for new tooling, of what comes in against them, and of measuring it to print."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.models import DrawingRevision, Gauge, Owner, PurchaseLine
from tooling.queries.find import find_copy
from tooling.queries.print_limits import Limit
from tooling.web.forms.fields import (
    FoundInput,
    RecordForm,
    day,
    dimension_input,
    drawing_input,
    place_input,
    reason_input,
    whole_number,
)


class PurchaseForm(RecordForm):
    """A new order."""

    number = forms.CharField(label=_("Order number"), max_length=30)
    vendor = forms.CharField(label=_("Vendor"), max_length=120)
    owner = forms.ModelChoiceField(label=_("For whom"), queryset=Owner.objects.none())
    ordered_on = day(label=_("Ordered on"))
    due_on = day(label=_("Due on"), required=False)
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["owner"].queryset = Owner.objects.order_by("-is_shop", "name")  # type: ignore[attr-defined]


class EditPurchase(PurchaseForm):
    """What may change of an order; its number stays."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        del self.fields["number"]


class LineForm(RecordForm):
    """One line of an order."""

    drawing = drawing_input()
    revision = forms.CharField(
        label=_("Revision"),
        required=False,
        max_length=10,
        help_text=_("Blank: the current one."),
    )
    quantity = whole_number(label=_("How many"), min_value=1)
    is_counted = forms.BooleanField(
        label=_("Comes into a bin by count, without codes"), required=False
    )
    set_copy = FoundInput(
        find=find_copy,
        label=_("For copy"),
        required=False,
        max_length=40,
        help_text=_("The set's number and the letter, such as 1472-A."),
    )
    mark = forms.CharField(label=_("Mark to stamp"), required=False, max_length=40, empty_value="")
    price = forms.CharField(
        label=_("Price of one"),
        required=False,
        max_length=30,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    reason = reason_input()


class CloseOrderForm(RecordForm):
    """Closing an order; one that is short needs a reason."""

    reason = forms.CharField(label=_("Reason, if it is short"), required=False, max_length=400)
    HIDDEN = ()


class ReceiveForm(RecordForm):
    """One piece, or so many of a count, with the papers that came with it."""

    place = place_input(label=_("Where it goes"))
    quantity = whole_number(label=_("How many"), min_value=1)
    mark = forms.CharField(label=_("Mark on it"), required=False, max_length=40)
    copy_letter = forms.CharField(label=_("Copy"), required=False, max_length=4)
    revision = forms.ModelChoiceField(
        label=_("Revision on it"), queryset=DrawingRevision.objects.none()
    )
    heat_lot = forms.CharField(label=_("Heat lot"), required=False, max_length=40)
    same_certificate = forms.BooleanField(label=_("The same certificate"), required=False)
    certificate = forms.FileField(label=_("Certificate, a PDF"), required=False)
    note = forms.CharField(label=_("Note"), required=False, max_length=300)
    id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, line: PurchaseLine, certificate: str, **more: Any) -> None:
        super().__init__(*args, **more)
        revisions = line.revision.drawing.revisions.order_by("-pk")
        self.fields["revision"].queryset = revisions  # type: ignore[attr-defined]
        self.fields["revision"].label_from_instance = lambda row: row.revision  # type: ignore[attr-defined]
        self.fields["certificate"].widget.attrs["accept"] = "application/pdf"
        self.initial.setdefault("id", uuid.uuid4())
        if certificate:
            label = _("The same certificate: {name}").format(name=certificate)
            self.fields["same_certificate"].label = label
        for name in self._not_asked(line, certificate):
            del self.fields[name]

    @staticmethod
    def _not_asked(line: PurchaseLine, certificate: str) -> Sequence[str]:
        same = () if certificate else ("same_certificate",)
        return (*same, "mark", "copy_letter") if line.is_counted else (*same, "quantity")


class InspectForm(RecordForm):
    """What a received piece measures: one field for each drawn dimension."""

    gauge = forms.ModelChoiceField(
        label=_("Gauge"), queryset=Gauge.objects.none(), required=False, empty_label=_("not said")
    )
    reason = forms.CharField(
        label=_("If it is not to print, or not measured: why"), required=False, max_length=200
    )
    sure = forms.BooleanField(label=_("It is right: I measured again"), required=False)
    HIDDEN = ("sure",)

    def __init__(self, *args: Any, limits: Sequence[Limit], **more: Any) -> None:
        super().__init__(*args, **more)
        self.limits = tuple(limits)
        self.fields["gauge"].queryset = Gauge.objects.order_by("number")  # type: ignore[attr-defined]
        for limit in limits:
            field = dimension_input(limit.name, limit.label)
            field.widget.attrs.update({"inputmode": "decimal", "data-enter-next": ""})
            self.fields[limit.name] = field

    def measured(self) -> dict[str, int]:
        """Dimension → nm, of what was filled in."""
        return {
            limit.name: value
            for limit in self.limits
            if (value := self.cleaned_data.get(limit.name)) is not None
        }

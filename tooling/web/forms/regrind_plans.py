"""Forms of regrind plans: which copies, the plan's own settings and prices, one piece settled."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.models import SetCopy
from tooling.queries.regrind_asks import PRICES, Asks, PinAsked, PinKind
from tooling.queries.regrind_plan_views import PlanPage
from tooling.queries.regrind_plans import CopyChoice
from tooling.web.forms.fields import LengthInput, MoneyInput, RecordForm, plain_number, whole_number

LENGTHS = ("allowance_nm", "step_nm", "usual_stock_nm", "least_wall_nm")
PLAIN = ("face_from_degrees", "ratio_percent", "horizon_days")
PINS = [
    ("", _("as the plan finds best")),
    ("leave", _("leave it")),
    ("cut", _("cut it, or replace it where no cut will do")),
    ("cut_to", _("cut it to")),
    ("face", _("face it and leave its diameters")),
    ("replace", _("replace it")),
]


class NewPlanForm(RecordForm):
    copies = forms.MultipleChoiceField(
        label=_("Sets to recut"),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose at least one.")},
    )
    name = forms.CharField(label=_("Name"), max_length=120, required=False)

    def __init__(self, *args: Any, choices: tuple[CopyChoice, ...], **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["copies"].choices = [  # type: ignore[attr-defined]
            (str(each.id), f"{each.name} {each.set_name}") for each in choices
        ]

    def chosen(self) -> list[SetCopy]:
        """The copies, once the form is clean."""
        rows = SetCopy.objects.select_related("tool_set").in_bulk(
            [int(each) for each in self.cleaned_data["copies"]]
        )
        return list(rows.values())


class PlanSettingsForm(RecordForm):
    """A setting that is as the shop has it stays the shop's."""

    allowance_nm = LengthInput(label=_("Cut below the deepest wear by, on radius"))
    step_nm = LengthInput(label=_("Grinder's step, on diameter"))
    usual_stock_nm = LengthInput(label=_("Usual stock per cut, on diameter"))
    least_wall_nm = LengthInput(label=_("Wall to leave over the key corner"))
    face_from_degrees = plain_number(label=_("Faces are faced from (°)"), required=False)
    ratio_percent = plain_number(label=_("Ratio may be off by (%)"), required=False)
    horizon_days = whole_number(label=_("Look ahead (days)"), required=False)
    setup_cents = MoneyInput(label=_("Setting up, each piece"), required=False)
    cents_per_mm = MoneyInput(label=_("Cutting, each mm on diameter"), required=False)
    face_cents = MoneyInput(label=_("Facing, each piece"), required=False)
    new_cents = MoneyInput(
        label=_("A new roll"),
        required=False,
        help_text=_("Where its drawing has no price of its own."),
    )
    counts_life = forms.BooleanField(label=_("Count the life that is cut away"), required=False)
    no_new = forms.BooleanField(label=_("Replace nothing"), required=False)
    keeps_slack = forms.BooleanField(
        label=_("Steps that are slack today may stay; I sign for them"), required=False
    )
    hold_others = forms.BooleanField(
        label=_("Keep other sets true that share a piece"), required=False
    )

    def __init__(self, *args: Any, page: PlanPage, **more: Any) -> None:
        worth = {each.name: each.value for each in page.settings}
        flags = ("counts_life", "no_new", "keeps_slack", "hold_others")
        initial = {name: getattr(page.asks, name) for name in flags}
        initial |= {name: page.asks.prices.get(name) for name in PRICES}
        initial |= {name: _plain(worth[name]) for name in PLAIN}
        lengths = {name: int(worth[name]) for name in LENGTHS}
        super().__init__(*args, lengths=lengths, initial=initial, **more)
        self.worth, self.page = worth, page

    def asked(self) -> Asks:
        """What is asked now; what was settled for pieces stays."""
        cleaned, before = self.cleaned_data, self.page.asks
        own = {
            name: float(cleaned[name])
            for name in (*LENGTHS, *PLAIN)
            if cleaned.get(name) is not None
            and (name in before.own or cleaned[name] != self.worth[name])
        }
        prices = {name: cleaned[name] for name in PRICES if cleaned.get(name) is not None}
        flags = {name: bool(cleaned[name]) for name in
                 ("counts_life", "no_new", "keeps_slack", "hold_others")}  # fmt: skip
        return Asks(own=own, prices=prices, pins=before.pins, **flags)


def _plain(value: float) -> str:
    return f"{value:g}"


class PinForm(RecordForm):
    piece = forms.CharField(max_length=40, widget=forms.HiddenInput)
    kind = forms.ChoiceField(label=_("Settle it"), choices=PINS, required=False)
    nm = LengthInput(label=_("Drive diameter"))

    def pin(self) -> PinAsked | None:
        """What is settled; None: open again."""
        kind = self.cleaned_data["kind"]
        if not kind:
            return None
        return PinAsked(cast(PinKind, kind), self.cleaned_data.get("nm"))

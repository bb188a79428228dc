"""Forms about pieces and stock."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import parse_strip_length
from tooling.errors import ToolingError
from tooling.models import (
    DIMENSIONS,
    Condition,
    DrawingRevision,
    Gauge,
    MarkPlace,
    Owner,
    Piece,
    WorkKind,
)
from tooling.queries.piece_page import SIZES
from tooling.services.lengths_run import MOST_STROKES
from tooling.web.forms.fields import (
    MoneyInput,
    RecordForm,
    day,
    dimension_input,
    drawing_input,
    place_input,
    plain_number,
    reason_input,
    said,
    whole_number,
)
from tooling.web.forms.moments import moment

LABELS = dict(SIZES)
FOUND = [
    ("", _("Choose")),
    *(each for each in Condition.choices if each[0] not in (Condition.HOLD, Condition.NEW)),
]
CONDITIONS = [choice for choice in Condition.choices if choice[0] != Condition.HOLD]


class _Facts(RecordForm):
    """What both a new piece and an old one have; the sizes as made come last."""

    mark = forms.CharField(label=_("Mark"), required=False, max_length=40)
    copy_letter = forms.CharField(
        label=_("Copy"),
        required=False,
        max_length=4,
        help_text=_("Tells pieces with the same mark apart: A, B …"),
    )
    mark_place = forms.ChoiceField(
        label=_("Where the mark is"), choices=MarkPlace.choices, initial=MarkPlace.OUTBOARD
    )
    owner = forms.ModelChoiceField(label=_("Owner"), queryset=Owner.objects.none())
    value_cents = MoneyInput(
        label=_("Value"), required=False, help_text=_("In the shop's currency, for the insurer.")
    )
    heat_lot = forms.CharField(label=_("Heat lot"), required=False, max_length=40)
    hardness_hrc = plain_number(label=_("Hardness, HRC"), required=False, min_value=0, max_value=75)
    weighed_g = whole_number(
        label=_("Weighed, g"), required=False, min_value=1, max_value=5_000_000
    )
    over_chrome = forms.BooleanField(label=_("Diameters are over chrome"), required=False)
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["owner"].queryset = Owner.objects.order_by("-is_shop", "name")  # type: ignore[attr-defined]
        for name in DIMENSIONS:
            field = dimension_input(name, f"{LABELS[name]} ({self.unit})")
            self.fields[f"made_{name}_nm"] = field
            if f"made_{name}_nm" in self.lengths_nm:
                field.initial = self.initial[f"made_{name}_nm"]
        self.fields["reason"] = reason_input()
        if not self.data.get("reason"):
            self.fields["reason"].widget = forms.HiddenInput()

    @property
    def made(self) -> list[Any]:
        """The fields of sizes as made."""
        return [self[f"made_{name}_nm"] for name in DIMENSIONS]

    @property
    def facts(self) -> list[Any]:
        """All other fields that are shown."""
        made = {f"made_{name}_nm" for name in DIMENSIONS}
        return [field for field in self if field.name not in made]


class NewPieces(_Facts):
    """One or more pieces of a drawing."""

    drawing = drawing_input()
    place = place_input()
    count = whole_number(label=_("How many"), initial=1, min_value=1, max_value=500)
    condition = forms.ChoiceField(label=_("Condition"), choices=CONDITIONS, initial="sound")
    seen = forms.BooleanField(
        label=_("I have them in hand"),
        required=False,
        initial=True,
        help_text=_("Leave out for what is only on paper: kits say “not yet seen” until then."),
    )
    field_order = ("drawing", "place", "count", "mark", "copy_letter", "owner", "condition")


class EditPiece(_Facts):
    """What an edit may change of a piece."""

    revision = forms.ModelChoiceField(
        label=_("Made to revision"), queryset=DrawingRevision.objects.none()
    )
    condition = forms.ChoiceField(label=_("Condition"), choices=CONDITIONS)
    field_order = ("mark", "copy_letter", "mark_place", "revision", "condition", "owner")

    def __init__(self, *args: Any, piece: Piece, **more: Any) -> None:
        names = ("mark", "copy_letter", "mark_place", "owner", "heat_lot", "hardness_hrc",
                 "weighed_g", "over_chrome", "note", "revision", "condition",
                 "value_cents")  # fmt: skip
        initial = {name: getattr(piece, name) for name in names}
        lengths = {f"made_{name}_nm": getattr(piece, f"made_{name}_nm") for name in DIMENSIONS}
        super().__init__(*args, initial=initial, lengths=lengths, **more)
        revisions = DrawingRevision.objects.filter(drawing=piece.drawing_id).order_by("-pk")
        self.fields["revision"].queryset = revisions  # type: ignore[attr-defined]
        if piece.condition == Condition.HOLD:
            del self.fields["condition"]


class LiftForm(RecordForm):
    condition = forms.ChoiceField(label=_("Found to be"), choices=FOUND)
    reason = forms.CharField(label=_("What was found or done"), max_length=400)
    HIDDEN = ()


class AliasForm(RecordForm):
    text = forms.CharField(label=_("Old number"), max_length=40)


class ReadingForm(RecordForm):
    """One measurement."""

    dimension = forms.ChoiceField(label=_("What was measured"), choices=SIZES)
    value = forms.CharField(
        label=_("Value"),
        max_length=40,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    gauge = forms.ModelChoiceField(
        label=_("Gauge"), queryset=Gauge.objects.none(), required=False, empty_label=_("not said")
    )
    happened_at = moment(_("Measured at"))
    note = forms.CharField(label=_("Note"), required=False, max_length=300)
    sure = forms.BooleanField(label=_("It is right: I measured again"), required=False)

    def __init__(self, *args: Any, at: datetime, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["gauge"].queryset = Gauge.objects.order_by("number")  # type: ignore[attr-defined]
        self.fields["happened_at"].initial = timezone.localtime(at)
        self.fields["value"].label = _("Value ({unit})").format(unit=self.unit)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        name, text = cleaned.get("dimension"), cleaned.get("value")
        if name and text:
            cleaned["as_written"] = text
            field = dimension_input(name, LABELS[name])
            cleaned["value_nm"] = self._length("value", field, text, self.unit)
        return cleaned


class WorkForm(RecordForm):
    """A past piece of work with what it measured before and after."""

    kind = forms.ChoiceField(label=_("What was done"), choices=WorkKind.choices)
    done_on = day(label=_("On"))
    done_by = forms.CharField(label=_("By whom"), required=False, max_length=120)
    revision = forms.ModelChoiceField(
        label=_("Made to revision by it"),
        queryset=DrawingRevision.objects.none(),
        required=False,
        empty_label=_("as before; a recontour: the current one"),
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=300)

    def __init__(self, *args: Any, drawing_id: int, **more: Any) -> None:
        super().__init__(*args, **more)
        revisions = DrawingRevision.objects.filter(drawing=drawing_id).select_related("drawing")
        self.fields["revision"].queryset = revisions.order_by("-pk")  # type: ignore[attr-defined]
        for name in DIMENSIONS:
            for when, word in (("before", _("before")), ("after", _("after"))):
                label = f"{LABELS[name]} {word} ({self.unit})"
                self.fields[f"{name}_{when}"] = dimension_input(name, label)

    @property
    def pairs(self) -> list[tuple[Any, Any, Any]]:
        """Per dimension: its label, the field before and the field after."""
        return [(LABELS[n], self[f"{n}_before"], self[f"{n}_after"]) for n in DIMENSIONS]

    @property
    def facts(self) -> list[Any]:
        return [self[name] for name in ("kind", "done_on", "done_by", "revision", "note")]

    def sizes(self) -> dict[str, tuple[int | None, int | None]]:
        """What was typed, by dimension."""
        value = self.cleaned_data.get
        return {name: (value(f"{name}_before"), value(f"{name}_after")) for name in DIMENSIONS}


class LengthRunForm(RecordForm):
    """Strip length that the piece ran."""

    length = forms.CharField(
        label=_("Strip length"),
        required=False,
        max_length=40,
        help_text=_("In m, km or ft."),
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    strokes = whole_number(
        label=_("Strokes"),
        required=False,
        min_value=0,
        max_value=MOST_STROKES,
        help_text=_("Of line tooling that cuts: how many it made."),
    )
    strip_class = forms.CharField(
        label=_("Strip"), required=False, max_length=40, help_text=_("Such as galvanised.")
    )
    happened_at = moment(_("Until"))
    note = forms.CharField(label=_("Note"), required=False, max_length=200)

    def __init__(
        self, *args: Any, strip_unit: Any, at: datetime, makes_strokes: bool = True, **more: Any
    ) -> None:
        super().__init__(*args, **more)
        self.strip_unit = strip_unit
        if not makes_strokes:
            del self.fields["strokes"]
            self.fields["length"].required = True
        self.fields["happened_at"].initial = timezone.localtime(at)
        self.fields["length"].label = _("Strip length ({unit})").format(unit=strip_unit)

    def clean_strokes(self) -> int:
        return self.cleaned_data["strokes"] or 0

    def clean_length(self) -> int:
        text = self.cleaned_data["length"]
        if not text.strip():
            return 0
        try:
            return parse_strip_length(text, unit=self.strip_unit, field=str(_("Strip length"))).nm
        except ToolingError as error:
            raise said(error)


class StockLineForm(RecordForm):
    """A new bin."""

    drawing = drawing_input()
    place = place_input()
    owner = forms.ModelChoiceField(label=_("Owner"), queryset=Owner.objects.none())
    condition = forms.ChoiceField(label=_("Condition"), choices=CONDITIONS, initial="sound")
    count = whole_number(label=_("How many are in it"), initial=0, min_value=0)
    least_count = whole_number(label=_("Least to keep"), initial=0, min_value=0, required=False)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["owner"].queryset = Owner.objects.order_by("-is_shop", "name")  # type: ignore[attr-defined]


STOCK_VERBS = (
    ("count", _("Counted: so many are there")),
    ("receive", _("Received")),
    ("make", _("Made here")),
    ("use_up", _("Used up")),
    ("scrap", _("Scrapped")),
    ("move", _("Moved to another place")),
)


class StockForm(RecordForm):
    """One change of a count."""

    verb = forms.ChoiceField(label=_("What happened"), choices=STOCK_VERBS)
    quantity = whole_number(label=_("How many"), min_value=0)
    to = place_input(label=_("To"), required=False, help_text=_("Only for what was moved."))
    note = forms.CharField(label=_("Note"), required=False, max_length=200)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if cleaned.get("verb") == "move" and not cleaned.get("to") and "to" not in self.errors:
            self.add_error("to", forms.ValidationError(_("Say where to."), code="required"))
        return cleaned

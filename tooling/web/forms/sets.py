"""Forms of drawings, tool sets and setup charts."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.models import (
    DIMENSIONS,
    DrawingKind,
    Method,
    Mill,
    OldPieces,
    Owner,
    SetCopy,
    SetPass,
    SetupChart,
    SetVariant,
    Shaft,
    Station,
    ToolSet,
)
from tooling.queries.piece_page import HAVE_LEAST, SIZES
from tooling.services.lengths_run import MOST_STROKES
from tooling.web.forms.fields import (
    LengthInput,
    MoneyInput,
    RecordForm,
    day,
    dimension_input,
    drawing_input,
    piece_input,
    place_input,
    plain_number,
    reason_input,
    unit_choice,
    whole_number,
)

HANDS = [("", _("either")), ("left", _("left")), ("right", _("right"))]


class RevisionForm(RecordForm):
    """The sizes of a revision."""

    unit = unit_choice(label=_("Drawn in"))
    issued_on = day(label=_("Issued"), required=False)
    material = forms.CharField(label=_("Material"), required=False, max_length=40)
    bore_class = forms.CharField(
        label=_("Bore class"), required=False, max_length=6, help_text=_("Such as H7.")
    )
    mass_g = whole_number(label=_("Mass, g"), required=False, min_value=1, max_value=5_000_000)
    strokes_to_sharpen = whole_number(
        label=_("Strokes between sharpenings"),
        required=False,
        min_value=1,
        max_value=MOST_STROKES,
        help_text=_("Of line tooling that cuts."),
    )
    new_cost_cents = MoneyInput(
        label=_("What a new one costs"), required=False, help_text=_("In the shop's currency.")
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        for name, label in SIZES:
            self._add(f"{name}_nm", dimension_input(name, label))
        for name, label in SIZES:
            if name in HAVE_LEAST:
                words = _("{dimension}, least allowed").format(dimension=label)
                self._add(f"least_{name}_nm", dimension_input(name, words))
        self._add("plated_thickness_nm", LengthInput(label=_("Plated thickness")))
        depth = _("On radius; a regrind does not go through it.")
        self._add("case_depth_nm", LengthInput(label=_("Hardened so deep"), help_text=depth))
        self.fields["reason"] = reason_input()
        if not self.data.get("reason"):
            self.fields["reason"].widget = forms.HiddenInput()

    def _add(self, name: str, field: LengthInput) -> None:
        self.fields[name] = field
        if name in self.lengths_nm:
            field.initial = self.initial[name]

    @classmethod
    def length_names(cls) -> list[str]:
        least = [f"least_{name}_nm" for name in HAVE_LEAST]
        return [
            *(f"{name}_nm" for name in DIMENSIONS),
            *least,
            "plated_thickness_nm",
            "case_depth_nm",
        ]

    @property
    def sizes(self) -> list[Any]:
        return [self[name] for name in self.length_names()]

    @property
    def facts(self) -> list[Any]:
        names = set(self.length_names())
        return [field for field in self if field.name not in names]


class NewDrawing(RevisionForm):
    number = forms.CharField(label=_("Drawing number"), max_length=40)
    kind = forms.ChoiceField(label=_("Kind"), choices=DrawingKind.choices)
    title = forms.CharField(label=_("Title"), required=False, max_length=120)
    revision = forms.CharField(label=_("Revision"), max_length=10, initial="A")
    field_order = ("number", "kind", "title", "revision", "unit")


class NewRevision(RevisionForm):
    revision = forms.CharField(label=_("Revision"), max_length=10)
    old_pieces = forms.ChoiceField(
        label=_("Pieces made to the revision before"), choices=OldPieces.choices
    )
    field_order = ("revision", "old_pieces", "unit")


class EditRevision(RevisionForm):
    """A revision put right, what it says of older pieces with it."""

    old_pieces = forms.ChoiceField(
        label=_("Pieces made to the revision before"), choices=OldPieces.choices
    )
    field_order = ("old_pieces", "unit")


class TitleForm(RecordForm):
    title = forms.CharField(label=_("Title"), required=False, max_length=120)


class FileForm(RecordForm):
    file = forms.FileField(label=_("PDF, PNG, JPEG, DXF, DWG, STEP or IGES, up to 30 MB"))


class _SetFacts(RecordForm):
    name = forms.CharField(label=_("Profile"), max_length=120)
    revision = forms.CharField(label=_("Revision"), max_length=10, initial="A")
    customer = forms.ModelChoiceField(
        label=_("Customer"), queryset=Owner.objects.none(), required=False
    )
    thickness_least_nm = LengthInput(label=_("Strip thickness, least"), usual_mm=(0.1, 30))
    thickness_most_nm = LengthInput(label=_("Strip thickness, most"), usual_mm=(0.1, 30))
    grades = forms.CharField(
        label=_("Approved grades"),
        required=False,
        max_length=300,
        help_text=_("Separated by commas."),
    )
    hand = forms.ChoiceField(label=_("Hand"), choices=HANDS, required=False)
    side_roll_mounting = forms.CharField(
        label=_("Side-roll mounting"), required=False, max_length=40
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=400)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["customer"].queryset = Owner.objects.filter(is_shop=False)  # type: ignore[attr-defined]


class NewSet(_SetFacts):
    number = forms.CharField(label=_("Set number"), max_length=30)
    unit = unit_choice(label=_("Drawn in"))
    passes = whole_number(label=_("Passes"), initial=8, min_value=0, max_value=60)
    field_order = ("number", "name", "unit", "passes")


class EditSet(_SetFacts):
    pass


class PassForm(RecordForm):
    number = whole_number(label=_("Pass"), min_value=1, max_value=60)
    name = forms.CharField(label=_("Name"), required=False, max_length=60)
    gap_point = forms.CharField(label=_("Where the gap is measured"), required=False, max_length=80)
    gap_degrees = plain_number(
        label=_("Face there inclined to the shaft, degrees"),
        required=False,
        help_text=_(
            "A feeler sees less on an inclined face; near-vertical ones are set by spacers."
        ),
    )
    pass_line_rise_nm = LengthInput(label=_("Pass line rises by"), signed=True)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if "pass_line_rise_nm" in cleaned:
            cleaned["pass_line_rise_nm"] = cleaned["pass_line_rise_nm"] or 0
        return cleaned


class PositionForm(RecordForm):
    set_pass = forms.ModelChoiceField(
        label=_("Pass"), queryset=SetPass.objects.none(), to_field_name="number"
    )
    shaft = forms.ChoiceField(label=_("Shaft"), choices=Shaft.choices)
    order = whole_number(
        label=_("Position"),
        min_value=1,
        max_value=60,
        help_text=_("Counted from the shoulder; on the line as the strip meets them."),
    )
    drawing = drawing_input()
    variant = forms.ModelChoiceField(
        label=_("Only in variant"),
        queryset=SetVariant.objects.none(),
        required=False,
        empty_label=_("every variant"),
    )
    mark_faces = forms.ChoiceField(
        label=_("The mark faces"), choices=[("outboard", _("outboard")), ("inboard", _("inboard"))]
    )
    is_split = forms.BooleanField(label=_("A segment of a split roll"), required=False)
    carries_guide_point = forms.BooleanField(label=_("Carries the guide point"), required=False)
    gap_diameter_nm = LengthInput(
        label=_("Diameter at the gap point"),
        usual_mm=(15, 1_500),
        help_text=_("As drawn, of the roll that carries it. What is cut off is taken off it."),
    )
    side = forms.ChoiceField(
        label=_("Side"),
        required=False,
        choices=[("", "–"), ("drive", _("drive side")), ("operator", _("operator side"))],
        help_text=_("For side rolls."),
    )
    where = forms.CharField(
        label=_("On the line: where"),
        required=False,
        max_length=60,
        help_text=_("Such as “before the pre-punch” or “side-roll box, station 6”."),
    )
    height_nm = LengthInput(label=_("Side roll: height"), signed=True)
    in_out_nm = LengthInput(label=_("Side roll: in or out"), signed=True)
    tilt_degrees = plain_number(
        label=_("Side roll: tilt, degrees"), required=False, min_value=-90, max_value=90
    )

    def __init__(self, *args: Any, tool_set: ToolSet, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["set_pass"].queryset = tool_set.passes.order_by("number")  # type: ignore[attr-defined]
        self.fields["variant"].queryset = tool_set.variants.order_by("name")  # type: ignore[attr-defined]


class VariantForm(RecordForm):
    name = forms.CharField(label=_("Variant"), max_length=40)


class CopyForm(RecordForm):
    letter = forms.CharField(label=_("Copy"), max_length=4, help_text=_("A, B …"))
    home = place_input(label=_("Home"), required=False)
    owner = forms.ModelChoiceField(label=_("Owner"), queryset=Owner.objects.none(), required=False)
    from_paper_count = whole_number(
        label=_("Rolls written down on paper"),
        required=False,
        min_value=1,
        max_value=10_000,
        help_text=_("Only while the pieces are not entered one by one."),
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["owner"].queryset = Owner.objects.order_by("-is_shop", "name")  # type: ignore[attr-defined]


class AllotForm(RecordForm):
    copy = forms.ModelChoiceField(label=_("Copy"), queryset=SetCopy.objects.none())
    piece = piece_input()

    def __init__(self, *args: Any, tool_set: ToolSet, **more: Any) -> None:
        super().__init__(*args, **more)
        copies = tool_set.copies.select_related("tool_set").order_by("letter")
        self.fields["copy"].queryset = copies  # type: ignore[attr-defined]


class NewChart(RecordForm):
    mill = forms.ModelChoiceField(label=_("Mill"), queryset=Mill.objects.none())
    first_station = whole_number(
        label=_("Pass 1 stands at station"), initial=1, min_value=1, max_value=60
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["mill"].queryset = Mill.objects.filter(is_active=True).order_by("number")  # type: ignore[attr-defined]


class ChartPassForm(RecordForm):
    station = forms.ModelChoiceField(
        label=_("Station"), queryset=Station.objects.none(), to_field_name="number"
    )
    gap_nm = LengthInput(
        label=_("Gap"),
        usual_mm=(0.05, 60),
        signed=True,
        help_text=_("Or leave it empty and write so much over the measured strip."),
    )
    gap_allowance_nm = LengthInput(
        label=_("Or over the measured strip"),
        signed=True,
        help_text=_("Coating +, spring −."),
    )
    gap_method = forms.ChoiceField(
        label=_("Found by"), required=False, choices=[("", "–"), *Method.choices]
    )
    gap_is_loaded = forms.BooleanField(
        label=_("With the strip in and the mill loaded"), required=False
    )
    top_inboard_fill_nm = LengthInput(label=_("Inboard fill, top"))
    bottom_inboard_fill_nm = LengthInput(label=_("Inboard fill, bottom"))
    note = forms.CharField(label=_("Note"), required=False, max_length=200)

    def __init__(self, *args: Any, chart: SetupChart, **more: Any) -> None:
        super().__init__(*args, **more)
        stations = chart.mill.stations.select_related("mill").order_by("number")
        self.fields["station"].queryset = stations  # type: ignore[attr-defined]

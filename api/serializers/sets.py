"""Tool sets with passes, positions, copies and charts on the wire."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm, plain
from tooling.engineering.measures import Measure, plain_measure, read_measure
from tooling.models import ChartState, Method, Shaft, Unit

FACES = [("inboard", "inboard"), ("outboard", "outboard")]
SIDES = [("drive", "drive side"), ("operator", "operator side")]
ON_SHAFTS = [("top", "top"), ("bottom", "bottom")]
HANDS = [("left", "left"), ("right", "right")]
THICKNESS = plain("thickness_least", "thickness_most")
MOST_PASSES = 60


class SetOut(serializers.Serializer[Any]):
    number = serializers.CharField()
    code = serializers.CharField(help_text="The set's label code.")
    name = serializers.CharField(help_text="The profile.")
    revision = serializers.CharField()
    unit = serializers.ChoiceField(Unit.choices)
    customer = serializers.CharField(source="customer.code", allow_null=True, default=None)
    thickness_least_mm = LengthMm("thickness_least_nm")
    thickness_most_mm = LengthMm("thickness_most_nm")
    grades = serializers.CharField(help_text="Approved strip grades, separated by commas.")
    hand = serializers.ChoiceField(HANDS, allow_blank=True)
    side_roll_mounting = serializers.CharField()
    note = serializers.CharField()


class AllottedOut(serializers.Serializer[Any]):
    copy = serializers.CharField(source="copy.letter")
    piece = serializers.CharField(source="piece.code")


class PositionOut(serializers.Serializer[Any]):
    """A position with the piece that normally fills it, per copy."""

    shaft = serializers.ChoiceField(Shaft.choices)
    order = serializers.IntegerField(help_text="From the shoulder, 1 first.")
    drawing = serializers.CharField(source="drawing.number")
    variant = serializers.CharField(
        source="variant.name", allow_null=True, default=None, help_text="Null: every variant."
    )
    mark_faces = serializers.ChoiceField(FACES)
    is_split = serializers.BooleanField()
    carries_guide_point = serializers.BooleanField()
    side = serializers.ChoiceField(SIDES, allow_blank=True)
    where = serializers.CharField(help_text="On the line: where, in words.")
    height_mm = LengthMm("height_nm")
    in_out_mm = LengthMm("in_out_nm")
    tilt_degrees = serializers.FloatField(allow_null=True)
    gap_diameter_mm = LengthMm("gap_diameter_nm")
    allotted = AllottedOut(many=True, source="allotments")


class MiddleFillOut(serializers.Serializer[Any]):
    """A middle fill: it stands after the position of that order."""

    shaft = serializers.ChoiceField(ON_SHAFTS)
    after_order = serializers.IntegerField()
    length_mm = LengthMm("length_nm")
    below_mm = LengthMm("below_nm")
    above_mm = LengthMm("above_nm")
    outside_most_mm = LengthMm("outside_most_nm")


class PassOut(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    name = serializers.CharField()
    gap_point = serializers.CharField()
    gap_degrees = serializers.FloatField(
        allow_null=True, help_text="Inclination of the face at the gap point to the shaft."
    )
    pass_line_rise_mm = LengthMm("pass_line_rise_nm")
    positions = PositionOut(many=True)
    fills = MiddleFillOut(many=True)


@extend_schema_field({"type": "string", "nullable": True, "example": "63.5"})
class Measured(serializers.Field[Any, Any, Any, Any]):
    """A value in the row's own unit as an exact decimal, null where none is said."""

    def __init__(self, name: str) -> None:
        super().__init__(source="*", read_only=True)
        self.name = name

    def to_representation(self, value: Any) -> str | None:
        nm, number = getattr(value, f"{self.name}_nm"), getattr(value, self.name)
        return plain_measure(nm, number, value.unit) or None


class CharacteristicOut(serializers.Serializer[Any]):
    """What is checked on the first piece, with its limits."""

    order = serializers.IntegerField()
    name = serializers.CharField()
    unit = serializers.CharField()
    nominal = Measured("nominal")
    least = Measured("least")
    most = Measured("most")


class AxisOut(serializers.Serializer[Any]):
    """A free-named setting of a charted pass."""

    name = serializers.CharField()
    unit = serializers.CharField()
    target = Measured("target")


class VariantOut(serializers.Serializer[Any]):
    """A named width or hand that changes some positions."""

    name = serializers.CharField()


class CopyOut(serializers.Serializer[Any]):
    letter = serializers.CharField()
    home = serializers.CharField(source="home.code", allow_null=True, default=None)
    owner = serializers.CharField(source="owner.code", allow_null=True, default=None)
    from_paper_count = serializers.IntegerField(
        allow_null=True, help_text="So many rolls were written down, not yet seen."
    )


class ChartPassOut(serializers.Serializer[Any]):
    """Where a pass stands."""

    number = serializers.IntegerField(source="set_pass.number")
    station = serializers.IntegerField(source="station.number")
    gap_mm = LengthMm("gap_nm")
    gap_allowance_mm = LengthMm("gap_allowance_nm")
    gap_method = serializers.ChoiceField(Method.choices, allow_blank=True)
    gap_is_loaded = serializers.BooleanField()
    top_inboard_fill_mm = LengthMm("top_inboard_fill_nm")
    bottom_inboard_fill_mm = LengthMm("bottom_inboard_fill_nm")
    note = serializers.CharField()
    axes = AxisOut(many=True)


class ChartOut(serializers.Serializer[Any]):
    """The setup chart of the set on one mill."""

    mill = serializers.CharField(source="mill.number")
    revision = serializers.CharField()
    state = serializers.ChoiceField(ChartState.choices)
    is_turned = serializers.BooleanField()
    passes = ChartPassOut(many=True, source="chart_passes")


class SetDetailOut(SetOut):
    """A set with its passes, variants, copies and charts."""

    passes = PassOut(many=True)
    variants = VariantOut(many=True)
    copies = CopyOut(many=True)
    charts = ChartOut(many=True)
    characteristics = CharacteristicOut(many=True)


class EditSetIn(ActionIn):
    """What is to change; the number stays."""

    lengths = THICKNESS
    name = serializers.CharField(required=False, max_length=120)
    revision = serializers.CharField(required=False, max_length=10)
    customer = serializers.CharField(required=False, allow_null=True, max_length=20)
    grades = serializers.CharField(required=False, allow_blank=True, max_length=300)
    hand = serializers.ChoiceField(HANDS, required=False, allow_blank=True)
    side_roll_mounting = serializers.CharField(required=False, allow_blank=True, max_length=40)
    note = serializers.CharField(required=False, allow_blank=True, max_length=400)


class CreateSetIn(EditSetIn):
    """A tool set, with empty passes 1 to N when asked."""

    number = serializers.CharField(max_length=30)
    name = serializers.CharField(max_length=120)
    unit = serializers.ChoiceField(Unit.choices, default=Unit.MM)
    passes = serializers.IntegerField(default=0, min_value=0, max_value=MOST_PASSES)


class PassIn(ActionIn):
    """Adds the pass of this number, or changes it."""

    lengths = plain("pass_line_rise", signed=("pass_line_rise",), never_empty=("pass_line_rise",))
    number = serializers.IntegerField(min_value=1, max_value=MOST_PASSES)
    name = serializers.CharField(required=False, allow_blank=True, max_length=60)
    gap_point = serializers.CharField(required=False, allow_blank=True, max_length=80)
    gap_degrees = serializers.FloatField(required=False, allow_null=True)


class PositionIn(ActionIn):
    """Says what a position calls for, new or old."""

    lengths = plain("height", "in_out", "gap_diameter", signed=("height", "in_out"))
    number = serializers.IntegerField(
        min_value=1, max_value=MOST_PASSES, help_text="Of the pass, which is there already."
    )
    shaft = serializers.ChoiceField(Shaft.choices)
    order = serializers.IntegerField(min_value=1, max_value=99)
    drawing = serializers.CharField(max_length=40)
    variant = serializers.CharField(required=False, allow_null=True, max_length=40)
    mark_faces = serializers.ChoiceField(FACES, required=False)
    is_split = serializers.BooleanField(required=False)
    carries_guide_point = serializers.BooleanField(required=False)
    side = serializers.ChoiceField(SIDES, required=False, allow_blank=True)
    where = serializers.CharField(
        required=False, allow_blank=True, max_length=60, help_text="On the line: where, in words."
    )
    tilt_degrees = serializers.FloatField(
        required=False, allow_null=True, min_value=-180, max_value=180
    )


class VariantIn(ActionIn):
    name = serializers.CharField(max_length=40)


class CopyIn(ActionIn):
    """A further copy; it may begin as one line from paper."""

    letter = serializers.CharField(max_length=4)
    home = serializers.CharField(required=False, allow_null=True, max_length=40)
    owner = serializers.CharField(required=False, allow_null=True, max_length=20)
    from_paper_count = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=10_000
    )


class AllotIn(ActionIn):
    """The piece that normally fills a position of the copy."""

    number = serializers.IntegerField(min_value=1, max_value=MOST_PASSES)
    shaft = serializers.ChoiceField(Shaft.choices)
    order = serializers.IntegerField(min_value=1, max_value=99)
    variant = serializers.CharField(required=False, allow_null=True, max_length=40)
    piece = serializers.CharField(max_length=40, help_text="A piece's label code.")


class CreateChartIn(ActionIn):
    """The set on one mill: passes in order from the first station; move them after."""

    mill = serializers.CharField(max_length=20)
    first_station = serializers.IntegerField(default=1, min_value=1, max_value=60)


class ChartPassIn(ActionIn):
    """Puts a pass at a station with its gap and inboard fills."""

    lengths = plain(
        "gap", "gap_allowance", "top_inboard_fill", "bottom_inboard_fill",
        signed=("gap", "gap_allowance"),
    )  # fmt: skip
    station = serializers.IntegerField(min_value=1, max_value=60)
    gap_method = serializers.CharField(required=False, allow_blank=True, max_length=20)
    gap_is_loaded = serializers.BooleanField(required=False)
    note = serializers.CharField(required=False, allow_blank=True, max_length=200)


class MiddleFillIn(ActionIn):
    """A middle fill after a position; the same again changes it."""

    lengths = plain("length", "below", "above", "outside_most", never_empty=("below", "above"))
    number = serializers.IntegerField(min_value=1, max_value=MOST_PASSES)
    shaft = serializers.CharField(max_length=10)
    after_order = serializers.IntegerField()


class MeasuredIn(ActionIn):
    """Values in a unit of their own: lengths in mm or in, else plain numbers."""

    measured: ClassVar[tuple[str, ...]] = ()
    unit = serializers.CharField(max_length=12)

    def get_fields(self) -> dict[str, Any]:
        more = {
            name: serializers.CharField(
                required=False, allow_null=True, max_length=40, help_text="In the unit given."
            )
            for name in self.measured
        }
        return {**super().get_fields(), **more}

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        for name in self.measured:
            text = values.pop(name, None)
            found = Measure()
            if text is not None:
                found = read_measure(text, unit=values["unit"].strip(), field=name)
            values |= {f"{name}_nm": found.nm, name: found.number}
        return values


class CharacteristicIn(MeasuredIn):
    """What is checked on the first piece; the same name again changes it."""

    measured = ("nominal", "least", "most")
    name = serializers.CharField(max_length=80)
    order = serializers.IntegerField(required=False)


class AxisIn(MeasuredIn):
    """A free-named setting; the same name again changes it."""

    measured = ("target",)
    name = serializers.CharField(max_length=60)

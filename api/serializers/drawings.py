"""Drawings on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm, dimensions, least_dimensions, plain
from tooling.models import DrawingKind, OldPieces, Unit
from tooling.services.features import SHAPES
from tooling.services.lengths_run import MOST_STROKES


class FeatureOut(serializers.Serializer[Any]):
    """Something that a die makes in the strip; a round hole's diameter is its width."""

    order = serializers.IntegerField()
    shape = serializers.ChoiceField(list(SHAPES.items()))
    name = serializers.CharField()
    width_mm = LengthMm("width_nm")
    length_mm = LengthMm("length_nm")
    note = serializers.CharField()


class FeatureIn(ActionIn):
    """Added after the last one, or the one of that order changed."""

    lengths = plain("width", "length")
    order = serializers.IntegerField(required=False, min_value=1)
    shape = serializers.ChoiceField(list(SHAPES.items()))
    name = serializers.CharField(default="", allow_blank=True, max_length=60)
    note = serializers.CharField(default="", allow_blank=True, max_length=200)


class RevisionOut(serializers.Serializer[Any]):
    """One revision with its drawn sizes and the least allowed."""

    revision = serializers.CharField()
    is_current = serializers.BooleanField()
    issued_on = serializers.DateField(allow_null=True)
    unit = serializers.ChoiceField(Unit.choices)
    material = serializers.CharField()
    old_pieces = serializers.ChoiceField(
        OldPieces.choices, help_text="What becomes of pieces made to the one before."
    )
    bore_mm = LengthMm("bore_nm")
    keyway_width_mm = LengthMm("keyway_width_nm")
    keyway_depth_mm = LengthMm("keyway_depth_nm")
    face_width_mm = LengthMm("face_width_nm")
    guide_offset_mm = LengthMm("guide_offset_nm")
    drive_diameter_mm = LengthMm("drive_diameter_nm")
    root_diameter_mm = LengthMm("root_diameter_nm")
    outside_diameter_mm = LengthMm("outside_diameter_nm")
    least_face_width_mm = LengthMm("least_face_width_nm")
    least_drive_diameter_mm = LengthMm("least_drive_diameter_nm")
    least_root_diameter_mm = LengthMm("least_root_diameter_nm")
    least_outside_diameter_mm = LengthMm("least_outside_diameter_nm")
    plated_thickness_mm = LengthMm("plated_thickness_nm")
    case_depth_mm = LengthMm("case_depth_nm")
    bore_class = serializers.CharField()
    mass_g = serializers.IntegerField(allow_null=True)
    strokes_to_sharpen = serializers.IntegerField(allow_null=True)
    new_cost_cents = serializers.IntegerField(allow_null=True)
    features = FeatureOut(many=True, source="features.all")
    note = serializers.CharField()


class DrawingOut(serializers.Serializer[Any]):
    """A drawing with its revisions, the current one first."""

    number = serializers.CharField()
    title = serializers.CharField()
    kind = serializers.ChoiceField(DrawingKind.choices)
    revisions = RevisionOut(many=True)


class _RevisionFactsIn(ActionIn):
    lengths = [*dimensions(), *least_dimensions(), *plain("plated_thickness", "case_depth")]
    unit = serializers.ChoiceField(Unit.choices, required=False)
    issued_on = serializers.DateField(required=False, allow_null=True)
    material = serializers.CharField(required=False, allow_blank=True, max_length=40)
    bore_class = serializers.CharField(required=False, allow_blank=True, max_length=6)
    mass_g = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=5_000_000
    )
    strokes_to_sharpen = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=MOST_STROKES
    )
    new_cost_cents = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=10**13,
        help_text="What a new one costs, in hundredths of the shop's currency.",
    )  # fmt: skip
    note = serializers.CharField(required=False, allow_blank=True, max_length=400)
    reason = serializers.CharField(
        required=False,
        default="",
        allow_blank=True,
        max_length=400,
        help_text="Goes on record where the sizes are unusual.",
    )


class CreateDrawingIn(_RevisionFactsIn):
    """A drawing with its first revision."""

    number = serializers.CharField(max_length=40)
    kind = serializers.ChoiceField(DrawingKind.choices)
    title = serializers.CharField(default="", allow_blank=True, max_length=120)
    revision = serializers.CharField(default="A", max_length=10)


class EditDrawingIn(ActionIn):
    title = serializers.CharField(allow_blank=True, max_length=120)


class CreateRevisionIn(_RevisionFactsIn):
    """A further revision, which becomes the current one."""

    revision = serializers.CharField(max_length=10)
    old_pieces = serializers.ChoiceField(OldPieces.choices)


class EditRevisionIn(_RevisionFactsIn):
    """What is to be put right; what is left out stays."""

    old_pieces = serializers.ChoiceField(OldPieces.choices, required=False)


class OldPieceOut(serializers.Serializer[Any]):
    """A piece to an older revision: the strictest word since its own governs."""

    code = serializers.CharField()
    mark = serializers.CharField()
    owner = serializers.CharField()
    place = serializers.CharField(source="place_code", help_text="The place's label code.")
    revision = serializers.CharField(source="ruling.own")
    what = serializers.ChoiceField(OldPieces.choices, source="ruling.what")
    says = serializers.CharField(source="ruling.by", help_text="The revision that says so.")
    note = serializers.CharField(source="ruling.note")


class SettleIn(ActionIn):
    """What became of old pieces; ``pieces`` left out with ``as_is``: all of them."""

    act = serializers.ChoiceField(["as_is", "reworked", "scrapped"])
    pieces = serializers.ListField(
        child=serializers.CharField(max_length=12), required=False, allow_empty=False,
        max_length=500,
    )  # fmt: skip
    reason = serializers.CharField(default="", allow_blank=True, max_length=400)

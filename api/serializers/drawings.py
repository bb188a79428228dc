"""Drawings on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm, dimensions, least_dimensions, plain
from tooling.models import DrawingKind, OldPieces, Unit


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
    bore_class = serializers.CharField()
    mass_g = serializers.IntegerField(allow_null=True)
    note = serializers.CharField()


class DrawingOut(serializers.Serializer[Any]):
    """A drawing with its revisions, the current one first."""

    number = serializers.CharField()
    title = serializers.CharField()
    kind = serializers.ChoiceField(DrawingKind.choices)
    revisions = RevisionOut(many=True)


class _RevisionFactsIn(ActionIn):
    lengths = [*dimensions(), *least_dimensions(), *plain("plated_thickness")]
    unit = serializers.ChoiceField(Unit.choices, required=False)
    issued_on = serializers.DateField(required=False, allow_null=True)
    material = serializers.CharField(required=False, allow_blank=True, max_length=40)
    bore_class = serializers.CharField(required=False, allow_blank=True, max_length=6)
    mass_g = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=5_000_000
    )
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

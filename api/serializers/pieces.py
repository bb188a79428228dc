"""Pieces on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import (
    ActionIn,
    AskedLength,
    LengthMm,
    StripLengthM,
    dimensions,
)
from api.serializers.moments import MomentField
from tooling.models import (
    DIMENSIONS,
    Condition,
    DrawingKind,
    MarkPlace,
    OldPieces,
    Unit,
    WorkKind,
)
from tooling.queries.piece_state import PieceState
from tooling.services.lengths_run import MOST_STROKES

USABLE = [each for each in Condition.choices if each[0] != Condition.HOLD]
MOST_WHOLE = 2**31 - 1


class PiecesAsked(serializers.Serializer[Any]):
    """What narrows the list."""

    q = serializers.CharField(
        required=False,
        default="",
        allow_blank=True,
        max_length=200,
        help_text="Code, mark, old number, drawing, place, owner, or a size such as “bore 2.5 in”.",
    )
    owner = serializers.CharField(
        required=False, default="", allow_blank=True, max_length=20, help_text="An owner's code."
    )
    kind = serializers.ChoiceField(
        DrawingKind.choices, required=False, default="", allow_blank=True
    )
    condition = serializers.ChoiceField(
        Condition.choices, required=False, default="", allow_blank=True
    )
    place = serializers.CharField(
        required=False,
        default="",
        allow_blank=True,
        max_length=8,
        help_text="A place's code; what lies in places inside it counts too.",
    )
    unseen = serializers.BooleanField(
        required=False, default=False, help_text="Only what nobody has had in hand yet."
    )
    drawing = serializers.CharField(
        required=False, default="", allow_blank=True, max_length=60, help_text="A drawing's number."
    )
    set = serializers.CharField(
        source="tool_set",
        required=False,
        default="",
        allow_blank=True,
        max_length=60,
        help_text="A set's number: the pieces that its copies are made up of.",
    )


class PieceOut(serializers.Serializer[Any]):
    """A piece. Sizes are the present ones: measured, else as made, else as drawn."""

    code = serializers.CharField()
    mark = serializers.CharField()
    copy_letter = serializers.CharField()
    mark_place = serializers.ChoiceField(MarkPlace.choices)
    aliases = serializers.ListField(child=serializers.CharField(), help_text="Old numbers.")
    drawing = serializers.CharField()
    title = serializers.CharField()
    revision = serializers.CharField()
    kind = serializers.ChoiceField(DrawingKind.choices)
    owner = serializers.CharField(help_text="The owner's code.")
    owner_name = serializers.CharField()
    place = serializers.CharField(help_text="The place's label code.")
    place_name = serializers.CharField()
    placed_at = serializers.DateTimeField(allow_null=True)
    state = serializers.ChoiceField(
        PieceState.choices, help_text="Whether it can be had; for a job, ask the job's kit."
    )
    condition = serializers.ChoiceField(Condition.choices)
    hold_reason = serializers.CharField()
    is_seen = serializers.BooleanField(help_text="Somebody has had it in hand.")
    unit = serializers.ChoiceField(Unit.choices, help_text="In which it is drawn.")
    bore_mm = LengthMm("sizes_nm.bore")
    keyway_width_mm = LengthMm("sizes_nm.keyway_width")
    keyway_depth_mm = LengthMm("sizes_nm.keyway_depth")
    face_width_mm = LengthMm("sizes_nm.face_width")
    guide_offset_mm = LengthMm("sizes_nm.guide_offset")
    drive_diameter_mm = LengthMm("sizes_nm.drive_diameter")
    root_diameter_mm = LengthMm("sizes_nm.root_diameter")
    outside_diameter_mm = LengthMm("sizes_nm.outside_diameter")
    length_run_m = StripLengthM("length_run_nm")
    strokes_run = serializers.IntegerField(help_text="Of line tooling: strokes in all.")
    mass_kg = serializers.FloatField(allow_null=True)
    heat_lot = serializers.CharField()
    hardness_hrc = serializers.FloatField(allow_null=True)
    over_chrome = serializers.BooleanField()
    note = serializers.CharField()
    value_cents = serializers.IntegerField(
        allow_null=True, help_text="In hundredths of the shop's currency; null: not valued."
    )


class SizeOut(serializers.Serializer[Any]):
    """One dimension where it is known: drawn, as made, now (measured), least allowed."""

    dimension = serializers.ChoiceField([(name, name) for name in DIMENSIONS], source="name")
    drawn_mm = LengthMm("drawn_nm")
    made_mm = LengthMm("made_nm")
    now_mm = LengthMm("now_nm")
    least_mm = LengthMm("least_nm")


class UseOut(serializers.Serializer[Any]):
    set = serializers.CharField(source="set_number")
    copy = serializers.CharField()
    position = serializers.CharField(source="where")


class ClaimOut(serializers.Serializer[Any]):
    kit = serializers.CharField()
    job = serializers.CharField()
    starts_at = serializers.DateTimeField()
    is_staged = serializers.BooleanField()


class OldRevisionOut(serializers.Serializer[Any]):
    """What newer revisions say of a piece to an older one; the strictest since its own governs."""

    what = serializers.ChoiceField(OldPieces.choices)
    says = serializers.CharField(source="by", help_text="The revision that says so.")
    note = serializers.CharField()


class PieceDetailOut(PieceOut):
    """One piece with all its sizes, the positions it normally fills, and who claims it."""

    sizes = SizeOut(many=True, source="page.sizes")
    strokes_since_sharpened = serializers.IntegerField(
        source="page.strokes.since", allow_null=True, default=None
    )
    strokes_to_sharpen = serializers.IntegerField(
        source="page.strokes.limit", allow_null=True, default=None
    )
    old_revision = OldRevisionOut(source="page.ruling", allow_null=True)
    uses = UseOut(many=True, source="page.uses")
    claims = ClaimOut(many=True, source="page.claims")


class _FactsIn(ActionIn):
    """What is written of a piece; sizes are those as made."""

    lengths = dimensions("made_")
    mark = serializers.CharField(required=False, allow_blank=True, max_length=40)
    copy_letter = serializers.CharField(required=False, allow_blank=True, max_length=4)
    mark_place = serializers.ChoiceField(MarkPlace.choices, required=False)
    owner = serializers.CharField(required=False, max_length=20, help_text="An owner's code.")
    condition = serializers.ChoiceField(USABLE, required=False)
    revision = serializers.CharField(required=False, max_length=10)
    heat_lot = serializers.CharField(required=False, allow_blank=True, max_length=40)
    hardness_hrc = serializers.FloatField(
        required=False, allow_null=True, min_value=0, max_value=75
    )
    weighed_g = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=5_000_000
    )
    over_chrome = serializers.BooleanField(required=False)
    note = serializers.CharField(required=False, allow_blank=True, max_length=400)
    value_cents = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=10**14
    )
    reason = serializers.CharField(
        required=False,
        default="",
        allow_blank=True,
        max_length=400,
        help_text="Goes on record where the sizes are unusual.",
    )


class CreatePiecesIn(_FactsIn):
    """One or more pieces of a drawing, with the place where they are."""

    drawing = serializers.CharField(max_length=40)
    place = serializers.CharField(max_length=40, help_text="A place's label code.")
    count = serializers.IntegerField(default=1, min_value=1, max_value=500)
    seen = serializers.BooleanField(
        default=True, help_text="False: written down from paper, nobody had it in hand."
    )


class EditPieceIn(_FactsIn):
    """What is to change; what is left out stays."""


class HoldIn(ActionIn):
    reason = serializers.CharField(max_length=200)


class AliasIn(ActionIn):
    text = serializers.CharField(max_length=40)


class ReadingIn(ActionIn):
    """One measurement."""

    dimension = serializers.ChoiceField([(name, name) for name in DIMENSIONS])
    value_mm = serializers.CharField(required=False, max_length=40)
    value_in = serializers.CharField(required=False, max_length=40)
    gauge = serializers.CharField(default="", allow_blank=True, max_length=30)
    happened_at = MomentField(required=False)
    over_chrome = serializers.BooleanField(default=False)
    sure = serializers.BooleanField(
        default=False, help_text="Answers the question about an improbable value."
    )
    corrects = serializers.IntegerField(
        required=False, min_value=1, help_text="The id of the reading that this one puts right."
    )
    note = serializers.CharField(default="", allow_blank=True, max_length=300)


class ReadingOut(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    piece = serializers.CharField(source="piece.code")
    dimension = serializers.CharField()
    value_mm = LengthMm("value_nm")
    unit = serializers.ChoiceField(Unit.choices)
    happened_at = serializers.DateTimeField()
    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)
    note = serializers.CharField()


class WorkIn(ActionIn):
    """Past work with what was measured before and after it."""

    lengths = [
        AskedLength(f"{each.name}_{when}", f"{each.name}_{when}", each.label, each.usual_mm,
                    each.signed)
        for each in dimensions()
        for when in ("before", "after")
    ]  # fmt: skip
    kind = serializers.ChoiceField(WorkKind.choices)
    done_on = serializers.DateField()
    done_by = serializers.CharField(default="", allow_blank=True, max_length=120)
    mark_restored = serializers.BooleanField(required=False, allow_null=True)
    revision = serializers.CharField(
        required=False,
        max_length=10,
        help_text="The one that the work made it to; a recontour without one: the current one.",
    )
    corrects = serializers.IntegerField(required=False, min_value=1)
    note = serializers.CharField(default="", allow_blank=True, max_length=300)


class WorkMeasureOut(serializers.Serializer[Any]):
    dimension = serializers.CharField()
    before_mm = LengthMm("before_nm")
    after_mm = LengthMm("after_nm")


class WorkOut(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    piece = serializers.CharField(source="piece.code")
    kind = serializers.ChoiceField(WorkKind.choices)
    done_on = serializers.DateField()
    done_by = serializers.CharField()
    sizes = WorkMeasureOut(many=True, source="measures")
    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)
    note = serializers.CharField()


class LengthRunIn(ActionIn):
    """Strip length that the piece ran, in m or ft, strokes that line tooling made, or both; 0 of
    both undoes the entry that it corrects."""

    strokes = serializers.IntegerField(default=0, min_value=0, max_value=MOST_STROKES)
    length_m = serializers.CharField(required=False, max_length=40)
    length_ft = serializers.CharField(required=False, max_length=40)
    strip_class = serializers.CharField(default="", allow_blank=True, max_length=40)
    happened_at = MomentField(required=False)
    corrects = serializers.IntegerField(required=False, min_value=1)
    note = serializers.CharField(default="", allow_blank=True, max_length=200)


class LengthRunOut(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    piece = serializers.CharField(source="piece.code")
    length_m = StripLengthM("length_nm")
    strokes = serializers.IntegerField()
    strip_class = serializers.CharField()
    happened_at = serializers.DateTimeField()
    corrects = serializers.IntegerField(source="corrects_id", allow_null=True)
    note = serializers.CharField()


class EntrySizeOut(serializers.Serializer[Any]):
    """What a piece of work changed."""

    dimension = serializers.CharField()
    before_mm = LengthMm("before_nm")
    after_mm = LengthMm("after_nm")


class EntryOut(serializers.Serializer[Any]):
    """One thing that happened to a piece."""

    at = serializers.DateTimeField(help_text="Of work: from when it counts.")
    done_on = serializers.DateField(
        allow_null=True, help_text="The day of work, its hour is not kept; null for the rest."
    )
    kind = serializers.ChoiceField(
        [
            *("movement", "refused", "reading", "work", "length", "change", "label", "incident"),
            "inspection",
            "count",
        ]
    )
    id = serializers.IntegerField(help_text="Within its kind; a correction names it.")
    said = serializers.CharField()
    by = serializers.CharField()
    status = serializers.ChoiceField(["taken", "refused"])
    code = serializers.CharField(help_text="Why it was refused; empty when taken.")
    scan = serializers.CharField(
        allow_null=True, help_text="The id of the scan that it comes from; null without one."
    )
    how = serializers.CharField()
    place = serializers.CharField(allow_null=True, help_text="The place's label code.")
    length_mm = LengthMm("length_nm")
    strokes = serializers.IntegerField(help_text="That line tooling made.")
    sizes = EntrySizeOut(many=True)
    is_corrected = serializers.BooleanField(help_text="A later entry stands in its stead.")
    note = serializers.CharField()

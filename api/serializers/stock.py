"""Stock bins on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm
from tooling.models import Condition, Unit

MOST = 1_000_000
VERBS = ("count", "receive", "make", "use_up", "scrap", "move")


class StockOut(serializers.Serializer[Any]):
    """A count of one drawing in one place and condition. The pieces have no codes."""

    code = serializers.CharField(help_text="The bin's label code.")
    drawing = serializers.CharField(source="drawing.number")
    title = serializers.CharField(source="drawing.title")
    kind = serializers.CharField(source="drawing.kind")
    place = serializers.CharField(source="place.code")
    place_name = serializers.CharField(source="place.path_name")
    condition = serializers.ChoiceField(Condition.choices)
    owner = serializers.CharField(source="owner.code")
    count = serializers.IntegerField()
    least_count = serializers.IntegerField()
    unit = serializers.ChoiceField(Unit.choices, source="drawn_unit")
    bore_mm = LengthMm("drawn_bore_nm")
    face_width_mm = LengthMm("drawn_width_nm")
    seen_at = serializers.DateTimeField(allow_null=True)


class CreateStockIn(ActionIn):
    """A new bin with what was received into it."""

    drawing = serializers.CharField(max_length=40)
    place = serializers.CharField(max_length=40, help_text="A place's label code.")
    owner = serializers.CharField(required=False, max_length=20)
    condition = serializers.ChoiceField(Condition.choices, default=Condition.SOUND)
    count = serializers.IntegerField(default=0, min_value=0, max_value=MOST)
    least_count = serializers.IntegerField(default=0, min_value=0, max_value=MOST)


class EditStockIn(ActionIn):
    least_count = serializers.IntegerField(min_value=0, max_value=MOST)


class ChangeStockIn(ActionIn):
    """One change of the count. ``quantity`` of a count is what is really there."""

    what = serializers.ChoiceField(VERBS)
    quantity = serializers.IntegerField(min_value=0, max_value=MOST)
    to = serializers.CharField(
        required=False, max_length=40, help_text="For a move: a place's label code."
    )
    note = serializers.CharField(default="", allow_blank=True, max_length=200)

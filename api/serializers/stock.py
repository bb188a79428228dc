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
        required=False,
        max_length=80,
        help_text="For a move: the label code of a place, kit or station, or a place's name.",
    )
    note = serializers.CharField(default="", allow_blank=True, max_length=200)
    id = serializers.UUIDField(required=False, help_text="Sent again with it, it counts once.")


class StockNewsOut(serializers.Serializer[Any]):
    """One row of a bin. ``change`` is what it did to the count."""

    id = serializers.UUIDField()
    at = serializers.DateTimeField()
    what = serializers.CharField(source="said")
    change = serializers.IntegerField()
    by = serializers.CharField()
    note = serializers.CharField()
    is_corrected = serializers.BooleanField()


class UndoStockIn(ActionIn):
    movement = serializers.UUIDField(help_text="The id of the row, from the bin's history.")


class PutBackIn(ActionIn):
    from_code = serializers.CharField(max_length=40, help_text="Code of the count where they lie.")
    quantity = serializers.IntegerField(required=False, min_value=1, max_value=MOST)
    id = serializers.UUIDField(required=False, help_text="Sent again with it, it counts once.")


class CountsBackIn(ActionIn):
    id = serializers.UUIDField(required=False, help_text="Sent again with it, it counts once.")


class MovedCountOut(serializers.Serializer[Any]):
    """So many that went from one count to another; ``id`` undoes all that went together."""

    id = serializers.UUIDField(source="uuid")
    drawing = serializers.CharField(source="stock.drawing.number")
    from_code = serializers.CharField(source="stock.code")
    to_code = serializers.CharField(source="stock_to.code")
    place = serializers.CharField(source="to.code")
    quantity = serializers.IntegerField()


class NeedOut(serializers.Serializer[Any]):
    """One counted drawing. ``wanted`` is the most that jobs want at the same time, from
    ``wanted_at``; ``short_by`` what lacks; ``to_get`` what of it is not ordered yet."""

    drawing = serializers.CharField()
    title = serializers.CharField()
    kind = serializers.CharField()
    unit = serializers.ChoiceField(Unit.choices)
    face_width_mm = LengthMm("face_width_nm")
    bore_mm = LengthMm("bore_nm")
    have = serializers.IntegerField()
    with_kits = serializers.IntegerField()
    least = serializers.IntegerField()
    wanted = serializers.IntegerField()
    wanted_at = serializers.DateTimeField(allow_null=True)
    jobs = serializers.ListField(child=serializers.CharField())
    short_by = serializers.IntegerField()
    ordered = serializers.IntegerField()
    due_on = serializers.DateField(allow_null=True)
    to_get = serializers.IntegerField()
    bins = serializers.SerializerMethodField()

    def get_bins(self, need: Any) -> list[str]:
        return [each.code for each in need.bins]

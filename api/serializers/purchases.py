"""Orders for new tooling, what came against them, and what it measured, on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm, dimensions
from api.serializers.moments import MomentField
from tooling.models import Unit, Verdict
from tooling.services.purchases import MOST_COUNTED


class PurchaseRowOut(serializers.Serializer[Any]):
    """One order in the list."""

    number = serializers.CharField()
    vendor = serializers.CharField()
    owner = serializers.CharField(help_text="The owner's name.")
    ordered_on = serializers.DateField()
    due_on = serializers.DateField(allow_null=True)
    is_open = serializers.BooleanField()
    ordered = serializers.IntegerField()
    received = serializers.IntegerField()
    to_inspect = serializers.IntegerField(help_text="Received pieces that nobody measured yet.")
    days_late = serializers.IntegerField()


class InspectionOut(serializers.Serializer[Any]):
    """The verdict that stands."""

    verdict = serializers.ChoiceField(Verdict.choices)
    reason = serializers.CharField()
    at = serializers.DateTimeField()
    by = serializers.CharField()


class ReceiptOut(serializers.Serializer[Any]):
    """A piece, or a count into a bin, that came against a line."""

    id = serializers.IntegerField()
    piece = serializers.CharField(help_text="Its label code; empty for a count.")
    stock = serializers.CharField(help_text="The bin's label code; empty for a piece.")
    quantity = serializers.IntegerField()
    mark = serializers.CharField()
    place = serializers.CharField(source="place_code", help_text="The place's label code.")
    heat_lot = serializers.CharField()
    certificate = serializers.CharField(source="certificate_name")
    happened_at = serializers.DateTimeField()
    is_taken_back = serializers.BooleanField()
    inspection = InspectionOut(allow_null=True)
    note = serializers.CharField()


class PurchaseLineOut(serializers.Serializer[Any]):
    line = serializers.IntegerField()
    drawing = serializers.CharField()
    revision = serializers.CharField()
    quantity = serializers.IntegerField()
    received = serializers.IntegerField()
    is_counted = serializers.BooleanField()
    set = serializers.CharField(source="set_number")
    copy = serializers.CharField(source="copy_letter")
    mark = serializers.CharField()
    price_cents = serializers.IntegerField(allow_null=True, help_text="Of one.")
    receipts = ReceiptOut(many=True)


class PurchaseOut(serializers.Serializer[Any]):
    """An order with its lines and what came against each."""

    number = serializers.CharField()
    vendor = serializers.CharField()
    owner = serializers.CharField(source="owner_code", help_text="The owner's code.")
    ordered_on = serializers.DateField()
    due_on = serializers.DateField(allow_null=True)
    is_open = serializers.BooleanField()
    days_late = serializers.IntegerField()
    lacking = serializers.IntegerField()
    currency = serializers.CharField()
    lines = PurchaseLineOut(many=True)
    note = serializers.CharField()


class OrderLineIn(ActionIn):
    """So many of one revision of a drawing."""

    drawing = serializers.CharField(max_length=40)
    revision = serializers.CharField(
        default="", allow_blank=True, max_length=10, help_text="Blank: the current one."
    )
    quantity = serializers.IntegerField(min_value=1, max_value=MOST_COUNTED)
    is_counted = serializers.BooleanField(default=False)
    set = serializers.CharField(required=False, max_length=30, help_text="With ``copy``.")
    copy = serializers.CharField(required=False, max_length=4)
    mark = serializers.CharField(default="", allow_blank=True, max_length=40)
    price = serializers.CharField(
        default="", allow_blank=True, max_length=30, help_text="Of one, such as 1250.50."
    )
    reason = serializers.CharField(
        default="", allow_blank=True, max_length=400, help_text="Why an old revision is ordered."
    )


class CreatePurchaseIn(ActionIn):
    number = serializers.CharField(max_length=30)
    vendor = serializers.CharField(max_length=120)
    owner = serializers.CharField(
        default="", allow_blank=True, max_length=20, help_text="An owner's code; blank: the shop."
    )
    ordered_on = serializers.DateField()
    due_on = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(default="", allow_blank=True, max_length=400)
    lines = OrderLineIn(many=True, default=list)


class EditPurchaseIn(ActionIn):
    """What is to change; ``is_open`` false closes it, with a ``reason`` when it is short."""

    vendor = serializers.CharField(required=False, max_length=120)
    owner = serializers.CharField(required=False, max_length=20)
    ordered_on = serializers.DateField(required=False)
    due_on = serializers.DateField(required=False, allow_null=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=400)
    is_open = serializers.BooleanField(required=False)
    reason = serializers.CharField(default="", allow_blank=True, max_length=400)


class ReceiveIn(ActionIn):
    """One piece, or ``quantity`` of a count. The same ``id`` again is refused. A certificate is a
    PDF in a multipart body, or that of the receipt ``certificate_of``."""

    id = serializers.UUIDField(required=False)
    place = serializers.CharField(max_length=40, help_text="A place's label code.")
    quantity = serializers.IntegerField(required=False, min_value=1)
    revision = serializers.CharField(
        required=False, max_length=10, help_text="What stands on it; another is refused."
    )
    mark = serializers.CharField(required=False, allow_blank=True, max_length=40)
    copy_letter = serializers.CharField(required=False, allow_blank=True, max_length=4)
    heat_lot = serializers.CharField(default="", allow_blank=True, max_length=40)
    certificate = serializers.FileField(required=False)
    certificate_of = serializers.IntegerField(required=False, min_value=1)
    happened_at = MomentField(required=False)
    note = serializers.CharField(default="", allow_blank=True, max_length=300)


class TakeReceiptBackIn(ActionIn):
    note = serializers.CharField(default="", allow_blank=True, max_length=300)


class InspectIn(ActionIn):
    """What the drawn dimensions measure, and the verdict."""

    lengths = dimensions()
    unit = serializers.ChoiceField(Unit.choices, default=Unit.MM, help_text="Of the gauge.")
    verdict = serializers.ChoiceField(Verdict.choices)
    reason = serializers.CharField(default="", allow_blank=True, max_length=200)
    gauge = serializers.CharField(default="", allow_blank=True, max_length=30)
    sure = serializers.BooleanField(
        default=False, help_text="Answers the question about an improbable value."
    )


class PrintLimitOut(serializers.Serializer[Any]):
    """A drawn dimension, within what it is to print, and what the piece measures."""

    dimension = serializers.CharField(source="limit.name")
    drawn_mm = LengthMm("limit.drawn_nm")
    least_mm = LengthMm("limit.least_nm")
    most_mm = LengthMm("limit.most_nm")
    why = serializers.CharField(source="limit.why")
    now_mm = LengthMm("now_nm")
    deviation_mm = LengthMm("deviation_nm")
    is_within = serializers.BooleanField(allow_null=True)


class ReceiptDetailOut(ReceiptOut):
    """A receipt with the limits of its drawing and how the piece stands against them."""

    order = serializers.CharField()
    line = serializers.IntegerField()
    sizes = PrintLimitOut(many=True)

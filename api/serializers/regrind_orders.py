"""Orders for work on pieces, what judging them found, and lead times, on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn, AskedLength, LengthMm
from tooling.models import DIMENSIONS, OrderState, WorkKind
from tooling.queries.print_limits import LABELS
from tooling.services.regrind_targets import Target
from tooling.spreadsheets.kinds.words import USUAL_MM

MOST = 1_000
WITHIN = AskedLength("tolerance", "tolerance_nm", "tolerance", usual_mm=(0.0, 1.0))
TAKE_OFF = AskedLength("take_off", "take_off_nm", "take off", usual_mm=(0.01, 20.0))


def _targets() -> list[AskedLength]:
    return [
        AskedLength(
            f"target_{name}", f"target_{name}_nm", LABELS[name], usual_mm=USUAL_MM[name],
            signed=name == "guide_offset",
        )
        for name in DIMENSIONS
    ]  # fmt: skip


class RegrindOrderRowOut(serializers.Serializer[Any]):
    """One order in the list."""

    number = serializers.CharField()
    state = serializers.ChoiceField(OrderState.choices)
    vendor = serializers.CharField(help_text="Its name; empty for work in the shop.")
    requested_at = serializers.DateTimeField()
    due_on = serializers.DateField(allow_null=True)
    pieces = serializers.IntegerField()
    back = serializers.IntegerField()
    days_late = serializers.IntegerField(help_text="Out, and due back so many days ago; else 0.")
    days_unsent = serializers.IntegerField(
        help_text="Not sent, though it was wanted back so many days ago; else 0."
    )
    note = serializers.CharField()


class OrderSizeOut(serializers.Serializer[Any]):
    """One dimension: before the work, as ordered, as read since."""

    dimension = serializers.CharField(source="name")
    before_mm = LengthMm("before_nm")
    target_mm = LengthMm("target_nm")
    minus_mm = LengthMm("minus_nm")
    plus_mm = LengthMm("plus_nm")
    measured_mm = LengthMm("read_nm")
    is_wanted = serializers.BooleanField(help_text="It must be read before the release.")
    is_off = serializers.BooleanField()


class OrderCheckOut(serializers.Serializer[Any]):
    """One check of the release."""

    code = serializers.CharField()
    level = serializers.CharField(help_text="ok, warn or no")
    message = serializers.CharField(source="said")
    may_sign = serializers.BooleanField(help_text="A signed reason lets it through.")
    piece = serializers.CharField()
    pass_number = serializers.IntegerField(allow_null=True)


class RegrindOrderLineOut(serializers.Serializer[Any]):
    """One piece on the order."""

    piece = serializers.CharField(source="code")
    mark = serializers.CharField()
    drawing = serializers.CharField()
    owner = serializers.CharField(source="owner_code")
    place = serializers.CharField(source="place_code")
    kinds = serializers.ListField(child=serializers.CharField())
    sizes = OrderSizeOut(many=True)
    mass_kg = serializers.FloatField(allow_null=True)
    cuts_left = serializers.IntegerField(source="left.cuts", default=None, allow_null=True)
    mark_to_restore = serializers.BooleanField()
    mark_seen_at = serializers.DateTimeField(allow_null=True)
    is_open = serializers.BooleanField()
    sent_at = serializers.DateTimeField(allow_null=True)
    back_at = serializers.DateTimeField(allow_null=True)
    done_on = serializers.DateField(allow_null=True)
    cost_cents = serializers.IntegerField(allow_null=True)
    note = serializers.CharField()
    checks = OrderCheckOut(many=True)


class DriveRowOut(serializers.Serializer[Any]):
    """The drive diameters of one pass, before the work and after it."""

    pass_number = serializers.IntegerField()
    station = serializers.IntegerField(allow_null=True)
    top_before_mm = LengthMm("top_before_nm")
    top_mm = LengthMm("top_nm")
    bottom_before_mm = LengthMm("bottom_before_nm")
    bottom_mm = LengthMm("bottom_nm")


class SetJudgedOut(serializers.Serializer[Any]):
    """A copy of a set, or an open kit, on one mill."""

    set = serializers.CharField(source="set_number")
    copy = serializers.CharField(source="who")
    kit = serializers.CharField()
    mill = serializers.CharField(source="mill_number")
    level = serializers.CharField()
    checks = OrderCheckOut(many=True)
    diameters = DriveRowOut(many=True, source="rows")


class FillChangeOut(serializers.Serializer[Any]):
    """What the fills around a faced piece are to gain."""

    piece = serializers.CharField()
    mark = serializers.CharField()
    set = serializers.CharField(source="set_number")
    pass_number = serializers.IntegerField()
    shaft = serializers.CharField()
    inboard_mm = LengthMm("inboard_nm")
    outboard_mm = LengthMm("outboard_nm")
    is_exact = serializers.BooleanField()
    kits = serializers.ListField(child=serializers.CharField())


class JudgedOut(serializers.Serializer[Any]):
    """Everything that a release asks, as it stands now."""

    refusals = OrderCheckOut(many=True)
    sets = SetJudgedOut(many=True)
    fills = FillChangeOut(many=True)
    charts = serializers.ListField(child=serializers.CharField())


class RegrindOrderOut(serializers.Serializer[Any]):
    """An order with its pieces and what it does to the sets."""

    number = serializers.CharField()
    version = serializers.IntegerField()
    state = serializers.ChoiceField(OrderState.choices)
    vendor = serializers.CharField(source="vendor_code", help_text="Its label code, or empty.")
    plan = serializers.CharField()
    requested_at = serializers.DateTimeField()
    due_on = serializers.DateField(allow_null=True)
    days_late = serializers.IntegerField(help_text="Out, and due back so many days ago; else 0.")
    days_unsent = serializers.IntegerField(
        help_text="Not sent, though it was wanted back so many days ago; else 0."
    )
    sent_at = serializers.DateTimeField(allow_null=True)
    back_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    price_cents = serializers.IntegerField(allow_null=True)
    note = serializers.CharField()
    lines = RegrindOrderLineOut(many=True)
    judged = JudgedOut()


class LeadTimeOut(serializers.Serializer[Any]):
    """How long a vendor has pieces, from sent to all back, by the shop's own orders; measuring and
    release come on top."""

    vendor = serializers.CharField(help_text="Its label code; empty for the shop itself.")
    vendor_name = serializers.CharField()
    orders = serializers.IntegerField()
    pieces = serializers.IntegerField()
    median_days = serializers.FloatField()
    least_days = serializers.FloatField()
    most_days = serializers.FloatField()


class _LineIn(ActionIn):
    """Work and targets; every target within ``tolerance``, else within the shop's setting."""

    lengths = [*_targets(), TAKE_OFF, WITHIN]
    kinds = serializers.ListField(
        child=serializers.ChoiceField(WorkKind.choices), default=lambda: ["regrind"], max_length=9
    )
    mark_to_restore = serializers.BooleanField(required=False)
    note = serializers.CharField(default="", allow_blank=True, max_length=300)


class RegrindLineIn(_LineIn):
    piece = serializers.CharField(max_length=40, help_text="Its label code.")


class ChangeRegrindLineIn(_LineIn):
    reason = serializers.CharField(
        default="", allow_blank=True, max_length=400, help_text="Needed once it was sent."
    )


class RequestIn(ActionIn):
    """Pieces one by one (``lines``), by code or mark (``codes``), the rolls of a copy, or what a
    plan cuts; ``take_off`` is of codes and copy. ``leave_out``: without what is lost or on another
    order."""

    lengths = [TAKE_OFF, WITHIN]
    lines = RegrindLineIn(many=True, default=list)
    codes = serializers.ListField(
        child=serializers.CharField(max_length=60), default=list, max_length=MOST
    )
    set = serializers.CharField(required=False, max_length=30, help_text="With ``copy``.")
    copy = serializers.CharField(required=False, max_length=4)
    plan = serializers.CharField(default="", allow_blank=True, max_length=20)
    kinds = serializers.ListField(
        child=serializers.ChoiceField(WorkKind.choices), default=lambda: ["regrind"], max_length=9
    )
    vendor = serializers.CharField(
        default="", allow_blank=True, max_length=20, help_text="A place's label code."
    )
    due_on = serializers.DateField(required=False, allow_null=True)
    price = serializers.CharField(default="", allow_blank=True, max_length=30)
    note = serializers.CharField(default="", allow_blank=True, max_length=400)
    leave_out = serializers.BooleanField(default=False)


class EditRegrindOrderIn(ActionIn):
    vendor = serializers.CharField(required=False, allow_blank=True, max_length=20)
    due_on = serializers.DateField(required=False, allow_null=True)
    price = serializers.CharField(required=False, allow_blank=True, max_length=30)
    note = serializers.CharField(required=False, allow_blank=True, max_length=400)
    reason = serializers.CharField(default="", allow_blank=True, max_length=400)


class SendIn(ActionIn):
    codes = serializers.ListField(
        child=serializers.CharField(max_length=60), default=list, max_length=MOST
    )
    due_on = serializers.DateField(required=False, allow_null=True)


class BackIn(ActionIn):
    """What came back. ``is_done`` false: as it was; it leaves the order."""

    codes = serializers.ListField(child=serializers.CharField(max_length=60), max_length=MOST)
    to = serializers.CharField(default="", allow_blank=True, max_length=20)
    done_on = serializers.DateField(required=False, allow_null=True)
    is_done = serializers.BooleanField(default=True)
    cost = serializers.CharField(default="", allow_blank=True, max_length=30)
    reason = serializers.CharField(default="", allow_blank=True, max_length=400)


class OrderMarksIn(ActionIn):
    codes = serializers.ListField(child=serializers.CharField(max_length=60), max_length=MOST)
    is_there = serializers.BooleanField(default=True)


class ReleaseIn(ActionIn):
    """``version``: of the order as it was seen; ``reason``: what an engineer signs; ``codes``:
    these pieces alone, the others stay held."""

    reason = serializers.CharField(default="", allow_blank=True, max_length=400)
    version = serializers.IntegerField(required=False)
    codes = serializers.ListField(
        child=serializers.CharField(max_length=60), default=list, max_length=MOST
    )


class ForJobIn(ActionIn):
    job = serializers.CharField(max_length=30)
    reason = serializers.CharField(default="", allow_blank=True, max_length=400)
    codes = serializers.ListField(
        child=serializers.CharField(max_length=60), default=list, max_length=MOST
    )


class DropIn(ActionIn):
    reason = serializers.CharField(default="", allow_blank=True, max_length=400)


def targets_in(values: dict[str, Any]) -> dict[str, Target | int]:
    """The targets among a line's values, taken out of them."""
    found: dict[str, Target | int] = {}
    for name in DIMENSIONS:
        nm = values.pop(f"target_{name}_nm", None)
        if nm is not None:
            found[name] = nm
    return found

"""Counts on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn
from api.serializers.moments import MomentField
from api.serializers.scans import MOST_SCANS, ScanInSerializer
from tooling.models import CountState
from tooling.queries.count_plan import Due, HowOften
from tooling.queries.count_views import Outcome

KINDS = ("place", "copy", "owner")


class FiguresOut(serializers.Serializer[Any]):
    """A marked piece counts one, a bin by how many are in it; found and missing add up to
    expected."""

    expected = serializers.IntegerField()
    found = serializers.IntegerField()
    missing = serializers.IntegerField()
    extra = serializers.IntegerField()


class CountRowOut(serializers.Serializer[Any]):
    """A count. The figures are those of its close, zero before."""

    number = serializers.IntegerField()
    kind = serializers.ChoiceField(KINDS)
    subject = serializers.CharField(help_text="What is counted, as people call it.")
    code = serializers.CharField(help_text="The place's or the owner's code, the set's number.")
    state = serializers.ChoiceField(CountState.choices)
    opened_at = serializers.DateTimeField()
    opened_by = serializers.CharField()
    closed_at = serializers.DateTimeField(allow_null=True)
    closed_by = serializers.CharField()
    note = serializers.CharField()
    figures = FiguresOut()
    accuracy = serializers.FloatField(source="figures.accuracy", allow_null=True)


class CountPieceOut(serializers.Serializer[Any]):
    """A piece and what the count says of it."""

    code = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    outcome = serializers.ChoiceField([(each.value, each.value) for each in Outcome])
    expected_at = serializers.CharField(source="was_at_code", help_text="A place's label code.")
    place = serializers.CharField(source="place_code", help_text="Where it is now.")
    by = serializers.CharField(help_text="Who counted it; empty when nobody did.")
    at = serializers.DateTimeField(allow_null=True)
    entry = serializers.CharField(help_text="The id that takes the mark back; may be empty.")
    reason = serializers.CharField()


class CountBinOut(serializers.Serializer[Any]):
    """A bin: what the record had when it was counted, and how many were there."""

    code = serializers.CharField()
    drawing = serializers.CharField()
    place = serializers.CharField(source="place_code")
    expected = serializers.IntegerField()
    counted = serializers.IntegerField(allow_null=True)
    by = serializers.CharField()
    at = serializers.DateTimeField(allow_null=True)
    entry = serializers.CharField()
    reason = serializers.CharField()


class OneCountOut(serializers.Serializer[Any]):
    """One count with every piece and bin that it is about."""

    number = serializers.IntegerField(source="head.number")
    kind = serializers.ChoiceField(KINDS, source="head.kind")
    subject = serializers.CharField(source="head.subject")
    code = serializers.CharField(source="head.code")
    state = serializers.ChoiceField(CountState.choices, source="head.state")
    opened_at = serializers.DateTimeField(source="head.opened_at")
    opened_by = serializers.CharField(source="head.opened_by")
    closed_at = serializers.DateTimeField(source="head.closed_at", allow_null=True)
    closed_by = serializers.CharField(source="head.closed_by")
    note = serializers.CharField(source="head.note")
    figures = FiguresOut()
    pieces = CountPieceOut(many=True)
    bins = CountBinOut(many=True)


class OpenCountIn(ActionIn):
    """Exactly one of place, owner, or set with copy."""

    place = serializers.CharField(required=False, max_length=40, help_text="A label code.")
    owner = serializers.CharField(required=False, max_length=20, help_text="An owner's code.")
    set = serializers.CharField(required=False, max_length=40)
    copy = serializers.CharField(required=False, max_length=4)
    note = serializers.CharField(default="", allow_blank=True, max_length=400)


class CountEntryIn(ScanInSerializer):
    """One mark: this was seen there, then. Its id makes it count once."""

    to = serializers.CharField(
        max_length=200,
        allow_blank=True,
        required=False,
        default="",
        help_text="Label code of where it was seen; empty: where the record has it.",
    )
    quantity = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        min_value=0,
        max_value=1_000_000,
        help_text="For stock bins: how many are there.",
    )


class CountEntriesIn(serializers.Serializer[Any]):
    """A batch from one device, with its clock; the same shape as for scans."""

    device = serializers.CharField(max_length=80)
    device_now = MomentField()
    scans = serializers.ListField(child=CountEntryIn(), max_length=MOST_SCANS)


class TickRowIn(ActionIn):
    """Everything that is missing at one place is there."""

    place = serializers.CharField(max_length=40, help_text="A place's label code.")


class CloseCountIn(ActionIn):
    """Why things are missing. ``otherwise`` holds for every missing piece without its own."""

    reasons = serializers.DictField(
        child=serializers.CharField(max_length=200, allow_blank=True), default=dict,
        help_text="By label code of the piece or bin.",
    )  # fmt: skip
    otherwise = serializers.CharField(
        default="", allow_blank=True, max_length=200, help_text="Such as: still looking."
    )
    listed = serializers.ListField(
        child=serializers.CharField(max_length=40), required=False,
        help_text="The missing pieces as they were shown; refused when there are more by now.",
    )  # fmt: skip
    note = serializers.CharField(default="", allow_blank=True, max_length=400)


class DropCountIn(ActionIn):
    note = serializers.CharField(default="", allow_blank=True, max_length=400)


class CandidateOut(serializers.Serializer[Any]):
    """Somewhere to look or somebody to ask."""

    said = serializers.CharField()
    by = serializers.CharField()
    at = serializers.DateTimeField(allow_null=True)


class MissingOut(serializers.Serializer[Any]):
    """A missing piece with what is known of it."""

    code = serializers.CharField(source="piece.code")
    mark = serializers.CharField(source="piece.mark")
    drawing = serializers.CharField(source="piece.drawing")
    expected_at = serializers.CharField(source="piece.place_code")
    seen_at = serializers.DateTimeField(allow_null=True)
    seen_by = serializers.CharField()
    seen_place = serializers.CharField()
    candidates = CandidateOut(many=True)


class PlanRowOut(serializers.Serializer[Any]):
    """A place in the plan of counts."""

    place = serializers.CharField(source="code")
    name = serializers.CharField()
    pieces = serializers.IntegerField()
    bins = serializers.IntegerField()
    moves = serializers.IntegerField(help_text="In the days that the class is judged by.")
    moves_since = serializers.IntegerField(allow_null=True, help_text="Since the last count.")
    how_often = serializers.ChoiceField([(each.value, each.value) for each in HowOften])
    every_days = serializers.IntegerField()
    last_number = serializers.IntegerField(allow_null=True)
    last_at = serializers.DateTimeField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    due = serializers.ChoiceField([(each.value, each.value) for each in Due])
    open_number = serializers.IntegerField(allow_null=True)


class OwnerPlanOut(serializers.Serializer[Any]):
    """A customer in the plan of counts."""

    owner = serializers.CharField(source="code")
    name = serializers.CharField()
    pieces = serializers.IntegerField()
    every_days = serializers.IntegerField()
    last_number = serializers.IntegerField(allow_null=True)
    last_at = serializers.DateTimeField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    due = serializers.ChoiceField([(each.value, each.value) for each in Due])
    open_number = serializers.IntegerField(allow_null=True)


class CountPlanOut(serializers.Serializer[Any]):
    """The most pressing first."""

    moves_days = serializers.IntegerField()
    pressing = serializers.IntegerField()
    places = PlanRowOut(many=True)
    owners = OwnerPlanOut(many=True)


class MonthOut(serializers.Serializer[Any]):
    """All counts closed in one month."""

    month = serializers.DateField(help_text="Its first day.")
    counts = serializers.IntegerField()
    figures = FiguresOut()
    accuracy = serializers.FloatField(source="figures.accuracy", allow_null=True)


class SubjectOut(serializers.Serializer[Any]):
    """All counts of one place, copy or owner."""

    kind = serializers.ChoiceField(KINDS)
    subject = serializers.CharField()
    code = serializers.CharField()
    counts = serializers.IntegerField()
    figures = FiguresOut()
    accuracy = serializers.FloatField(source="figures.accuracy", allow_null=True)
    last_number = serializers.IntegerField()
    last_at = serializers.DateTimeField()
    last_accuracy = serializers.FloatField(allow_null=True)


class AccuracyOut(serializers.Serializer[Any]):
    """Found of expected, 0 to 1; months the oldest first, subjects the least accurate first."""

    total = FiguresOut()
    accuracy = serializers.FloatField(source="total.accuracy", allow_null=True)
    months = MonthOut(many=True)
    subjects = SubjectOut(many=True)
    counts = CountRowOut(many=True)

"""What passes with owners, on the wire: questions and answers, reports, what became of them."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn
from api.serializers.moments import MomentField
from tooling.models import Answer, ApprovalKind, ReportKind, ReportNote

NOTES = list(ReportNote._meta.get_field("what").flatchoices)


class ApprovalsAsked(serializers.Serializer[Any]):
    """What narrows the list."""

    piece = serializers.CharField(default="", required=False, allow_blank=True, max_length=8)
    kind = serializers.ChoiceField(
        ApprovalKind.choices, default="", required=False, allow_blank=True
    )
    after = serializers.IntegerField(default=None, required=False, min_value=1, max_value=2**63 - 1)


class ApprovalIn(ActionIn):
    """A question or an answer, about pieces by code, a whole copy of a set, or everything of the
    owner's. As a form it may carry the letter."""

    kind = serializers.ChoiceField(ApprovalKind.choices)
    answer = serializers.ChoiceField(Answer.choices)
    pieces = serializers.ListField(child=serializers.CharField(max_length=8), required=False)
    set = serializers.CharField(default="", allow_blank=True, max_length=30)
    copy = serializers.CharField(default="", allow_blank=True, max_length=4)
    of_all = serializers.BooleanField(default=False)
    dated_on = serializers.DateField(help_text="The date on the letter.")
    until = serializers.DateField(required=False, allow_null=True, help_text="The last day.")
    reference = serializers.CharField(default="", allow_blank=True, max_length=120)
    answered_by = serializers.CharField(default="", allow_blank=True, max_length=120)
    note = serializers.CharField(default="", allow_blank=True, max_length=400)
    letter = serializers.FileField(required=False, allow_empty_file=True)


class ApprovalOut(serializers.Serializer[Any]):
    """A question or an answer as it was written down."""

    id = serializers.IntegerField()
    kind = serializers.ChoiceField(ApprovalKind.choices)
    answer = serializers.ChoiceField(Answer.choices)
    pieces = serializers.IntegerField(help_text="How many it names; 0: everything of theirs.")
    dated_on = serializers.DateField()
    until = serializers.DateField(allow_null=True)
    reference = serializers.CharField()
    answered_by = serializers.CharField()
    note = serializers.CharField()
    letter = serializers.CharField(help_text="The file's name; empty without one.")
    by = serializers.CharField()
    at = serializers.DateTimeField()


class QuestionOut(serializers.Serializer[Any]):
    """A question that its owner has not answered."""

    owner = serializers.CharField()
    kind = serializers.ChoiceField(ApprovalKind.choices)
    pieces = serializers.IntegerField(help_text="How many wait; 0: everything of theirs.")
    codes = serializers.ListField(child=serializers.CharField(), help_text="A few of them.")
    asked_on = serializers.DateField()
    asked_again_on = serializers.DateField(allow_null=True)
    days = serializers.IntegerField(help_text="Since it was first asked.")
    reference = serializers.CharField()


class ReportsAsked(serializers.Serializer[Any]):
    """What narrows the list."""

    owner = serializers.CharField(default="", required=False, allow_blank=True, max_length=20)
    piece = serializers.CharField(default="", required=False, allow_blank=True, max_length=8)
    open = serializers.BooleanField(
        default=False, required=False, help_text="Only those of which the owner was not told."
    )
    after = serializers.IntegerField(default=None, required=False, min_value=1, max_value=2**63 - 1)


class ReportIn(ActionIn):
    """Something of a customer's was lost, damaged or found unsuitable: a piece, or some of a
    bin."""

    piece = serializers.CharField(default="", allow_blank=True, max_length=8)
    stock = serializers.CharField(
        default="", allow_blank=True, max_length=8, help_text="The bin's label code."
    )
    quantity = serializers.IntegerField(default=1, min_value=1, max_value=1_000_000)
    kind = serializers.ChoiceField(ReportKind.choices)
    what_happened = serializers.CharField(max_length=400)


class NoteIn(ActionIn):
    """What became of a report. ``told`` closes it and says whom, and when if that was not now."""

    what = serializers.ChoiceField(NOTES)
    happened_at = MomentField(required=False)
    whom = serializers.CharField(default="", allow_blank=True, max_length=120)
    note = serializers.CharField(default="", allow_blank=True, max_length=400)


class NoteOut(serializers.Serializer[Any]):
    what = serializers.ChoiceField(NOTES)
    happened_at = serializers.DateTimeField()
    whom = serializers.CharField()
    note = serializers.CharField()
    by = serializers.CharField()


class ReportOut(serializers.Serializer[Any]):
    """A report to an owner."""

    id = serializers.IntegerField()
    owner = serializers.CharField()
    kind = serializers.ChoiceField(ReportKind.choices)
    code = serializers.CharField(help_text="Of the piece, or of the bin.")
    is_piece = serializers.BooleanField()
    quantity = serializers.IntegerField()
    what_happened = serializers.CharField()
    incident = serializers.IntegerField(allow_null=True)
    opened_at = serializers.DateTimeField()
    by = serializers.CharField()
    is_open = serializers.BooleanField(help_text="The owner has not been told.")
    is_found = serializers.BooleanField()


class ReportDetailOut(ReportOut):
    notes = NoteOut(many=True)

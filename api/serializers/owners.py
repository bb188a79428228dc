"""Owners on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn
from api.serializers.moments import MomentField
from tooling.models import Condition
from tooling.queries.owner_marks import WHICH


class OwnerOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    name = serializers.CharField()
    is_shop = serializers.BooleanField(help_text="The shop itself; one owner is.")
    contact = serializers.CharField()
    consent_reference = serializers.CharField(
        help_text="The written consent under which other jobs may use this owner's pieces."
    )
    insurance_reference = serializers.CharField(
        help_text="Who insures this owner's tooling, and under which policy."
    )


class EditOwnerIn(ActionIn):
    """What is to change; the code stays."""

    name = serializers.CharField(required=False, max_length=120)
    contact = serializers.CharField(required=False, allow_blank=True, max_length=200)
    consent_reference = serializers.CharField(required=False, allow_blank=True, max_length=120)
    insurance_reference = serializers.CharField(required=False, allow_blank=True, max_length=120)
    is_shop = serializers.BooleanField(required=False)


class CreateOwnerIn(EditOwnerIn):
    """A new owner."""

    code = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=120)


class RegisterRowOut(serializers.Serializer[Any]):
    """A piece of an owner's, with what the owner asks about it."""

    code = serializers.CharField()
    mark = serializers.CharField()
    copy_letter = serializers.CharField()
    drawing = serializers.CharField()
    revision = serializers.CharField()
    set_and_pass = serializers.CharField(help_text="Where it normally goes, in words.")
    place = serializers.CharField(source="place_code", help_text="The place's label code.")
    place_name = serializers.CharField(source="place")
    condition = serializers.ChoiceField(Condition.choices)
    value_cents = serializers.IntegerField(
        allow_null=True, help_text="In hundredths of the shop's currency; null: not valued."
    )
    has_mark = serializers.BooleanField(
        allow_null=True, help_text="The owner's mark is on it; null: nobody has looked."
    )
    mark_checked_at = serializers.DateTimeField(allow_null=True)
    counted_at = serializers.DateTimeField(allow_null=True)
    seen_at = serializers.DateTimeField(allow_null=True)
    open_reports = serializers.IntegerField()
    picture = serializers.IntegerField(allow_null=True, help_text="The id of its newest picture.")


class PapersIn(ActionIn):
    """On which paper the register is drawn."""

    paper = serializers.ChoiceField(["a4", "letter"], default="a4")


class TakeOverIn(ActionIn):
    """Pieces that become this owner's: by code, or a whole copy of a set."""

    pieces = serializers.ListField(child=serializers.CharField(max_length=8), default=list)
    set = serializers.CharField(default="", allow_blank=True, max_length=30)
    copy = serializers.CharField(default="", allow_blank=True, max_length=4)
    reason = serializers.CharField(max_length=400)


class TakenOverOut(serializers.Serializer[Any]):
    changed = serializers.IntegerField(help_text="How many changed hands; the rest were theirs.")


class MarksAsked(serializers.Serializer[Any]):
    """Which pieces of the owner's."""

    which = serializers.ChoiceField(WHICH, default="todo", required=False)
    begin = serializers.IntegerField(default=0, min_value=0, required=False)


class MarkRowOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    place_name = serializers.CharField(source="place")
    has_mark = serializers.BooleanField(allow_null=True)
    checked_at = serializers.DateTimeField(allow_null=True)
    note = serializers.CharField()


class MarkCountsOut(serializers.Serializer[Any]):
    pieces = serializers.IntegerField()
    marked = serializers.IntegerField()
    unmarked = serializers.IntegerField()
    never = serializers.IntegerField()


class MarksOut(serializers.Serializer[Any]):
    """A stretch of the walk along the racks; the next begins at ``following``."""

    counts = MarkCountsOut()
    following = serializers.IntegerField(allow_null=True)
    rows = MarkRowOut(many=True)


class LookIn(ActionIn):
    """Somebody looked for the owner's mark on a piece."""

    is_there = serializers.BooleanField()
    checked_at = MomentField(required=False)
    picture = serializers.IntegerField(
        required=False, min_value=1, help_text="The id of a picture of this piece."
    )
    note = serializers.CharField(default="", allow_blank=True, max_length=200)


class OneOfMarksIn(serializers.Serializer[Any]):
    piece = serializers.CharField(max_length=8)
    is_there = serializers.BooleanField()


class MarksIn(ActionIn):
    """Several looks at once: all or none."""

    checks = OneOfMarksIn(many=True)


class TotalOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    code = serializers.CharField(source="key", help_text="Of the owner or of the place.")
    pieces = serializers.IntegerField()
    unvalued = serializers.IntegerField()
    value_cents = serializers.IntegerField()
    insurance = serializers.CharField()


class InsuredOut(serializers.Serializer[Any]):
    """What tooling is worth, in hundredths of the shop's currency."""

    currency = serializers.CharField()
    by_owner = TotalOut(many=True)
    by_place = TotalOut(many=True)
    total = TotalOut()


class OwnerAsked(serializers.Serializer[Any]):
    owner = serializers.CharField(
        default="", required=False, allow_blank=True, max_length=20, help_text="An owner's code."
    )


class DormantRowOut(serializers.Serializer[Any]):
    """A piece that lies still."""

    code = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    owner = serializers.CharField()
    place = serializers.CharField(source="place_code")
    place_name = serializers.CharField(source="place")
    value_cents = serializers.IntegerField(allow_null=True)
    ran_at = serializers.DateTimeField(allow_null=True)
    for_job_at = serializers.DateTimeField(allow_null=True)
    counted_at = serializers.DateTimeField(allow_null=True)

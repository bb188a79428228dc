"""Pictures, incidents, stops and conditions on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn
from api.serializers.moments import MomentField
from tooling.models import Condition, IncidentKind
from tooling.services.holds import CHOSEN, StopFor

FOUND = [(each.value, each.label) for each in CHOSEN]
TOUCHED = [each for each in Condition.choices if each[0] != Condition.NEW]


class PicturesAsked(serializers.Serializer[Any]):
    """What narrows the list; ``after`` is the id after which an older page begins."""

    piece = serializers.CharField(required=False, default="", max_length=8)
    place = serializers.CharField(required=False, default="", max_length=8)
    incident = serializers.IntegerField(required=False, default=None, min_value=1)
    after = serializers.IntegerField(required=False, default=None, min_value=1)


class PictureOut(serializers.Serializer[Any]):
    """A picture; its bytes are at ``file/`` and ``small/``. Sizes in px, of the large one."""

    id = serializers.IntegerField()
    sha256 = serializers.CharField()
    width = serializers.IntegerField()
    height = serializers.IntegerField()
    caption = serializers.CharField()
    at = serializers.DateTimeField()
    by = serializers.CharField()
    piece = serializers.CharField(help_text="Its code; empty where it shows none.")
    place = serializers.CharField(help_text="Its label code; empty where it shows none.")
    incident = serializers.IntegerField(allow_null=True)
    is_taken_back = serializers.BooleanField()


class KeepPicturesIn(ActionIn):
    """Photographs of one thing: JPEG, PNG or WebP, at most 30 MB each; all are kept or none."""

    files = serializers.ListField(
        child=serializers.FileField(allow_empty_file=True), required=False, default=list
    )
    piece = serializers.CharField(required=False, default="", allow_blank=True, max_length=40)
    place = serializers.CharField(required=False, default="", allow_blank=True, max_length=40)
    incident = serializers.IntegerField(required=False, allow_null=True, min_value=1)
    caption = serializers.CharField(default="", allow_blank=True, max_length=200)


class WordsIn(ActionIn):
    caption = serializers.CharField(allow_blank=True, max_length=200)


class TakeBackIn(ActionIn):
    reason = serializers.CharField(default="", allow_blank=True, max_length=400)


class StopIn(ActionIn):
    """Why a piece is stopped. ``uuid`` is the sender's own: the same again stops nothing twice."""

    what = serializers.ChoiceField(StopFor.choices)
    note = serializers.CharField(default="", allow_blank=True, max_length=200)
    uuid = serializers.UUIDField(required=False)


class ConditionIn(ActionIn):
    condition = serializers.ChoiceField(FOUND)
    reason = serializers.CharField(default="", allow_blank=True, max_length=400)


class ConditionOut(serializers.Serializer[Any]):
    """``change`` is what to name to undo it; null when the piece was so already."""

    code = serializers.CharField()
    condition = serializers.CharField()
    change = serializers.IntegerField(allow_null=True)


class UndoConditionIn(ActionIn):
    change = serializers.IntegerField(min_value=1)


class LiftIn(ActionIn):
    condition = serializers.ChoiceField(FOUND, help_text="As it was found.")
    reason = serializers.CharField(max_length=400)


class TouchedIn(ActionIn):
    piece = serializers.CharField(max_length=40)
    condition = serializers.ChoiceField(TOUCHED, default=Condition.HOLD)


class IncidentIn(ActionIn):
    """What went wrong. ``uuid`` is the sender's own: the same again is written once."""

    kind = serializers.ChoiceField(IncidentKind.choices)
    happened_at = MomentField(required=False, help_text="Left out: now.")
    mill = serializers.CharField(default="", allow_blank=True, max_length=40)
    kit = serializers.CharField(default="", allow_blank=True, max_length=8)
    station = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=9999)
    set_pass = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=9999
    )
    pieces = TouchedIn(many=True, default=list)
    note = serializers.CharField(default="", allow_blank=True, max_length=400)
    uuid = serializers.UUIDField(required=False)
    corrects = serializers.IntegerField(
        required=False, min_value=1, help_text="The id of the incident that this one puts right."
    )


class IncidentsAsked(serializers.Serializer[Any]):
    """What narrows the list."""

    kind = serializers.ChoiceField(
        IncidentKind.choices, required=False, default="", allow_blank=True
    )
    mill = serializers.CharField(required=False, default="", allow_blank=True, max_length=40)
    kit = serializers.CharField(required=False, default="", allow_blank=True, max_length=8)
    piece = serializers.CharField(required=False, default="", allow_blank=True, max_length=8)


class IncidentOut(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    kind = serializers.ChoiceField(IncidentKind.choices)
    mill = serializers.CharField(source="mill_number", help_text="Empty: on no mill.")
    kit = serializers.CharField()
    station = serializers.IntegerField(allow_null=True)
    set_pass = serializers.IntegerField(allow_null=True)
    happened_at = serializers.DateTimeField()
    by = serializers.CharField()
    note = serializers.CharField()
    pieces = serializers.IntegerField(help_text="How many it touched.")


class TouchedOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    before = serializers.ChoiceField(Condition.choices, source="before_code")
    after = serializers.ChoiceField(Condition.choices, source="after_code")
    now = serializers.ChoiceField(Condition.choices, source="now_code")


class IncidentDetailOut(IncidentOut):
    """One incident with what it touched and its pictures."""

    uuid = serializers.UUIDField()
    at = serializers.DateTimeField()
    corrects = serializers.IntegerField(allow_null=True)
    corrected_by = serializers.IntegerField(allow_null=True)
    touched = TouchedOut(many=True)
    pictures = PictureOut(many=True)


class FileLinkOut(serializers.Serializer[Any]):
    """A drawing's file; its bytes are at ``files/{sha256}/``."""

    name = serializers.CharField()
    sha256 = serializers.CharField()
    content_type = serializers.CharField()
    size = serializers.IntegerField(help_text="Bytes.")


class AttachIn(ActionIn):
    """PDF, PNG, JPEG, DXF, DWG, STEP or IGES, told by what is inside; at most 30 MB."""

    file = serializers.FileField(allow_empty_file=True)

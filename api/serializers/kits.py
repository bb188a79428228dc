"""Jobs and kits on the wire."""

from __future__ import annotations

from typing import Any, ClassVar

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from api.serializers.lengths import ActionIn, AskedLength, LengthMm, StripLengthM
from api.serializers.moments import MomentField
from tooling.engineering.lengths import StripUnit, parse_strip_length
from tooling.errors import ToolingError
from tooling.models import JobState, KitState, Shaft, Unit
from tooling.queries.kit_views import State

STRIP = [
    AskedLength("thickness", "thickness_nm", _("Strip thickness"), usual_mm=(0.1, 30.0)),
    AskedLength("width", "width_nm", _("Strip width"), usual_mm=(5.0, 3_000.0)),
]
STRIP_UNITS: tuple[StripUnit, ...] = ("m", "ft")


class JobOut(serializers.Serializer[Any]):
    """A planned run. ``kit`` is the number of its open kit, if it has one."""

    number = serializers.CharField()
    state = serializers.ChoiceField(JobState.choices)
    set = serializers.CharField(source="tool_set.number")
    variant = serializers.CharField(source="variant.name", default=None, allow_null=True)
    mill = serializers.CharField(source="mill.number")
    customer = serializers.CharField(source="customer.code", default=None, allow_null=True)
    grade = serializers.CharField()
    unit = serializers.ChoiceField(Unit.choices)
    thickness_mm = LengthMm("thickness_nm")
    width_mm = LengthMm("width_nm")
    coating = serializers.CharField()
    strip_class = serializers.CharField()
    length_m = StripLengthM("length_nm")
    starts_at = serializers.DateTimeField()
    hours = serializers.FloatField()
    gathers_at = serializers.DateTimeField()
    due_at = serializers.DateTimeField(
        allow_null=True, help_text="When it must have been run; null: it is never late."
    )
    kit = serializers.CharField(source="open_kit", allow_null=True)


class EditJobIn(ActionIn):
    """What may change of a planned job; set, variant and mill only while it has no kit."""

    lengths: ClassVar[list[AskedLength]] = STRIP

    set = serializers.CharField(required=False, max_length=40)
    mill = serializers.CharField(required=False, max_length=20)
    variant = serializers.CharField(required=False, allow_blank=True, max_length=40)
    customer = serializers.CharField(required=False, max_length=20, help_text="An owner's code.")
    grade = serializers.CharField(required=False, allow_blank=True, max_length=40)
    unit = serializers.ChoiceField(Unit.choices, required=False)
    coating = serializers.CharField(required=False, allow_blank=True, max_length=40)
    strip_class = serializers.CharField(required=False, allow_blank=True, max_length=40)
    length_m = serializers.CharField(required=False, max_length=40)
    length_ft = serializers.CharField(required=False, max_length=40)
    starts_at = MomentField(required=False)
    hours = serializers.FloatField(required=False)
    gathers_at = MomentField(required=False)
    due_at = MomentField(required=False, allow_null=True)

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        said = {u: values.pop(f"length_{u}") for u in STRIP_UNITS if f"length_{u}" in values}
        if len(said) > 1:
            raise ToolingError(
                "ambiguous_length",
                _("The length is given in m and in ft. Send one of the two."),
                in_field="length_m",
            )
        for unit, text in said.items():
            values["length_nm"] = parse_strip_length(text, unit=unit, field=str(_("Length"))).nm
        return values


class PlanJobIn(EditJobIn):
    """A new job. Without ``gathers_at`` its kit is gathered a day before it starts."""

    number = serializers.CharField(max_length=30)
    set = serializers.CharField(max_length=40)
    mill = serializers.CharField(max_length=20)
    starts_at = MomentField()


class CancelJobIn(ActionIn):
    reason = serializers.CharField(max_length=400)


class OpenKitIn(ActionIn):
    """Opens a kit for a job; ``place`` is where it is gathered."""

    job = serializers.CharField(max_length=30)
    place = serializers.CharField(required=False, max_length=40, help_text="A label code.")


class EditKitIn(ActionIn):
    place = serializers.CharField(
        allow_null=True, max_length=40, help_text="Label code of the gathering place, or null."
    )


class AssembleIn(ActionIn):
    copy = serializers.CharField(
        required=False, max_length=4, help_text="Letter of the copy to take whole."
    )


class CloseKitIn(ActionIn):
    reason = serializers.CharField(
        default="", allow_blank=True, max_length=400, help_text="Needed when the kit is short."
    )


class FillIn(ActionIn):
    """One position. ``code``: the piece or stock bin to choose, null to claim nothing; left out,
    the kit is assembled again and fills what it can."""

    station = serializers.IntegerField(min_value=1, max_value=999)
    shaft = serializers.ChoiceField(Shaft.choices)
    order = serializers.IntegerField(min_value=1, max_value=999)
    code = serializers.CharField(required=False, allow_null=True, max_length=40)
    reason = serializers.CharField(default="", allow_blank=True, max_length=300)


class KitRowOut(serializers.Serializer[Any]):
    """One open kit in the list, by the job's start."""

    number = serializers.CharField()
    state = serializers.ChoiceField(KitState.choices)
    job = serializers.CharField(source="job.number")
    mill = serializers.CharField(source="job.mill_number")
    starts_at = serializers.DateTimeField(source="job.starts_at")
    counts = serializers.SerializerMethodField()
    header = serializers.CharField()
    conflicts = serializers.IntegerField()

    def get_counts(self, row: Any) -> dict[str, int]:
        counts: dict[str, int] = row.counts.as_dict()
        return counts


class ProveIn(ActionIn):
    """What the run that proves the set was like."""

    note = serializers.CharField(default="", allow_blank=True, max_length=400)


class CountsOut(serializers.Serializer[Any]):
    """Positions by state; they add up to all positions."""

    here = serializers.IntegerField()
    to_fetch = serializers.IntegerField()
    missing = serializers.IntegerField()
    worn = serializers.IntegerField()
    may_not_last = serializers.IntegerField()
    held = serializers.IntegerField()
    out = serializers.IntegerField()
    taken = serializers.IntegerField()
    does_not_fit = serializers.IntegerField()


class KitPositionOut(serializers.Serializer[Any]):
    """One position: what it calls for, what is claimed for it, and how that stands."""

    station = serializers.IntegerField()
    shaft = serializers.ChoiceField(Shaft.choices)
    order = serializers.IntegerField(help_text="Counted from the shoulder.")
    drawing = serializers.CharField()
    piece = serializers.CharField(
        allow_null=True, help_text="Label code of the piece, or of the bin of a pooled count."
    )
    state = serializers.ChoiceField([(state.value, state.value) for state in State])
    place = serializers.CharField(allow_null=True, help_text="Label code of where it is now.")
    reason = serializers.CharField()
    alternative = serializers.CharField(
        allow_null=True, help_text="Label code of a free piece or bin of the same drawing."
    )
    due_back = serializers.DateTimeField(
        allow_null=True, help_text="When what is taken or out comes back, as far as somebody said."
    )
    back_in_time = serializers.BooleanField(
        allow_null=True, help_text="Of what is out: back before this kit is gathered."
    )
    revision_note = serializers.CharField(
        help_text="What a newer revision says to mind of a piece made to an older one."
    )
    is_new = serializers.BooleanField(help_text="The set was not proved with it yet.")
    where = serializers.CharField(help_text="Where it stands on the line; empty on a shaft.")

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        number = serializers.IntegerField(source="pass_number")
        return {"station": fields.pop("station"), "pass": number, **fields}

    def to_representation(self, view: Any) -> dict[str, Any]:
        offer = view.alternative
        return {
            "station": view.station,
            "pass": view.pass_number,
            "shaft": view.shaft,
            "order": view.order,
            "drawing": view.drawing,
            "piece": view.code or None,
            "state": view.state.value,
            "place": view.place_code or None,
            "reason": view.reason,
            "alternative": offer.code if offer else None,
            "due_back": view.due_back.isoformat() if view.due_back else None,
            "back_in_time": view.back_in_time,
            "revision_note": view.revision_note,
            "is_new": view.is_new,
            "where": view.where,
        }


class KitOut(serializers.Serializer[Any]):
    """A kit with every position, as its page shows it."""

    number = serializers.CharField()
    version = serializers.IntegerField(help_text="Grows with everything that the kit shows.")
    state = serializers.ChoiceField(KitState.choices)
    job = serializers.CharField(source="job.number")
    mill = serializers.CharField(source="job.mill_number")
    counts = CountsOut()
    positions = KitPositionOut(many=True)

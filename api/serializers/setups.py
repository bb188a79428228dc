"""Setups on the wire: what stands on which shaft, what was set, what was checked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.serializers.lengths import ActionIn, AskedLength, LengthMm, read_length
from tooling.engineering.lengths import Unit, exact_mm
from tooling.errors import ToolingError
from tooling.models import CheckLevel, Method, SetupState
from tooling.queries.as_set import LENGTH_UNITS
from tooling.queries.setup_views import MountState, StackRow
from tooling.services.as_set import ENDS, SetIn
from tooling.services.part_checks import CheckIn

SHAFTS = [("top", "top"), ("bottom", "bottom"), ("side", "side rolls")]
ACTS = [(name, name) for name in ("mounted", "skipped", "taken_back")]
STATES = [(state.value, state.value) for state in MountState]


class StartIn(ActionIn):
    """Begins to mount a kit. Left out: as the mill's setting and the set's chart say."""

    kit = serializers.CharField(max_length=8)
    plate = serializers.CharField(
        required=False, max_length=40, help_text="Label code of the plate it is built on."
    )
    check_level = serializers.ChoiceField(CheckLevel.choices, required=False)
    turned = serializers.BooleanField(required=False, help_text="For the other hand.")


class LeftOutIn(ActionIn):
    order = serializers.IntegerField(min_value=1, max_value=999, help_text="As in the kit.")
    reason = serializers.CharField(max_length=120)


class SubstituteIn(ActionIn):
    order = serializers.IntegerField(min_value=1, max_value=999, help_text="As in the kit.")
    code = serializers.CharField(max_length=40, help_text="The other piece, or its bin.")
    reason = serializers.CharField(max_length=300)


class MountIn(ActionIn):
    """What is said of one shaft. ``codes``: what was scanned, in order; ``substitutes`` go on
    instead; ``id`` makes a repeat harmless."""

    id = serializers.UUIDField(required=False)
    station = serializers.IntegerField(min_value=1, max_value=999)
    shaft = serializers.ChoiceField(SHAFTS)
    what = serializers.ChoiceField(ACTS, default="mounted")
    codes = serializers.ListField(
        child=serializers.CharField(max_length=60), default=list, max_length=200
    )
    left_out = LeftOutIn(many=True, default=list)
    substitutes = SubstituteIn(many=True, default=list)
    reason = serializers.CharField(
        default="", allow_blank=True, max_length=400, help_text="Why the shaft is left out."
    )


class NumberIn(ActionIn):
    """One number as it was set: ``value_mm`` or ``value_in``, or ``value`` with its ``unit``."""

    name = serializers.CharField(
        default="", allow_blank=True, max_length=60, help_text="Empty: the gap."
    )
    end = serializers.ChoiceField([(end, end) for end in ENDS], default="")
    value_mm = serializers.CharField(required=False, max_length=40)
    value_in = serializers.CharField(required=False, max_length=40)
    value = serializers.FloatField(required=False)
    unit = serializers.CharField(required=False, max_length=12)

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        said = read_value(values, str(_("Value")))
        return {"number": SetIn(end=values["end"], name=values["name"], **said)}


class GapsIn(ActionIn):
    """What was set at a station; ``as_target``: everything that has a target is set as it."""

    id = serializers.UUIDField(required=False)
    station = serializers.IntegerField(min_value=1, max_value=999)
    numbers = NumberIn(many=True, default=list)
    method = serializers.ChoiceField(Method.choices, default="", allow_blank=True)
    loaded = serializers.BooleanField(allow_null=True, default=None)
    as_target = serializers.BooleanField(default=False)
    take_back = serializers.BooleanField(default=False, help_text="The last ones do not hold.")
    sure = serializers.BooleanField(default=False, help_text="It is right though it is far off.")
    note = serializers.CharField(default="", allow_blank=True, max_length=400)


class CheckRowIn(ActionIn):
    """One characteristic: ``value_mm``, ``value_in`` or ``value``, or only whether it is good."""

    characteristic = serializers.CharField(max_length=80)
    value_mm = serializers.CharField(required=False, max_length=40)
    value_in = serializers.CharField(required=False, max_length=40)
    value = serializers.FloatField(required=False)
    good = serializers.BooleanField(required=False, allow_null=True)

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        name = values["characteristic"]
        said = read_value(values, name)
        return {"check": CheckIn(name, said.get("value_nm"), said.get("value"), values.get("good"))}


class ChecksIn(ActionIn):
    """What the first piece had; ``first_good_part``: it is good, the setup runs."""

    id = serializers.UUIDField(required=False)
    checks = CheckRowIn(many=True, default=list)
    first_good_part = serializers.BooleanField(default=False)
    note = serializers.CharField(default="", allow_blank=True, max_length=400)


class HandoverIn(ActionIn):
    """To the next shift; ``take_back``: it was not handed over."""

    note = serializers.CharField(default="", allow_blank=True, max_length=400)
    take_back = serializers.BooleanField(default=False)


class ProveSetupIn(ActionIn):
    """What the run that proves the set was like."""

    note = serializers.CharField(default="", allow_blank=True, max_length=400)


class StripIn(ActionIn):
    """The strip as it was measured on the mill; ``take_back``: the newest measure does not hold."""

    lengths: ClassVar[list[AskedLength]] = [
        AskedLength("thickness", "thickness_nm", _("Strip thickness"), usual_mm=(0.1, 30.0)),
        AskedLength("width", "width_nm", _("Strip width")),
    ]
    id = serializers.UUIDField(required=False)
    coil = serializers.CharField(default="", allow_blank=True, max_length=60)
    gauge = serializers.CharField(default="", allow_blank=True, help_text="Its number.")
    sure = serializers.BooleanField(default=False, help_text="It is right though far off plan.")
    take_back = serializers.BooleanField(default=False)

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        if not values["take_back"] and values.get("thickness_nm") is None:
            raise ToolingError("nothing_given", _("Write how thick the strip is."),
                               in_field="thickness_mm")  # fmt: skip
        return values


class NothingIn(ActionIn):
    """An act that says everything by its address."""


def read_value(values: Mapping[str, Any], label: str) -> dict[str, Any]:
    """The number of a body as the services take it; the field's name is the unit. Raises
    ``ambiguous_length`` for two numbers and what reading a length raises."""
    asked = AskedLength("value", "value_nm", label, signed=True)
    said = [name for name in ("value_mm", "value_in", "value") if values.get(name) is not None]
    if len(said) > 1:
        raise ToolingError(
            "ambiguous_length",
            _("{field} is given twice. Send one of value_mm, value_in and value."),
            field=label,
            in_field=said[0],
        )
    if said and said[0] != "value":
        unit: Unit = "in" if said[0] == "value_in" else "mm"
        return {"value_nm": read_length(asked, values[said[0]], unit), "unit": unit}
    found = {"value": values["value"]} if said else {}
    unit_said = str(values.get("unit", ""))
    return {**found, "unit": "" if unit_said in LENGTH_UNITS else unit_said}


class SetupRowOut(serializers.Serializer[Any]):
    number = serializers.CharField()
    job = serializers.CharField()
    set = serializers.CharField(source="set_number")
    mill = serializers.CharField()
    state = serializers.ChoiceField(SetupState.choices)
    started_at = serializers.DateTimeField()
    good_at = serializers.DateTimeField(allow_null=True)


class MarkOut(serializers.Serializer[Any]):
    """One shaft: how it stands and who said so."""

    shaft = serializers.ChoiceField(SHAFTS)
    state = serializers.ChoiceField(STATES)
    by = serializers.CharField()
    at = serializers.DateTimeField(allow_null=True)
    checked = serializers.CharField(help_text="How much was scanned; empty: nothing.")
    note = serializers.CharField(help_text="What was left out, and why.")


class SetupStationOut(serializers.Serializer[Any]):
    station = serializers.IntegerField(source="number")
    code = serializers.CharField()
    shafts = MarkOut(many=True)
    numbers_set = serializers.IntegerField(source="gaps_set")
    numbers_wanted = serializers.IntegerField(source="gaps_wanted")


class CheckOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    unit = serializers.CharField()
    value_mm = LengthMm("value_nm")
    value = serializers.FloatField(allow_null=True)
    good = serializers.BooleanField(source="is_good", allow_null=True)


class HandoverOut(serializers.Serializer[Any]):
    at = serializers.DateTimeField()
    by = serializers.CharField()
    note = serializers.CharField()


class StripOut(serializers.Serializer[Any]):
    """The strip that gaps are reckoned with: as measured last, else as planned."""

    thickness_mm = LengthMm("thickness_nm")
    planned_mm = LengthMm("planned_nm")
    width_mm = LengthMm("width_nm")
    measured = serializers.BooleanField(source="is_measured")
    coil = serializers.CharField()
    gauge = serializers.CharField()
    by = serializers.CharField()
    at = serializers.DateTimeField(allow_null=True)


class SetupOut(serializers.Serializer[Any]):
    """A setup with every station of its mill."""

    number = serializers.CharField(source="head.number")
    version = serializers.IntegerField(source="head.version")
    state = serializers.ChoiceField(SetupState.choices, source="head.state")
    job = serializers.CharField(source="head.job")
    set = serializers.CharField(source="head.set_number")
    mill = serializers.CharField(source="head.mill_number")
    plate = serializers.CharField(source="head.plate")
    docked = serializers.BooleanField(source="head.is_docked")
    turned = serializers.BooleanField(source="head.is_turned")
    needs_proving = serializers.BooleanField(source="head.needs_proving")
    check_level = serializers.ChoiceField(CheckLevel.choices, source="head.check_level")
    started_at = serializers.DateTimeField(source="head.started_at")
    good_at = serializers.DateTimeField(source="head.good_at", allow_null=True)
    stations = SetupStationOut(many=True)
    checks = CheckOut(many=True)
    handover = HandoverOut(allow_null=True)
    strip = StripOut()
    summary = serializers.ListField(child=serializers.CharField())


class StackRowOut(serializers.Serializer[Any]):
    """One thing of a shaft, from the shoulder."""

    turn = serializers.IntegerField(help_text="From the shoulder, on this mill.")
    order = serializers.IntegerField(help_text="As in the kit.")
    kind = serializers.CharField()
    drawing = serializers.CharField()
    mark = serializers.CharField()
    code = serializers.CharField()
    length_mm = LengthMm("length_nm")
    mass_kg = serializers.FloatField(allow_null=True)
    mark_faces = serializers.CharField(source="faces")
    here = serializers.BooleanField(source="is_here")
    place = serializers.CharField()

    def to_representation(self, row: StackRow) -> dict[str, Any]:
        said = super().to_representation(row)
        return {**said, "length_mm": None if row.length_nm is None else exact_mm(row.length_nm)}


class SetupShaftOut(serializers.Serializer[Any]):
    shaft = serializers.CharField()
    state = serializers.ChoiceField(STATES, source="mark.state")
    by = serializers.CharField(source="mark.by")
    stack = StackRowOut(source="rows", many=True)


class StationAnswerOut(serializers.Serializer[Any]):
    """What somebody needs who stands at a station."""

    setup = serializers.CharField(source="head.number")
    version = serializers.IntegerField(source="head.version")
    station = serializers.IntegerField(source="number")
    code = serializers.CharField()
    shafts = SetupShaftOut(many=True)


class EndOut(serializers.Serializer[Any]):
    end = serializers.CharField()
    value_mm = LengthMm("value_nm")
    value = serializers.FloatField(allow_null=True)
    unit = serializers.CharField()
    method = serializers.CharField()
    loaded = serializers.BooleanField(source="is_loaded", allow_null=True)
    as_target = serializers.BooleanField(source="is_as_target")
    off_mm = LengthMm("off_nm")
    out_of_window = serializers.BooleanField(source="is_out")


class SettingOut(serializers.Serializer[Any]):
    name = serializers.CharField(help_text="Empty: the gap.")
    target_mm = LengthMm("target_nm")
    target = serializers.FloatField(allow_null=True)
    unit = serializers.CharField()
    ends = EndOut(many=True)


@extend_schema_field({"type": "object", "nullable": True})
class TiltField(serializers.Field[Any, Any, Any, Any]):
    def to_representation(self, tilt: Any) -> dict[str, Any]:
        return {"per_100": tilt.per_100, "wider": tilt.wider, "beyond": tilt.is_beyond,
                "how": [tilt.step.as_dict()]}  # fmt: skip


class GapsOut(serializers.Serializer[Any]):
    """The numbers of one station, with the tilt where both ends were found in one way."""

    station = serializers.IntegerField()
    strip = StripOut()
    window_mm = LengthMm("window_nm")
    settings = SettingOut(many=True)
    tilt = TiltField(allow_null=True, read_only=True)


class ProvedOut(serializers.Serializer[Any]):
    pieces = serializers.IntegerField(help_text="How many were new and are sound now.")

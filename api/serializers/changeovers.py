"""What stands on mills, changeovers, the order of jobs, times and striking down, on the wire."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.serializers.lengths import ActionIn, LengthMm
from api.serializers.moments import MomentField
from tooling.models import DelayCause, MillRule, SetupState, StepKind
from tooling.services.holds import StopFor
from tooling.services.mill_care import CHECKS

Out = serializers.Serializer[Any]


class StandingOut(Out):
    """The setup that stands on a mill."""

    number = serializers.CharField(source="kit", help_text="Its kit's number.")
    job = serializers.CharField()
    set = serializers.CharField(source="set_number")
    state = serializers.ChoiceField(SetupState.choices)
    since = serializers.DateTimeField(help_text="Its first good part, else when it was begun.")


class StoodOut(Out):
    """One thing at a station. ``of``: setup, waiting (its shaft is not said mounted) or other."""

    code = serializers.CharField(help_text="Of a piece or a bin; empty for a bin not chosen.")
    mark = serializers.CharField()
    drawing = serializers.CharField()
    shaft = serializers.CharField(help_text="Empty where nobody knows.")
    order = serializers.IntegerField(allow_null=True, help_text="From the shoulder.")
    of = serializers.ChoiceField(["setup", "waiting", "other"])
    is_held = serializers.BooleanField()
    width_mm = LengthMm("width_nm")
    diameter_mm = LengthMm("diameter_nm")


class StationOnOut(Out):
    number = serializers.IntegerField()
    code = serializers.CharField()
    set_pass = serializers.IntegerField(source="pass_number", allow_null=True)
    stood = StoodOut(many=True)


class OnMillOut(Out):
    """What stands on a mill now."""

    mill = serializers.CharField(source="number")
    setup = StandingOut(allow_null=True)
    stations = StationOnOut(many=True)


class CheckIn(ActionIn):
    """One check of many stations; without ``stations`` of all."""

    what = serializers.ChoiceField(list(CHECKS))
    on = serializers.DateField()
    stations = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=1_000),
        required=False,
        max_length=1_000,
    )


class ZeroedIn(ActionIn):
    """Stations whose screws were zeroed, without ``stations`` all; or were not after all."""

    stations = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=1_000),
        required=False,
        max_length=1_000,
    )
    take_back = serializers.BooleanField(default=False)


class ChangedOut(Out):
    changed = serializers.IntegerField()


class RuleOut(Out):
    id = serializers.IntegerField()
    kind = serializers.ChoiceField(MillRule.Kind.choices)
    first = serializers.CharField()
    then = serializers.CharField()


class RuleIn(ActionIn):
    """``first`` and ``then`` name a strip class or a coating as jobs carry them."""

    kind = serializers.CharField(max_length=20)
    first = serializers.CharField(required=False, allow_blank=True, max_length=40)
    then = serializers.CharField(required=False, allow_blank=True, max_length=40)


class GoingOut(Out):
    """So many of a thing, and where it comes off to or goes on from."""

    code = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    count = serializers.IntegerField()
    where = serializers.CharField()


class ShaftChangeOut(Out):
    station = serializers.IntegerField()
    shaft = serializers.CharField()
    stays = GoingOut(many=True)
    off = GoingOut(many=True, help_text="The outermost first.")
    on = GoingOut(many=True, help_text="From the shoulder.")
    reason = serializers.CharField(help_text="Why nothing may stay; empty where some may.")


class ForecastOut(Out):
    """Minutes. ``timed``: from so many setups of the mill's own; 0: from the setting."""

    minutes = serializers.FloatField()
    least = serializers.FloatField()
    most = serializers.FloatField()
    timed = serializers.IntegerField()


class NextUpOut(Out):
    job = serializers.CharField(source="number")
    set = serializers.CharField(source="set_number")
    kit = serializers.CharField(help_text="Empty while none is open.")
    starts_at = serializers.DateTimeField()
    is_filled = serializers.BooleanField(help_text="The spacers of its shafts are chosen.")


class SumsOut(Out):
    """What an order of jobs costs in all."""

    stations = serializers.IntegerField()
    shafts = serializers.IntegerField()
    pieces = serializers.IntegerField()
    mass_kg = serializers.FloatField()
    minutes = serializers.FloatField()
    late_minutes = serializers.FloatField()


class OrderRowOut(Out):
    job = serializers.CharField()
    starts_at = serializers.DateTimeField()
    was_at = serializers.DateTimeField()
    gathers_at = serializers.DateTimeField()
    due_at = serializers.DateTimeField(allow_null=True)
    opened = serializers.IntegerField()
    minutes = serializers.FloatField()
    late_minutes = serializers.FloatField()


class OrderOut(Out):
    """The newest order worked out. ``state``: of its task."""

    task = serializers.IntegerField()
    state = serializers.CharField()
    is_stale = serializers.BooleanField()
    settled = serializers.CharField(help_text="Empty while it may be accepted.")
    is_proven = serializers.BooleanField()
    keeps_rules = serializers.BooleanField(help_text="Whether the planner's own order does.")
    broken = serializers.ListField(child=serializers.CharField())
    best = SumsOut(allow_null=True, help_text="Null: the rules allow no order.")
    present = SumsOut(allow_null=True)
    rows = OrderRowOut(many=True)


class ChangeoverOut(Out):
    """A mill's next changeover, and the newest order of its jobs."""

    mill = serializers.CharField()
    setup = StandingOut(allow_null=True)
    next = NextUpOut(allow_null=True)
    shafts = ShaftChangeOut(many=True)
    opened = serializers.ListField(child=serializers.IntegerField())
    pieces = serializers.IntegerField()
    mass_kg = serializers.FloatField()
    staying = serializers.IntegerField()
    forecast = ForecastOut(allow_null=True)
    order = OrderOut(allow_null=True)


class OfMillIn(ActionIn):
    mill = serializers.CharField(max_length=20)


class SettleOrderIn(OfMillIn):
    task = serializers.IntegerField(min_value=1, max_value=2**53)


class MovedOut(Out):
    moved = serializers.ListField(child=serializers.CharField(), help_text="Numbers of jobs.")


class StepOut(Out):
    id = serializers.IntegerField()
    what = serializers.ChoiceField(StepKind.choices)
    at = serializers.DateTimeField()
    by = serializers.CharField()
    note = serializers.CharField()
    minutes = serializers.FloatField(allow_null=True, help_text="Since the step before.")


class DelayOut(Out):
    id = serializers.IntegerField()
    cause = serializers.ChoiceField(DelayCause.choices)
    minutes = serializers.FloatField()
    station = serializers.IntegerField(allow_null=True)
    at = serializers.DateTimeField()
    by = serializers.CharField()
    note = serializers.CharField()


class TimesOut(Out):
    """A setup's times beside what was forecast. ``own_minutes`` has no delays in it."""

    number = serializers.CharField(source="kit")
    steps = StepOut(source="times.steps", many=True)
    delays = DelayOut(source="times.delays", many=True)
    next_step = serializers.CharField(source="times.next_step")
    own_minutes = serializers.FloatField(source="times.own_minutes", allow_null=True)
    delay_minutes = serializers.FloatField(source="times.delay_minutes")
    opened = serializers.IntegerField()
    forecast = ForecastOut()


class StepIn(ActionIn):
    """A step of the changeover; the same ``id`` again writes nothing."""

    what = serializers.CharField(max_length=20)
    happened_at = MomentField(required=False)
    note = serializers.CharField(required=False, allow_blank=True, max_length=400)
    id = serializers.UUIDField(required=False)


class DelayIn(ActionIn):
    """Minutes lost, and to what; the same ``id`` again writes nothing."""

    cause = serializers.CharField(max_length=20)
    minutes = serializers.FloatField()
    station = serializers.IntegerField(required=False, allow_null=True)
    note = serializers.CharField(required=False, allow_blank=True, max_length=400)
    id = serializers.UUIDField(required=False)


class ComingOut(Out):
    """One piece. ``state``: on, gap (its shaft is off, it lies there), stays, flagged, off."""

    code = serializers.CharField()
    mark = serializers.CharField()
    drawing = serializers.CharField()
    shaft = serializers.CharField()
    order = serializers.IntegerField(source="turn")
    to = serializers.CharField(source="to_name", help_text="Empty: nobody knows.")
    state = serializers.ChoiceField(["on", "gap", "stays", "flagged", "off"])


class StripRowOut(Out):
    station = serializers.IntegerField()
    is_open = serializers.BooleanField()
    pieces = ComingOut(many=True)


class SpacerRowOut(Out):
    drawing = serializers.CharField()
    count = serializers.IntegerField()
    bin = serializers.CharField(help_text="Empty: no bin is known.")


class StripDownOut(Out):
    """A setup as it comes down."""

    number = serializers.CharField()
    is_over = serializers.BooleanField()
    next_job = serializers.CharField(help_text="For which pieces stay; empty for none.")
    looked_over_by = serializers.CharField(source="looked_over")
    rows = StripRowOut(many=True)
    spacers = SpacerRowOut(many=True)
    not_home = ComingOut(many=True)
    undo = serializers.CharField(help_text="The newest act that can be taken back.")


class OffIn(ActionIn):
    """The pegs of these stations are full but for the gaps (codes)."""

    stations = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=1_000), max_length=60
    )
    gaps = serializers.ListField(
        child=serializers.CharField(max_length=20), required=False, max_length=500
    )
    takes_all = serializers.BooleanField(
        required=False, help_text="What the next kit runs comes off too."
    )
    act = serializers.UUIDField(required=False)


class MaybeActIn(ActionIn):
    act = serializers.UUIDField(required=False)


class UndoActIn(ActionIn):
    act = serializers.UUIDField()


class FlagIn(ActionIn):
    code = serializers.CharField(max_length=20)
    what = serializers.CharField(
        max_length=20, help_text="One of: " + ", ".join(StopFor.values) + "."
    )


class StrikeIn(ActionIn):
    reason = serializers.CharField(required=False, allow_blank=True, max_length=400)

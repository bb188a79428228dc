"""Regrind plans, and when to send what, on the wire."""

from __future__ import annotations

from typing import Any, ClassVar

from rest_framework import serializers

from api.serializers.lengths import ActionIn, AskedLength, LengthMm, plain
from tooling.models import Decision, PlanState
from tooling.queries.regrind_asks import PRICES

Out = serializers.Serializer[Any]
PINS = ("leave", "cut", "cut_to", "face", "replace")
OWN_LENGTHS = ("allowance", "step", "usual_stock", "least_wall")
CENTS = 10**12


class RegrindPlanRowOut(Out):
    """One plan in the list."""

    number = serializers.CharField()
    name = serializers.CharField()
    state = serializers.ChoiceField(PlanState.choices)
    copies = serializers.ListField(child=serializers.CharField())
    made_at = serializers.DateTimeField()
    is_proven = serializers.BooleanField()
    is_stale = serializers.BooleanField()
    worked = serializers.IntegerField(help_text="Pieces to cut or to face.")
    replaced = serializers.IntegerField()


class PlanSentenceOut(Out):
    code = serializers.CharField()
    level = serializers.CharField()
    said = serializers.CharField()


class PlanSizeOut(Out):
    name = serializers.CharField()
    before_mm = LengthMm("before_nm")
    after_mm = LengthMm("after_nm")


class PlanDecisionOut(Out):
    """What becomes of one piece. ``off_mm`` comes off its diameters, ``face_mm`` off its width."""

    piece = serializers.CharField()
    mark = serializers.CharField()
    decision = serializers.ChoiceField(Decision.choices, source="kind")
    off_mm = LengthMm("amount_nm")
    face_mm = LengthMm("width_nm")
    reasons = PlanSentenceOut(many=True)
    diameters = PlanSizeOut(many=True, source="sizes")
    least_mm = LengthMm("least_nm")
    least_why = serializers.CharField()
    regrinds_left = serializers.IntegerField(source="left", allow_null=True)
    regrinds_left_before = serializers.IntegerField(source="left_before", allow_null=True)
    settled = serializers.CharField(source="pin")


class PlanDriveOut(Out):
    piece = serializers.CharField()
    before_mm = LengthMm("before_nm")
    after_mm = LengthMm("after_nm")
    at_equal_rpm_before_mm = LengthMm("speed_before_nm")
    at_equal_rpm_after_mm = LengthMm("speed_after_nm")


class PlanPassOut(Out):
    number = serializers.IntegerField()
    station = serializers.IntegerField(allow_null=True)
    top = PlanDriveOut(allow_null=True)
    bottom = PlanDriveOut(allow_null=True)
    step_mm = LengthMm("step_nm")
    centres_before_mm = LengthMm("centres_before_nm")
    centres_after_mm = LengthMm("centres_after_nm")
    pass_line_mm = LengthMm("pass_line_nm")
    top_shaft_mm = LengthMm("top_shaft_nm")
    top_turns = serializers.FloatField(allow_null=True)


class PlanLineOut(Out):
    """One set on one mill before and after."""

    set = serializers.CharField(source="set_name")
    mill = serializers.CharField()
    is_other = serializers.BooleanField()
    passes = PlanPassOut(many=True)
    warned = PlanSentenceOut(many=True)


class PlanAimsOut(Out):
    cents = serializers.IntegerField()
    replaced = serializers.IntegerField()
    worked = serializers.IntegerField()
    stock_mm = LengthMm("stock_nm")


class UnmeasuredOut(Out):
    piece = serializers.CharField()
    what = serializers.CharField()
    changes = serializers.BooleanField(help_text="Another value would change the plan.")


class PlanConflictOut(Out):
    requirements = PlanSentenceOut(many=True)
    frees = PlanSentenceOut(many=True)


class PlanStepOut(Out):
    what = serializers.CharField()
    formula = serializers.CharField()
    from_where = serializers.CharField(source="source")
    value = serializers.CharField()


class RegrindPlanOut(Out):
    """All of a plan. Stale: have it worked out again before it is ordered."""

    number = serializers.CharField()
    name = serializers.CharField()
    state = serializers.ChoiceField(PlanState.choices)
    copies = serializers.ListField(child=serializers.CharField())
    made_at = serializers.DateTimeField()
    solved_at = serializers.DateTimeField(allow_null=True)
    version = serializers.IntegerField()
    status = serializers.CharField(help_text="Of the last answer: ok, infeasible or stopped.")
    is_stale = serializers.BooleanField()
    is_running = serializers.BooleanField()
    is_proven = serializers.BooleanField()
    task = serializers.IntegerField(allow_null=True)
    task_state = serializers.CharField()
    task_code = serializers.CharField()
    task_message = serializers.CharField()
    decisions = PlanDecisionOut(many=True)
    lines = PlanLineOut(many=True)
    aims = PlanAimsOut(allow_null=True)
    by_the_worst_roll = PlanAimsOut(source="baseline", allow_null=True)
    saves = PlanAimsOut(allow_null=True)
    other_sets = serializers.ListField(child=serializers.CharField())
    unmeasured = UnmeasuredOut(many=True)
    conflicts = PlanConflictOut(many=True)
    on_order = serializers.ListField(child=serializers.CharField())
    how = PlanStepOut(many=True)


class SettingsIn(ActionIn):
    """What is asked of a plan. A setting that is left out is the shop's; no price at all: the
    fewest replaced, then the fewest cut, then the least stock."""

    lengths: ClassVar[list[AskedLength]] = plain(*OWN_LENGTHS)
    face_from_degrees = serializers.FloatField(required=False)
    ratio_percent = serializers.FloatField(required=False)
    horizon_days = serializers.IntegerField(required=False)
    setup_cents = serializers.IntegerField(required=False, min_value=0, max_value=CENTS)
    cents_per_mm = serializers.IntegerField(required=False, min_value=0, max_value=CENTS)
    face_cents = serializers.IntegerField(required=False, min_value=0, max_value=CENTS)
    new_cents = serializers.IntegerField(required=False, min_value=0, max_value=CENTS)
    counts_life = serializers.BooleanField(required=False)
    no_new = serializers.BooleanField(required=False)
    keeps_slack = serializers.BooleanField(required=False)
    hold_others = serializers.BooleanField(required=False)


class BeginPlanIn(SettingsIn):
    copies = serializers.ListField(
        child=serializers.CharField(max_length=40), help_text="Such as 1472-A.", max_length=50
    )
    name = serializers.CharField(required=False, allow_blank=True, max_length=120)


class PinPieceIn(ActionIn):
    """What is settled for a piece; ``to`` is the drive diameter that it is cut to. ``face``: its
    worn faces are cut and its diameters stay."""

    lengths = plain("to")
    decision = serializers.ChoiceField(PINS)


class WindowOptionOut(Out):
    """A stretch between two jobs."""

    opens = serializers.DateField()
    closes = serializers.DateField(allow_null=True)
    out = serializers.DateField()
    back = serializers.DateField()
    state = serializers.ChoiceField(["safe", "too_short", "past_limit", "full"])
    next_job = serializers.CharField()
    slips_days = serializers.IntegerField(source="slips")
    passes = serializers.CharField(help_text="The job that would run worn.")


class WindowChoiceOut(Out):
    piece = serializers.CharField()
    says = serializers.CharField()
    recut_per_km = serializers.FloatField(allow_null=True)
    replace_per_km = serializers.FloatField(allow_null=True)
    missing = serializers.ListField(child=serializers.CharField(), source="open")
    rule = serializers.CharField()


class WindowOut(Out):
    """One copy of a set: when it is best away."""

    copy = serializers.CharField()
    pieces = serializers.IntegerField()
    left_m = serializers.FloatField(allow_null=True, help_text="Of cold rolled strip.")
    governed_by = serializers.CharField(source="governs")
    limit_passed_in = serializers.CharField(source="crosses")
    deadline = serializers.DateField(allow_null=True)
    suggested = WindowOptionOut(source="chosen", allow_null=True)
    options = WindowOptionOut(many=True)
    days_earlier = serializers.IntegerField(source="earlier_days")
    owes_approval = serializers.ListField(child=serializers.CharField())
    choice = WindowChoiceOut(allow_null=True)


class WindowsOut(Out):
    """All copies by urgency, and the lead time that was counted with."""

    usual_lead_days = serializers.IntegerField(source="lead.usual")
    safe_lead_days = serializers.IntegerField(source="lead.safe")
    lead_orders = serializers.IntegerField(source="lead.orders")
    is_proven = serializers.BooleanField()
    windows = WindowOut(many=True)


def prices_in(values: dict[str, Any]) -> dict[str, int]:
    """The prices of a body."""
    return {name: values[name] for name in PRICES if name in values}

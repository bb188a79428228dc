"""Regrind plans: what was asked, what the computation answered, whether it still holds."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import LengthField
from tooling.models.pieces import Piece
from tooling.models.sets import SetCopy
from tooling.models.shop import Person
from tooling.models.tasks import Task


class PlanState(models.TextChoices):
    DRAFT = "draft", _("not yet solved")
    SOLVED = "solved", _("solved")
    CONFLICT = "conflict", _("requirements conflict")
    ORDERED = "ordered", _("ordered")
    DROPPED = "dropped", _("dropped")


class RegrindPlan(models.Model):
    """A recut of one or several copies that keeps each of them true.

    ``asks``: settings and requirements as the engineer gave them (pins, what must be cut, prices);
    ``answer``: what the computation said. Stale when ``problem_key`` is not that of today.
    """

    number = models.CharField(max_length=12, unique=True)
    name = models.CharField(max_length=120, blank=True)
    state = models.CharField(max_length=8, choices=PlanState.choices, default=PlanState.DRAFT)
    asks = models.JSONField(default=dict)
    answer = models.JSONField(default=dict)
    problem_key = models.CharField(max_length=64, blank=True)
    is_proven = models.BooleanField(default=False)
    task = models.ForeignKey(Task, null=True, on_delete=models.SET_NULL, related_name="+")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    solved_at = models.DateTimeField(null=True)
    version = models.PositiveBigIntegerField(default=1)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return self.number


class RegrindPlanCopy(models.Model):
    """A copy of a set that the plan is for."""

    plan = models.ForeignKey(RegrindPlan, on_delete=models.CASCADE, related_name="copies")
    copy = models.ForeignKey(SetCopy, on_delete=models.PROTECT, related_name="regrind_plans")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["plan", "copy"], name="plan_copy_once")]

    def __str__(self) -> str:
        return f"{self.plan} {self.copy}"


class Decision(models.TextChoices):
    LEAVE = "leave", _("leave")
    CUT = "cut", _("cut")
    FACE = "face", _("cut the face")
    REPLACE = "replace", _("replace")


class RegrindPlanLine(models.Model):
    """What the answer decided for one piece; ``amount_nm`` comes off its diameters."""

    plan = models.ForeignKey(RegrindPlan, on_delete=models.CASCADE, related_name="lines")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="plan_lines")
    decision = models.CharField(max_length=7, choices=Decision.choices)
    amount_nm = LengthField(default=0)
    reason = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["plan", "piece"], name="plan_line_once"),
            models.CheckConstraint(condition=Q(amount_nm__gte=0), name="plan_takes_nothing_on"),
        ]

    def __str__(self) -> str:
        return f"{self.plan} {self.piece} {self.decision}"

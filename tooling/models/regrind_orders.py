"""Orders for work on pieces: from the request to the release. Pieces on an open line are held."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import DIMENSIONS, LengthField
from tooling.models.kits import Job
from tooling.models.pieces import Piece
from tooling.models.regrind_plans import RegrindPlan
from tooling.models.regrinds import Work, WorkKind
from tooling.models.shop import Person, Place


class OrderState(models.TextChoices):
    REQUESTED = "requested", _("requested")
    OUT = "out", _("out")
    BACK = "back", _("back, to be released")
    RELEASED = "released", _("released")
    CANCELLED = "cancelled", _("cancelled")


class RegrindOrder(models.Model):
    """Work asked for on some pieces, in the shop (no vendor) or at a grinder."""

    number = models.CharField(max_length=12, unique=True)
    plan = models.ForeignKey(
        RegrindPlan, null=True, blank=True, on_delete=models.PROTECT, related_name="orders"
    )
    vendor = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="regrind_orders"
    )
    state = models.CharField(max_length=9, choices=OrderState.choices, default=OrderState.REQUESTED)
    requested_at = models.DateTimeField()
    requested_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    due_on = models.DateField(null=True, blank=True)
    price_cents = models.PositiveBigIntegerField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    back_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveBigIntegerField(default=1)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["-requested_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["released", "cancelled"], ended_at__isnull=False)
                | (~Q(state__in=["released", "cancelled"]) & Q(ended_at=None)),
                name="ended_order_says_when",
            )
        ]

    def __str__(self) -> str:
        return self.number


class RegrindOrderLine(models.Model):
    """One piece on an order. While ``is_open`` it is held: reserved, but not staged."""

    order = models.ForeignKey(RegrindOrder, on_delete=models.PROTECT, related_name="lines")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="order_lines")
    kinds = models.JSONField(default=list, help_text="Kinds of work, in order.")
    is_open = models.BooleanField(default=True)
    mark_to_restore = models.BooleanField(default=False)
    mark_seen_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    back_at = models.DateTimeField(null=True, blank=True)
    done_on = models.DateField(null=True, blank=True, help_text="The day of the cut.")
    cost_cents = models.PositiveBigIntegerField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["order", "id"]
        constraints = [
            models.UniqueConstraint(fields=["order", "piece"], name="piece_once_on_an_order"),
            models.UniqueConstraint(
                fields=["piece"], condition=Q(is_open=True), name="piece_on_one_open_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order} {self.piece}"

    @property
    def state(self) -> OrderState:
        """How far this piece is: asked for, out, or back."""
        return state_of_line(self.sent_at, self.back_at)


def state_of_line(sent_at: datetime | None, back_at: datetime | None) -> OrderState:
    """How far one piece of an open order is."""
    if back_at is not None:
        return OrderState.BACK
    return OrderState.REQUESTED if sent_at is None else OrderState.OUT


class RegrindTarget(models.Model):
    """What a dimension of an ordered piece is to be afterwards, with its tolerance."""

    line = models.ForeignKey(RegrindOrderLine, on_delete=models.CASCADE, related_name="targets")
    dimension = models.CharField(max_length=20, choices=[(name, name) for name in DIMENSIONS])
    target_nm = LengthField()
    minus_nm = LengthField(default=0)
    plus_nm = LengthField(default=0)

    class Meta:
        ordering = ["line", "dimension"]
        constraints = [
            models.UniqueConstraint(fields=["line", "dimension"], name="target_once"),
            models.CheckConstraint(
                condition=Q(target_nm__gt=0, minus_nm__gte=0, plus_nm__gte=0),
                name="target_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line} {self.dimension}"


class RegrindOrderWork(models.Model):
    """History: the work that came of an order's line."""

    line = models.ForeignKey(RegrindOrderLine, on_delete=models.PROTECT, related_name="works")
    work = models.OneToOneField(Work, on_delete=models.PROTECT, related_name="of_order")

    def __str__(self) -> str:
        return f"{self.line}: {self.work}"

    @property
    def kind(self) -> WorkKind:
        return WorkKind(self.work.kind)


class OrderEventKind(models.TextChoices):
    REQUESTED = "requested", _("requested")
    CHANGED = "changed", _("changed")
    SENT = "sent", _("sent out")
    BACK = "back", _("came back")
    MARK_SEEN = "mark_seen", _("mark is back")
    RELEASED = "released", _("released")
    RELEASED_FOR_JOB = "for_job", _("released for one job")
    CANCELLED = "cancelled", _("cancelled")


class OrderEvent(models.Model):
    """History: what happened to an order. ``said``: what the release was judged by."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    order = models.ForeignKey(RegrindOrder, on_delete=models.PROTECT, related_name="events")
    what = models.CharField(max_length=9, choices=OrderEventKind.choices)
    piece = models.ForeignKey(Piece, null=True, on_delete=models.PROTECT, related_name="+")
    job = models.ForeignKey(Job, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=400, blank=True)
    said = models.JSONField(default=dict)

    class Meta:
        indexes = [models.Index(fields=["order", "at"], name="event_of_order")]
        constraints = [
            models.CheckConstraint(
                condition=~Q(what="for_job") | (Q(job__isnull=False) & ~Q(reason="")),
                name="release_for_a_job_has_a_reason",
            )
        ]

    def __str__(self) -> str:
        return f"{self.order} {self.what}"

"""Jobs, and the kits gathered for them."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import LengthField, Shaft, Unit
from tooling.models.mills import Mill
from tooling.models.pieces import Drawing, Piece, StockLine
from tooling.models.sets import SetCopy, SetPosition, SetVariant, ToolSet
from tooling.models.shop import Owner, Place


class JobState(models.TextChoices):
    PLANNED = "planned", _("planned")
    DONE = "done", _("done")
    CANCELLED = "cancelled", _("cancelled")


class Job(models.Model):
    """A planned run."""

    number = models.CharField(max_length=30, unique=True)
    tool_set = models.ForeignKey(ToolSet, on_delete=models.PROTECT, related_name="jobs")
    variant = models.ForeignKey(
        SetVariant, null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )
    mill = models.ForeignKey(Mill, on_delete=models.PROTECT, related_name="jobs")
    customer = models.ForeignKey(
        Owner, null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )
    grade = models.CharField(max_length=40, blank=True)
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.MM)
    thickness_nm = LengthField(optional=True)
    width_nm = LengthField(optional=True)
    coating = models.CharField(max_length=40, blank=True)
    strip_class = models.CharField(max_length=40, blank=True)
    length_nm = LengthField(default=0)
    starts_at = models.DateTimeField()
    hours = models.FloatField(default=8, help_text="Expected hours on the mill.")
    gathers_at = models.DateTimeField(help_text="When its kit is to be gathered.")
    due_at = models.DateTimeField(
        null=True, blank=True, help_text="When it must have been run; empty: it is never late."
    )
    state = models.CharField(max_length=9, choices=JobState.choices, default=JobState.PLANNED)

    class Meta:
        ordering = ["starts_at", "number"]
        constraints = [
            models.CheckConstraint(condition=Q(hours__gt=0), name="job_hours_positive"),
            models.CheckConstraint(condition=Q(length_nm__gte=0), name="job_length_not_negative"),
        ]

    def __str__(self) -> str:
        return self.number


class KitState(models.TextChoices):
    GATHERING = "gathering", _("gathering")
    STAGED = "staged", _("staged")
    CLOSED = "closed", _("closed")


class Kit(models.Model):
    """What is chosen and gathered for a job. Its number is its label code."""

    number = models.CharField(max_length=8, unique=True)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="kits")
    copy = models.ForeignKey(
        SetCopy, null=True, blank=True, on_delete=models.PROTECT, related_name="kits"
    )
    place = models.ForeignKey(
        Place,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="kits",
        help_text="Where it is gathered: a cart, a rack of pegs, a plate.",
    )
    state = models.CharField(max_length=10, choices=KitState.choices, default=KitState.GATHERING)
    version = models.PositiveBigIntegerField(default=1)
    assembled_at = models.DateTimeField(null=True, blank=True)
    complete_at = models.DateTimeField(
        null=True, blank=True, help_text="When its every position was here, as it is now chosen."
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    short_reason = models.CharField(max_length=400, blank=True)
    is_short = models.BooleanField(default=False)

    class Meta:
        ordering = ["job__starts_at", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["job"], condition=~Q(state="closed"), name="one_open_kit_per_job"
            ),
            models.UniqueConstraint(
                fields=["place"],
                condition=~Q(state="closed"),
                name="one_open_kit_per_gathering_place",
            ),
            models.CheckConstraint(
                condition=Q(is_short=False) | ~Q(short_reason=""), name="short_kit_has_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return self.number


class Fill(models.TextChoices):
    """Which fill of a shaft a spacer belongs to."""

    INBOARD = "inboard", _("inboard fill")
    MIDDLE = "middle", _("middle fill")
    OUTBOARD = "outboard", _("outboard fill")


class KitPosition(models.Model):
    """One position of the kit: what the set calls for, and the piece or count claimed for it.

    A filled row of an open kit is the kit's reservation. A row with a ``fill`` is a spacer or
    shim that was chosen to fill the shaft; the set does not call for it.
    """

    kit = models.ForeignKey(Kit, on_delete=models.CASCADE, related_name="positions")
    set_position = models.ForeignKey(
        SetPosition, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fill = models.CharField(max_length=8, choices=Fill.choices, blank=True)
    length_nm = LengthField(
        optional=True, help_text="Of a fill: the width it was reckoned with, measured or nominal."
    )
    is_pinned = models.BooleanField(
        default=False, help_text="Of a fill: put there by a person; solving leaves it."
    )
    station_number = models.PositiveSmallIntegerField()
    pass_number = models.PositiveSmallIntegerField()
    shaft = models.CharField(max_length=6, choices=Shaft.choices)
    order = models.PositiveSmallIntegerField()
    drawing = models.ForeignKey(Drawing, on_delete=models.PROTECT, related_name="+")
    piece = models.ForeignKey(
        Piece, null=True, blank=True, on_delete=models.PROTECT, related_name="kit_positions"
    )
    stock_line = models.ForeignKey(
        StockLine, null=True, blank=True, on_delete=models.PROTECT, related_name="kit_positions"
    )
    is_substitute = models.BooleanField(default=False)
    substitute_reason = models.CharField(max_length=300, blank=True)
    peg = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    is_staged = models.BooleanField(
        default=False, help_text="The claimed piece or one of the count is in the gathering place."
    )
    holds_piece = models.BooleanField(
        default=False, help_text="Staged or mounted while the kit is open."
    )
    is_open = models.BooleanField(default=True, help_text="The kit is open.")

    class Meta:
        ordering = ["kit", "station_number", "shaft", "order"]
        indexes = [
            models.Index(fields=["piece", "is_open"], name="kit_position_piece"),
            models.Index(fields=["stock_line", "is_open"], name="kit_position_stock"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["kit", "station_number", "shaft", "order"], name="kit_position_once"
            ),
            models.UniqueConstraint(
                fields=["piece"],
                condition=Q(holds_piece=True),
                name="piece_staged_in_one_open_kit",
            ),
            models.UniqueConstraint(
                fields=["kit", "piece"],
                condition=~Q(piece=None),
                name="piece_once_in_a_kit",
            ),
            models.CheckConstraint(
                condition=Q(piece=None) | Q(stock_line=None), name="piece_or_stock_not_both"
            ),
            models.CheckConstraint(
                condition=Q(set_position=None, length_nm__gt=0) & ~Q(fill="")
                | Q(set_position__isnull=False, fill="", is_pinned=False),
                name="called_for_by_the_set_or_a_fill",
            ),
            models.CheckConstraint(
                condition=Q(holds_piece=False) | Q(is_open=True, is_staged=True),
                name="only_staged_positions_of_open_kits_hold",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kit} {self.station_number} {self.shaft} {self.order}"

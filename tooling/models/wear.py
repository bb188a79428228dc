"""What was measured, what a piece has run."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import LengthField, Unit
from tooling.models.gauge_points import GaugePoint
from tooling.models.pieces import Piece
from tooling.models.shop import Person


class Gauge(models.Model):
    """A measuring tool with what its certificate says."""

    number = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=80)
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.MM)
    resolution_nm = LengthField(optional=True)
    uncertainty_nm = LengthField(optional=True, help_text="Stated, k = 2.")
    due_on = models.DateField(null=True, blank=True, help_text="Its calibration is due.")
    calibrated_on = models.DateField(null=True, blank=True)
    certificate = models.CharField(max_length=60, blank=True)
    least_nm = LengthField(optional=True, help_text="Of its range.")
    most_nm = LengthField(optional=True)

    def __str__(self) -> str:
        return self.number


class Reading(models.Model):
    """History: one measurement of one dimension of one piece."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="readings")
    dimension = models.CharField(max_length=20, help_text="One of the dimensions, or wear point.")
    point = models.CharField(max_length=40, blank=True, help_text="A named gauge point.")
    gauge_point = models.ForeignKey(
        GaugePoint, null=True, on_delete=models.PROTECT, related_name="readings"
    )
    end = models.CharField(
        max_length=8,
        blank=True,
        choices=[("inboard", _("inboard end")), ("outboard", _("outboard end"))],
    )
    value_nm = LengthField(optional=True)
    verdict = models.CharField(max_length=8, blank=True, help_text="fits, light or fails")
    unit = models.CharField(max_length=2, choices=Unit.choices)
    as_written = models.CharField(max_length=40, blank=True)
    gauge = models.ForeignKey(Gauge, null=True, on_delete=models.PROTECT, related_name="readings")
    over_chrome = models.BooleanField(default=False)
    soaked = models.BooleanField(null=True)
    temperature_c = models.FloatField(null=True)
    happened_at = models.DateTimeField()
    received_at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    how = models.CharField(max_length=6, default="typed")
    corrects = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["piece", "dimension", "-happened_at"], name="reading_of_piece")
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(value_nm__isnull=False) | ~Q(verdict=""), name="reading_says_something"
            ),
            models.CheckConstraint(
                condition=Q(value_nm=None) | Q(value_nm__gte=0), name="reading_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.piece} {self.dimension}"


class LengthEntry(models.Model):
    """History: strip length a piece has run, by strip class; negative only as a correction."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="length_entries")
    length_nm = LengthField()
    strokes = models.PositiveBigIntegerField(default=0)
    strip_class = models.CharField(max_length=40, blank=True)
    source = models.CharField(max_length=12, default="typed", help_text="typed, import or run")
    run_reference = models.CharField(max_length=40, blank=True)
    happened_at = models.DateTimeField()
    received_at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    corrects = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["piece", "happened_at"], name="length_of_piece")]
        constraints = [
            models.CheckConstraint(condition=Q(length_nm__gte=0), name="length_entry_not_negative")
        ]

    def __str__(self) -> str:
        return f"{self.piece} {self.length_nm}"

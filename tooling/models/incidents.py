"""What went wrong at a mill or in the toolroom, and to which pieces."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from tooling.models.kits import Kit
from tooling.models.mills import Mill
from tooling.models.pieces import Condition, Piece
from tooling.models.shop import Person


class IncidentKind(models.TextChoices):
    CRASH = "crash", _("crash")
    DOUBLE_FEED = "double_feed", _("double feed")
    DROP = "drop", _("drop")
    BUILD_UP = "build_up", _("build-up")
    CRACK = "crack", _("crack")
    CHIP = "chip", _("chip")
    OTHER = "other", _("something else")


class Incident(models.Model):
    """History. On a mill it may name a pass; a drop in the toolroom names pieces only."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    kind = models.CharField(max_length=12, choices=IncidentKind.choices)
    mill = models.ForeignKey(Mill, null=True, on_delete=models.PROTECT, related_name="incidents")
    kit = models.ForeignKey(Kit, null=True, on_delete=models.PROTECT, related_name="incidents")
    station_number = models.PositiveSmallIntegerField(null=True)
    pass_number = models.PositiveSmallIntegerField(null=True)
    happened_at = models.DateTimeField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    corrects = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        indexes = [models.Index(fields=["mill", "happened_at"], name="incident_on_mill")]

    def __str__(self) -> str:
        return f"{self.kind} {self.happened_at:%Y-%m-%d %H:%M}"


class IncidentPiece(models.Model):
    """History: a piece that an incident touched, and the condition it was found in."""

    incident = models.ForeignKey(Incident, on_delete=models.PROTECT, related_name="pieces")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="incidents")
    condition_before = models.CharField(max_length=12, choices=Condition.choices)
    condition_after = models.CharField(max_length=12, choices=Condition.choices)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["incident", "piece"], name="incident_piece_once")
        ]

    def __str__(self) -> str:
        return f"{self.incident}: {self.piece}"

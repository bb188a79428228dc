"""Work done on pieces: recuts and the rest, with diameters before and after."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import LengthField
from tooling.models.pieces import Piece
from tooling.models.shop import Person


class WorkKind(models.TextChoices):
    REGRIND = "regrind", _("regrind")
    RECONTOUR = "recontour", _("recontour")
    FACE = "face", _("face")
    REBORE = "rebore", _("re-bore or sleeve")
    POLISH = "polish", _("polish")
    STRIP = "strip", _("strip chrome")
    PLATE = "plate", _("plate")
    REMARK = "remark", _("re-mark")
    SHARPEN = "sharpen", _("sharpen")


class Work(models.Model):
    """History: one piece of work on one piece."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="work")
    kind = models.CharField(max_length=10, choices=WorkKind.choices)
    done_on = models.DateField()
    done_by = models.CharField(
        max_length=120, blank=True, help_text="Who did it: a vendor, a name."
    )
    order_reference = models.CharField(max_length=40, blank=True)
    mark_restored = models.BooleanField(null=True)
    cost_cents = models.PositiveBigIntegerField(null=True)
    received_at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=12, default="typed")
    corrects = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [models.Index(fields=["piece", "done_on"], name="work_on_piece")]

    def __str__(self) -> str:
        return f"{self.piece} {self.kind} {self.done_on}"


class WorkMeasure(models.Model):
    """History: a dimension before and after a piece of work."""

    work = models.ForeignKey(Work, on_delete=models.PROTECT, related_name="measures")
    dimension = models.CharField(max_length=20)
    before_nm = LengthField(optional=True)
    after_nm = LengthField(optional=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["work", "dimension"], name="measure_once_per_work"),
            models.CheckConstraint(
                condition=Q(after_nm=None) | Q(after_nm__gt=0), name="measure_after_positive"
            ),
            models.CheckConstraint(
                condition=Q(before_nm__isnull=False) | Q(after_nm__isnull=False),
                name="measure_says_something",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.work} {self.dimension}"

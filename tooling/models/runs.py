"""What ran through a mounted setup: stretches of strip, the mill's counter, the strip as measured.

History: a mistake is put right by a row that ``corrects`` it.
"""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import LengthField, Unit
from tooling.models.mills import Mill
from tooling.models.setups import Said, Setup
from tooling.models.shop import Person
from tooling.models.wear import Gauge, LengthEntry


class Feed(models.TextChoices):
    COIL = "coil", _("from the coil")
    PRE_CUT = "pre_cut", _("pre-cut lengths")


class RunSource(models.TextChoices):
    TYPED = "typed", _("typed")
    COUNTER = "counter", _("counter feed")
    IMPORT = "import", _("import")


class Run(Said):
    """History: one coil, or one stretch of strip, through one setup.

    ``length_nm`` is what counts, by ``way``; every way that was written down stays beside it.
    ``happened_at`` is when it ended. Scrap and threading wear the rolls as well: they are part
    of ``length_nm``.
    """

    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="runs")
    began_at = models.DateTimeField(null=True)
    coil = models.CharField(max_length=60, blank=True)
    strip_class = models.CharField(max_length=40, blank=True)
    thickness_nm = LengthField(optional=True, help_text="Measured, over the coating.")
    width_nm = LengthField(optional=True)
    feed = models.CharField(max_length=7, choices=Feed.choices, default=Feed.COIL)
    entries = models.PositiveIntegerField(default=1, help_text="Times that strip was threaded.")
    unit = models.CharField(max_length=2, choices=[("m", "m"), ("ft", "ft")], default="m")
    length_nm = LengthField()
    way = models.CharField(max_length=16, help_text="Counter, parts or an estimate.")
    counter_start_nm = LengthField(optional=True)
    counter_end_nm = LengthField(optional=True)
    parts = models.PositiveIntegerField(null=True)
    part_nm = LengthField(optional=True)
    scrap_nm = LengthField(default=0)
    threading_nm = LengthField(default=0)
    ways = models.JSONField(default=dict, help_text="Length in nm by every other way.")
    source = models.CharField(max_length=7, choices=RunSource.choices, default=RunSource.TYPED)

    class Meta:
        indexes = [models.Index(fields=["setup", "happened_at"], name="run_of_setup")]
        constraints = [
            models.CheckConstraint(condition=Q(length_nm__gte=0), name="run_length_not_negative"),
            models.CheckConstraint(
                condition=Q(scrap_nm__gte=0, threading_nm__gte=0), name="run_scrap_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(began_at=None) | Q(began_at__lte=models.F("happened_at")),
                name="run_begins_before_it_ends",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.setup} {self.coil or self.happened_at:%Y-%m-%d}"


class RunPiece(models.Model):
    """History: the length that a run put on one piece."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="pieces")
    entry = models.OneToOneField(LengthEntry, on_delete=models.PROTECT, related_name="of_run")

    def __str__(self) -> str:
        return f"{self.run}: {self.entry}"


class CounterReading(models.Model):
    """History: what a mill's length counter stood at. May come late, twice, or after a reset.

    Folded by (happened_at, uuid): what it moved between two moments is the sum of its rises;
    after ``was_reset``, or a fall, it counts on from nothing.
    """

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    mill = models.ForeignKey(Mill, on_delete=models.PROTECT, related_name="counter_readings")
    counter = models.CharField(max_length=30, blank=True, help_text="Which, where there are more.")
    value_nm = LengthField()
    was_reset = models.BooleanField(default=False, help_text="Set to nothing just before.")
    happened_at = models.DateTimeField()
    received_at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["mill", "counter", "happened_at"], name="counter_of_mill")]
        constraints = [
            models.CheckConstraint(condition=Q(value_nm__gte=0), name="counter_not_negative")
        ]

    def __str__(self) -> str:
        return f"{self.mill} {self.counter} {self.value_nm}"


class StripMeasure(Said):
    """History: the strip on a setup as it was measured; gaps are set from the newest."""

    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="strip_measures")
    thickness_nm = LengthField()
    width_nm = LengthField(optional=True)
    coil = models.CharField(max_length=60, blank=True)
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.MM)
    gauge = models.ForeignKey(Gauge, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(thickness_nm__gt=0) & (Q(width_nm=None) | Q(width_nm__gt=0)),
                name="measured_strip_positive",
            )
        ]

    def __str__(self) -> str:
        return f"{self.setup} {self.thickness_nm}"

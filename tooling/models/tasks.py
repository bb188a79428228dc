"""Long work as rows, and the spreadsheets brought in."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from tooling.models.files import StoredFile
from tooling.models.shop import Person


class TaskState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    RUNNING = "running", _("running")
    DONE = "done", _("done")
    FAILED = "failed", _("failed")
    CANCELLED = "cancelled", _("cancelled")
    STALE = "stale", _("made stale")


class Task(models.Model):
    """One piece of background work."""

    kind = models.CharField(max_length=30)
    input = models.JSONField(default=dict)
    input_version = models.CharField(max_length=80, blank=True)
    state = models.CharField(max_length=10, choices=TaskState.choices, default=TaskState.WAITING)
    progress = models.FloatField(default=0)
    message = models.CharField(max_length=400, blank=True)
    result = models.JSONField(default=dict)
    file = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    heartbeat_at = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    cancel_asked = models.BooleanField(default=False)

    class Meta:
        indexes = [models.Index(fields=["state", "id"], name="task_state")]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"


class ImportMapping(models.Model):
    """How one shop's headings match ours, kept under a name."""

    name = models.CharField(max_length=60, unique=True)
    mapping = models.JSONField(default=dict)
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    saved_at = models.DateTimeField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class ImportState(models.TextChoices):
    READING = "reading", _("being read")
    APPLYING = "applying", _("being applied")
    MAPPING = "mapping", _("columns to match")
    READY = "ready", _("ready to apply")
    PROBLEMS = "problems", _("has problems")
    APPLIED = "applied", _("applied")
    DROPPED = "dropped", _("dropped")


class Import(models.Model):
    """One or more spreadsheets brought in together: preview, then all or nothing."""

    state = models.CharField(max_length=10, choices=ImportState.choices)
    mapping = models.JSONField(default=dict)
    rows = models.JSONField(default=dict, help_text="create, change, same")
    preview = models.JSONField(default=list)
    problems = models.JSONField(default=list)
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    applied_at = models.DateTimeField(null=True)
    base_version = models.CharField(max_length=80, blank=True)
    task = models.ForeignKey(
        Task, null=True, on_delete=models.PROTECT, related_name="+", help_text="Reads or applies."
    )

    def __str__(self) -> str:
        return f"import {self.pk}"


class ImportFile(models.Model):
    brought_by = models.ForeignKey(Import, on_delete=models.CASCADE, related_name="files")
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=160)

    def __str__(self) -> str:
        return self.name


class Counter(models.Model):
    """The next serial number of each kind of label code."""

    kind = models.CharField(max_length=1, primary_key=True)
    next_serial = models.PositiveBigIntegerField(default=1)

    def __str__(self) -> str:
        return self.kind

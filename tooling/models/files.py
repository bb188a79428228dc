"""Files by content, and what they belong to. The bytes lie under ``DATA_DIR/files/<sha256>``."""

from __future__ import annotations

from django.db import models

from tooling.models.pieces import DrawingRevision
from tooling.models.shop import Person


class StoredFile(models.Model):
    sha256 = models.CharField(max_length=64, unique=True)
    content_type = models.CharField(max_length=80)
    size = models.PositiveBigIntegerField()
    stored_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.sha256[:12]


class DrawingFile(models.Model):
    """A PDF, DXF, STEP or picture of a revision."""

    revision = models.ForeignKey(DrawingRevision, on_delete=models.PROTECT, related_name="files")
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="drawing_files")
    name = models.CharField(max_length=160)
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["revision", "name"], name="file_name_once_per_revision")
        ]

    def __str__(self) -> str:
        return self.name

"""Files by content, and what they belong to. The bytes lie under ``DATA_DIR/files/<sha256>``."""

from __future__ import annotations

from django.db import models

from tooling.models.incidents import Incident
from tooling.models.pieces import DrawingRevision, Piece
from tooling.models.shop import Person, Place


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


class Picture(models.Model):
    """History: a photograph, turned upright, without its place data, with a small copy beside it.

    It shows a piece, an incident, a place, or several of them. One that was put with the wrong
    thing is followed by a row that ``corrects`` it.
    """

    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="pictures")
    small = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    piece = models.ForeignKey(Piece, null=True, on_delete=models.PROTECT, related_name="pictures")
    incident = models.ForeignKey(
        Incident, null=True, on_delete=models.PROTECT, related_name="pictures"
    )
    place = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="pictures")
    caption = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    is_taken_back = models.BooleanField(default=False)
    corrects = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="corrected_by"
    )

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(piece__isnull=False)
                | models.Q(incident__isnull=False)
                | models.Q(place__isnull=False),
                name="picture_shows_something",
            ),
            models.CheckConstraint(
                condition=models.Q(width__gt=0, height__gt=0), name="picture_has_a_size"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.piece or self.place or self.incident} {self.at:%Y-%m-%d}"

"""Drawings, the pieces made to them, and the stock that is only counted."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.db.models.functions import Upper
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import LengthField, Unit
from tooling.models.shop import Owner, Place


class DrawingKind(models.TextChoices):
    ROLL = "roll", _("roll")
    SIDE_ROLL = "side_roll", _("side roll")
    SPACER = "spacer", _("spacer")
    SHIM = "shim", _("shim")
    SLEEVE = "sleeve", _("sleeve")
    LINE_TOOLING = "line_tooling", _("line tooling")
    HARDWARE = "hardware", _("hardware")


PIECE_LETTERS: dict[str, str] = {
    DrawingKind.ROLL: "R",
    DrawingKind.SIDE_ROLL: "D",
    DrawingKind.SPACER: "S",
    DrawingKind.SHIM: "S",
    DrawingKind.SLEEVE: "S",
    DrawingKind.LINE_TOOLING: "L",
    DrawingKind.HARDWARE: "H",
}
"""The kind letter of a piece's label, by the kind of its drawing."""


class Drawing(models.Model):
    """A designed thing. What it looks like stands in its revisions."""

    number = models.CharField(max_length=40, unique=True)
    kind = models.CharField(max_length=14, choices=DrawingKind.choices)
    title = models.CharField(max_length=120, blank=True)
    number_key = models.GeneratedField(
        expression=Upper("number"),
        output_field=models.CharField(max_length=40),
        db_persist=True,
        db_index=True,
    )

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return self.number


class OldPieces(models.TextChoices):
    """What a new revision says of pieces made to the one before."""

    AS_IS = "as_is", _("use as is")
    NOTE = "note", _("use with note")
    REWORK = "rework", _("rework")
    SCRAP = "scrap", _("scrap")


class DrawingRevision(models.Model):
    """One revision with its drawn dimensions and least allowed ones."""

    drawing = models.ForeignKey(Drawing, on_delete=models.PROTECT, related_name="revisions")
    revision = models.CharField(max_length=10)
    is_current = models.BooleanField(default=True)
    issued_on = models.DateField(null=True, blank=True)
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.MM)
    material = models.CharField(max_length=40, blank=True)
    plated_thickness_nm = LengthField(optional=True)
    old_pieces = models.CharField(max_length=8, choices=OldPieces.choices, default=OldPieces.AS_IS)
    note = models.CharField(max_length=400, blank=True)
    bore_nm = LengthField(optional=True)
    keyway_width_nm = LengthField(optional=True)
    keyway_depth_nm = LengthField(optional=True)
    face_width_nm = LengthField(optional=True)
    guide_offset_nm = LengthField(optional=True)
    drive_diameter_nm = LengthField(optional=True)
    root_diameter_nm = LengthField(optional=True)
    outside_diameter_nm = LengthField(optional=True)
    least_drive_diameter_nm = LengthField(optional=True)
    least_root_diameter_nm = LengthField(optional=True)
    least_outside_diameter_nm = LengthField(optional=True)
    least_face_width_nm = LengthField(optional=True)
    bore_class = models.CharField(max_length=6, blank=True, help_text="Such as H7.")
    strokes_to_sharpen = models.PositiveBigIntegerField(
        null=True, blank=True, help_text="Line tooling: strokes between sharpenings."
    )
    mass_g = models.PositiveIntegerField(null=True, blank=True)
    case_depth_nm = LengthField(optional=True, help_text="Hardened so deep, on radius.")
    new_cost_cents = models.PositiveBigIntegerField(
        null=True, blank=True, help_text="What a new one costs."
    )

    class Meta:
        ordering = ["drawing__number", "revision"]
        constraints = [
            models.UniqueConstraint(fields=["drawing", "revision"], name="revision_once"),
            models.UniqueConstraint(
                fields=["drawing"], condition=Q(is_current=True), name="one_current_revision"
            ),
            models.CheckConstraint(
                condition=Q(face_width_nm=None) | Q(face_width_nm__gt=0),
                name="drawn_face_width_positive",
            ),
            models.CheckConstraint(
                condition=Q(bore_nm=None) | Q(bore_nm__gt=0), name="drawn_bore_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.drawing} {self.revision}"


class DrawingFeature(models.Model):
    """Something that a die makes in the strip: a hole, a slot, a notch, a cut."""

    revision = models.ForeignKey(DrawingRevision, on_delete=models.CASCADE, related_name="features")
    order = models.PositiveSmallIntegerField()
    shape = models.CharField(
        max_length=12,
        choices=[
            ("round", _("round hole")),
            ("slot", _("slot")),
            ("rectangle", _("rectangle")),
            ("notch", _("notch")),
            ("louvre", _("louvre")),
            ("emboss", _("emboss")),
            ("cut", _("cut-off")),
            ("other", _("other")),
        ],
    )
    name = models.CharField(max_length=60, blank=True)
    width_nm = LengthField(optional=True)
    length_nm = LengthField(optional=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["revision", "order"]
        constraints = [
            models.UniqueConstraint(fields=["revision", "order"], name="feature_once"),
            models.CheckConstraint(
                condition=(Q(width_nm=None) | Q(width_nm__gt=0))
                & (Q(length_nm=None) | Q(length_nm__gt=0)),
                name="feature_sizes_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.revision} {self.shape}"


class Condition(models.TextChoices):
    CLEAN = "clean", _("clean")
    SOUND = "sound", _("sound")
    NEW = "new", _("new, not proved")
    DIRTY = "dirty", _("dirty")
    MARKED = "marked", _("marked")
    CHIPPED = "chipped", _("chipped")
    CRACKED = "cracked", _("cracked")
    BUILD_UP = "build_up", _("build-up")
    CHROME_WORN = "chrome_worn", _("chrome worn")
    HOLD = "hold", _("hold")


NOT_FIT = (Condition.CHIPPED, Condition.CRACKED)
"""Conditions in which no kit may use a piece."""


class MarkPlace(models.TextChoices):
    INBOARD = "inboard", _("inboard face")
    OUTBOARD = "outboard", _("outboard face")
    RIM = "rim", _("rim")
    NONE = "none", _("none possible")


class Piece(models.Model):
    """One physical thing with a label code. Where it is and what it has run is derived."""

    code = models.CharField(max_length=8, unique=True)
    drawing = models.ForeignKey(
        Drawing, on_delete=models.PROTECT, related_name="pieces", db_index=False
    )
    revision = models.ForeignKey(DrawingRevision, on_delete=models.PROTECT, related_name="pieces")
    owner = models.ForeignKey(
        Owner, on_delete=models.PROTECT, related_name="pieces", db_index=False
    )
    mark = models.CharField(max_length=40, blank=True)
    mark_key = models.GeneratedField(
        expression=Upper("mark"),
        output_field=models.CharField(max_length=40),
        db_persist=True,
    )
    copy_letter = models.CharField(
        max_length=4, blank=True, help_text="Tells pieces with the same mark apart: A, B …"
    )
    value_cents = models.PositiveBigIntegerField(null=True, blank=True)
    mark_place = models.CharField(
        max_length=8, choices=MarkPlace.choices, default=MarkPlace.OUTBOARD
    )
    condition = models.CharField(max_length=12, choices=Condition.choices, default=Condition.SOUND)
    hold_reason = models.CharField(max_length=200, blank=True)
    heat_lot = models.CharField(max_length=40, blank=True)
    hardness_hrc = models.FloatField(null=True, blank=True)
    weighed_g = models.PositiveIntegerField(null=True, blank=True)
    over_chrome = models.BooleanField(
        default=False, help_text="Diameters are over chrome, not bare."
    )
    note = models.CharField(max_length=400, blank=True)
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.MM)

    made_bore_nm = LengthField(optional=True)
    made_keyway_width_nm = LengthField(optional=True)
    made_keyway_depth_nm = LengthField(optional=True)
    made_face_width_nm = LengthField(optional=True)
    made_guide_offset_nm = LengthField(optional=True)
    made_drive_diameter_nm = LengthField(optional=True)
    made_root_diameter_nm = LengthField(optional=True)
    made_outside_diameter_nm = LengthField(optional=True)

    # Derived from readings and work: the newest that is not corrected.
    now_bore_nm = LengthField(optional=True)
    now_keyway_width_nm = LengthField(optional=True)
    now_keyway_depth_nm = LengthField(optional=True)
    now_face_width_nm = LengthField(optional=True)
    now_guide_offset_nm = LengthField(optional=True)
    now_drive_diameter_nm = LengthField(optional=True)
    now_root_diameter_nm = LengthField(optional=True)
    now_outside_diameter_nm = LengthField(optional=True)

    # Derived from movements and length entries.
    home = models.ForeignKey(
        Place,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="home_of_pieces",
        help_text="Where it belongs; empty: where its copy of the set belongs.",
    )
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="pieces")
    placed_effective_at = models.DateTimeField(null=True, blank=True)
    placed_received_at = models.DateTimeField(null=True, blank=True)
    placed_by = models.ForeignKey(
        "Movement", null=True, blank=True, on_delete=models.PROTECT, related_name="+",
        db_index=False,
    )  # fmt: skip
    seen_at = models.DateTimeField(null=True, blank=True, help_text="Empty: not yet seen.")
    length_run_nm = LengthField(default=0)
    strokes_run = models.PositiveBigIntegerField(default=0)

    class Meta:
        ordering = ["code"]
        indexes = [
            models.Index(fields=["drawing", "condition"], name="piece_drawing_condition"),
            models.Index(fields=["now_bore_nm", "now_face_width_nm"], name="piece_size"),
            models.Index(fields=["now_face_width_nm"], name="piece_face_width"),
            models.Index(fields=["now_drive_diameter_nm"], name="piece_drive_diameter"),
            models.Index(fields=["now_root_diameter_nm"], name="piece_root_diameter"),
            models.Index(fields=["now_outside_diameter_nm"], name="piece_outside_diameter"),
            models.Index(fields=["mark_key", "code"], name="piece_mark_code"),
            models.Index(
                fields=["mark_key"], name="piece_mark_begins", opclasses=["varchar_pattern_ops"]
            ),
            models.Index(fields=["owner", "code"], name="piece_owner_code"),
            models.Index(fields=["condition", "code"], name="piece_condition_code"),
            models.Index(fields=["code"], condition=Q(seen_at=None), name="piece_not_yet_seen"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(length_run_nm__gte=0), name="piece_length_run_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(now_face_width_nm=None) | Q(now_face_width_nm__gt=0),
                name="piece_face_width_positive",
            ),
            models.CheckConstraint(
                condition=Q(now_bore_nm=None) | Q(now_bore_nm__gt=0), name="piece_bore_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.mark}".strip()

    @property
    def called(self) -> str:
        """By its mark, as the crew knows it, with its code; without a mark by its code."""
        return f"{self.mark} ({self.code})" if self.mark else self.code


class PieceAlias(models.Model):
    """An old number that people still use for a piece."""

    piece = models.ForeignKey(Piece, on_delete=models.CASCADE, related_name="aliases")
    text = models.CharField(max_length=40, db_index=True)
    text_key = models.GeneratedField(
        expression=Upper("text"),
        output_field=models.CharField(max_length=40),
        db_persist=True,
        db_index=True,
    )

    class Meta:
        constraints = [models.UniqueConstraint(fields=["piece", "text"], name="alias_once")]

    def __str__(self) -> str:
        return self.text


class StockLine(models.Model):
    """A count of one drawing in one place and condition; the bin has a label, its pieces none."""

    code = models.CharField(max_length=8, unique=True)
    drawing = models.ForeignKey(Drawing, on_delete=models.PROTECT, related_name="stock_lines")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="stock_lines")
    condition = models.CharField(max_length=12, choices=Condition.choices, default=Condition.SOUND)
    owner = models.ForeignKey(Owner, on_delete=models.PROTECT, related_name="stock_lines")
    count = models.PositiveIntegerField(default=0, help_text="Derived from movements.")
    least_count = models.PositiveIntegerField(default=0)
    seen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["drawing__number", "place__walking_order"]
        constraints = [
            models.CheckConstraint(condition=Q(count__gte=0), name="stock_count_not_negative"),
            models.UniqueConstraint(
                fields=["drawing", "place", "condition", "owner"], name="stock_line_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.drawing}"

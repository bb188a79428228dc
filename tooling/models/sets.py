"""Tool sets: passes with ordered positions, variants, copies, allotments; setup charts."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import LengthField, Shaft, Unit
from tooling.models.mills import Mill, Station
from tooling.models.pieces import Drawing, Piece
from tooling.models.shop import Owner, Place


class ToolSet(models.Model):
    """All that one profile needs."""

    code = models.CharField(max_length=8, unique=True)
    number = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=120)
    revision = models.CharField(max_length=10, default="A")
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.MM)
    customer = models.ForeignKey(
        Owner, null=True, blank=True, on_delete=models.PROTECT, related_name="tool_sets"
    )
    thickness_least_nm = LengthField(optional=True)
    thickness_most_nm = LengthField(optional=True)
    grades = models.CharField(
        max_length=300, blank=True, help_text="Approved strip grades, separated by commas."
    )
    hand = models.CharField(
        max_length=5, choices=[("left", _("left")), ("right", _("right"))], blank=True
    )
    side_roll_mounting = models.CharField(max_length=40, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(thickness_least_nm=None)
                | Q(thickness_most_nm=None)
                | Q(thickness_least_nm__lte=models.F("thickness_most_nm")),
                name="thickness_range_in_order",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class SetVariant(models.Model):
    """A named width or hand that changes some positions."""

    tool_set = models.ForeignKey(ToolSet, on_delete=models.CASCADE, related_name="variants")
    name = models.CharField(max_length=40)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["tool_set", "name"], name="variant_once")]

    def __str__(self) -> str:
        return self.name


class SetPass(models.Model):
    """The group of rolls mounted at one station."""

    tool_set = models.ForeignKey(ToolSet, on_delete=models.CASCADE, related_name="passes")
    number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60, blank=True)
    pass_line_rise_nm = LengthField(default=0)
    gap_point = models.CharField(max_length=80, blank=True)
    gap_degrees = models.FloatField(
        null=True, blank=True, help_text="Inclination of the face at the gap point to the shaft."
    )

    class Meta:
        ordering = ["tool_set", "number"]
        constraints = [
            models.UniqueConstraint(fields=["tool_set", "number"], name="pass_once"),
            models.CheckConstraint(condition=Q(number__gt=0), name="pass_number_positive"),
        ]

    def __str__(self) -> str:
        return f"pass {self.number}"


class SetPosition(models.Model):
    """One place on a pass's top, bottom or side, counted from the shoulder."""

    set_pass = models.ForeignKey(SetPass, on_delete=models.CASCADE, related_name="positions")
    shaft = models.CharField(max_length=6, choices=Shaft.choices)
    order = models.PositiveSmallIntegerField()
    drawing = models.ForeignKey(Drawing, on_delete=models.PROTECT, related_name="positions")
    variant = models.ForeignKey(
        SetVariant,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="positions",
        help_text="Empty: for every variant that has nothing of its own here.",
    )
    mark_faces = models.CharField(
        max_length=8,
        choices=[("inboard", _("inboard")), ("outboard", _("outboard"))],
        default="outboard",
    )
    is_split = models.BooleanField(default=False, help_text="One segment of a split roll.")
    carries_guide_point = models.BooleanField(default=False)
    gap_diameter_nm = LengthField(
        optional=True,
        help_text="Drawn diameter at the pass's gap point, of the roll that carries it.",
    )
    side = models.CharField(
        max_length=8,
        blank=True,
        choices=[("drive", _("drive side")), ("operator", _("operator side"))],
        help_text="For side rolls.",
    )
    where = models.CharField(
        max_length=60, blank=True, help_text="On the line: where, such as “before the pre-punch”."
    )
    height_nm = LengthField(optional=True)
    in_out_nm = LengthField(optional=True)
    tilt_degrees = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["set_pass", "shaft", "order"]
        constraints = [
            models.UniqueConstraint(
                fields=["set_pass", "shaft", "order"],
                condition=Q(variant=None),
                name="position_once",
            ),
            models.UniqueConstraint(
                fields=["set_pass", "shaft", "order", "variant"],
                condition=~Q(variant=None),
                name="position_once_per_variant",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.set_pass} {self.shaft} {self.order}"


class SetFill(models.Model):
    """A middle fill that the drawings call for: so much between two rolls of a shaft, within a
    window. It stands after the position of that order, counted from the shoulder."""

    set_pass = models.ForeignKey(SetPass, on_delete=models.CASCADE, related_name="fills")
    shaft = models.CharField(max_length=6, choices=[("top", _("top")), ("bottom", _("bottom"))])
    after_order = models.PositiveSmallIntegerField()
    length_nm = LengthField()
    below_nm = LengthField(default=0, help_text="How much shorter it may be.")
    above_nm = LengthField(default=0, help_text="How much longer it may be.")
    outside_most_nm = LengthField(
        optional=True, help_text="Spacers here clear everything up to this outside diameter."
    )

    class Meta:
        ordering = ["set_pass", "shaft", "after_order"]
        constraints = [
            models.UniqueConstraint(
                fields=["set_pass", "shaft", "after_order"], name="one_fill_between_two_rolls"
            ),
            models.CheckConstraint(
                condition=Q(length_nm__gt=0, below_nm__gte=0, above_nm__gte=0, after_order__gt=0),
                name="fill_has_a_length_and_a_window",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.set_pass} {self.shaft} after {self.after_order}"


class SetCopy(models.Model):
    """The physical pieces of one set: copy A, B … It may begin as one line from paper."""

    tool_set = models.ForeignKey(ToolSet, on_delete=models.PROTECT, related_name="copies")
    letter = models.CharField(max_length=4)
    home = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="home_of"
    )
    owner = models.ForeignKey(
        Owner, null=True, blank=True, on_delete=models.PROTECT, related_name="set_copies"
    )
    from_paper_count = models.PositiveIntegerField(
        null=True, blank=True, help_text="So many rolls were written down, not yet seen."
    )

    class Meta:
        ordering = ["tool_set", "letter"]
        constraints = [models.UniqueConstraint(fields=["tool_set", "letter"], name="copy_once")]

    def __str__(self) -> str:
        return f"{self.tool_set.number}-{self.letter}"


class Allotment(models.Model):
    """Which piece normally fills which position of a copy."""

    copy = models.ForeignKey(SetCopy, on_delete=models.CASCADE, related_name="allotments")
    position = models.ForeignKey(SetPosition, on_delete=models.CASCADE, related_name="allotments")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="allotments")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["copy", "position"], name="one_piece_per_position"),
            models.UniqueConstraint(fields=["copy", "piece"], name="one_position_per_piece"),
        ]

    def __str__(self) -> str:
        return f"{self.copy} {self.position}: {self.piece}"


class ChartState(models.TextChoices):
    DRAWN = "drawn", _("not yet proved")
    PROVED = "proved", _("proved")
    UNPROVED = "unproved", _("numbers unproved")


class SetupChart(models.Model):
    """Intent: one set on one mill, passes to stations, gaps. Diameters come from the pieces."""

    tool_set = models.ForeignKey(ToolSet, on_delete=models.PROTECT, related_name="charts")
    mill = models.ForeignKey(Mill, on_delete=models.PROTECT, related_name="charts")
    revision = models.CharField(max_length=10, default="A")
    hand = models.CharField(
        max_length=5, choices=[("left", _("left")), ("right", _("right"))], blank=True
    )
    is_turned = models.BooleanField(default=False, help_text="Derived for the other hand.")
    state = models.CharField(max_length=8, choices=ChartState.choices, default=ChartState.DRAWN)
    is_current = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["tool_set", "mill"],
                condition=Q(is_current=True),
                name="one_current_chart_per_mill",
            )
        ]

    def __str__(self) -> str:
        return f"{self.tool_set.number} on {self.mill}"


class ChartPass(models.Model):
    """Where a pass stands, with its gap and inboard fills."""

    chart = models.ForeignKey(SetupChart, on_delete=models.CASCADE, related_name="chart_passes")
    set_pass = models.ForeignKey(SetPass, on_delete=models.PROTECT, related_name="chart_passes")
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="chart_passes")
    gap_nm = LengthField(optional=True)
    gap_allowance_nm = LengthField(
        optional=True, help_text="Signed, on the measured strip: coating +, spring −."
    )
    gap_method = models.CharField(max_length=8, blank=True)
    gap_is_loaded = models.BooleanField(default=False)
    top_inboard_fill_nm = LengthField(optional=True)
    bottom_inboard_fill_nm = LengthField(optional=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["chart", "station__number"]
        constraints = [
            models.UniqueConstraint(fields=["chart", "set_pass"], name="pass_on_one_station"),
            models.UniqueConstraint(fields=["chart", "station"], name="station_has_one_pass"),
        ]

    def __str__(self) -> str:
        return f"{self.set_pass} at {self.station.number}"


class ChartAxis(models.Model):
    """Another setting of a charted pass, free-named: a guide, a side roll's screw, a straightener.

    In mm or in its target is whole nm in ``target_nm``; in any other unit it is ``target``.
    """

    chart_pass = models.ForeignKey(ChartPass, on_delete=models.CASCADE, related_name="axes")
    name = models.CharField(max_length=60)
    unit = models.CharField(max_length=12)
    target_nm = LengthField(optional=True)
    target = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["chart_pass", "name"]
        constraints = [
            models.UniqueConstraint(fields=["chart_pass", "name"], name="axis_once_per_pass"),
            models.CheckConstraint(
                condition=Q(target_nm=None) | Q(target=None), name="axis_has_one_target"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.chart_pass} {self.name}"

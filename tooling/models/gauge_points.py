"""Where pieces of a drawing are gauged, and what is known of their wear there."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import DIMENSIONS, LengthField
from tooling.models.pieces import Drawing, Piece


class PointKind(models.TextChoices):
    LENGTH = "length", _("a length")
    TEMPLATE = "template", _("a template: fits, light or fails")
    FINISH = "finish", _("a finish grade")


class GaugePoint(models.Model):
    """A named point of every piece of a drawing, with its limit and how it wears.

    Where ``dimension`` is named, readings of that dimension are readings of this point.
    """

    drawing = models.ForeignKey(Drawing, on_delete=models.PROTECT, related_name="gauge_points")
    order = models.PositiveSmallIntegerField(default=1)
    name = models.CharField(max_length=40)
    where = models.CharField(max_length=120, blank=True, help_text="How to find it.")
    kind = models.CharField(max_length=8, choices=PointKind.choices, default=PointKind.LENGTH)
    dimension = models.CharField(
        max_length=20, blank=True, choices=[(name, name) for name in DIMENSIONS]
    )
    is_diameter = models.BooleanField(default=True, help_text="Wear of one face counts twice.")
    new_nm = LengthField(optional=True, help_text="As drawn; empty: the first reading.")
    limit_nm = LengthField(optional=True, help_text="Beyond it parts are bad.")
    depth_limit_nm = LengthField(optional=True, help_text="Or: most depth lost since the cut.")
    grows = models.BooleanField(default=False, help_text="A groove widens; a roll gets smaller.")
    has_two_ends = models.BooleanField(default=False)
    face_angle_deg = models.FloatField(default=0, help_text="Of the face to the shaft.")
    local_radius_nm = LengthField(optional=True, help_text="Where it slides against the strip.")
    is_in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["drawing", "order", "name"]
        constraints = [
            models.UniqueConstraint(fields=["drawing", "name"], name="gauge_point_once"),
            models.UniqueConstraint(
                fields=["drawing", "dimension"],
                condition=~Q(dimension=""),
                name="dimension_gauged_at_one_point",
            ),
            models.CheckConstraint(
                condition=Q(face_angle_deg__gte=0, face_angle_deg__lte=90),
                name="face_angle_within_a_right_angle",
            ),
            models.CheckConstraint(
                condition=Q(depth_limit_nm=None) | Q(depth_limit_nm__gt=0),
                name="depth_limit_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.drawing} {self.name}"


class WearPool(models.Model):
    """What like pieces taught about wear. Derived: fitted anew from history.

    ``numbers``: the prior as the engine takes it.
    """

    key = models.CharField(max_length=120, unique=True)
    numbers = models.JSONField(default=dict)
    pieces = models.PositiveIntegerField(default=0)
    readings = models.PositiveIntegerField(default=0)
    fitted_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.key


class WearSays(models.TextChoices):
    """Whose numbers a forecast stands on."""

    OWN = "own", _("its own readings")
    ESTIMATE = "estimate", _("pool estimate")
    POOL = "pool", _("like pieces only")
    NOTHING = "nothing", _("nothing to go by")


class WearState(models.Model):
    """The forecast of one gauge point of one piece. Derived from readings, runs and work.

    ``left_…_m``: strip length left, in metres of cold rolled strip, at even odds and at the
    chosen confidence; empty: no limit is known, or no rate.
    """

    piece = models.ForeignKey(Piece, on_delete=models.CASCADE, related_name="wear_states")
    point = models.ForeignKey(GaugePoint, on_delete=models.CASCADE, related_name="states")
    end = models.CharField(
        max_length=8,
        blank=True,
        choices=[("inboard", _("inboard end")), ("outboard", _("outboard end"))],
    )
    pool = models.ForeignKey(WearPool, null=True, on_delete=models.SET_NULL, related_name="states")
    says = models.CharField(max_length=8, choices=WearSays.choices)
    readings = models.PositiveIntegerField(default=0, help_text="Since the last cut.")
    cut_at = models.DateTimeField(null=True)
    run_nm = LengthField(default=0, help_text="Strip since the last cut.")
    equivalent_m = models.FloatField(default=0)
    last_value_nm = LengthField(optional=True)
    last_read_at = models.DateTimeField(null=True)
    depth_nm = models.FloatField(null=True, help_text="Lost since the cut, normal to the face.")
    left_half_m = models.FloatField(null=True)
    left_sure_m = models.FloatField(null=True)
    flags = models.JSONField(default=list)
    numbers = models.JSONField(default=dict, help_text="What a run's chance is computed from.")
    computed_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["left_sure_m"], name="wear_by_length_left")]
        constraints = [
            models.UniqueConstraint(fields=["piece", "point", "end"], name="wear_state_once")
        ]

    def __str__(self) -> str:
        return f"{self.piece} {self.point}"

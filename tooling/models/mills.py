"""Mills with their stations and shafts, as ``station and shaft`` facts of the machine."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import LengthField, Unit
from tooling.models.shop import Place


class Datum(models.TextChoices):
    SHOULDER = "shoulder", _("shoulder")
    CENTRELINE = "centreline", _("centreline")


class Hand(models.TextChoices):
    LEFT = "left", _("drive side left, looking downstream")
    RIGHT = "right", _("drive side right, looking downstream")


class Closing(models.TextChoices):
    NUT = "nut", _("nut clamps the stack")
    HOUSING = "housing", _("housing closes on the stack")


class Mill(models.Model):
    """A machine. Lengths are as measured on it, never taken from a set."""

    number = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.MM)
    datum = models.CharField(max_length=10, choices=Datum.choices)
    hand = models.CharField(max_length=5, choices=Hand.choices)
    operator_side = models.CharField(
        max_length=5,
        choices=[
            ("left", _("left, looking downstream")),
            ("right", _("right, looking downstream")),
        ],
        help_text=_("The side from which the operator looks at the mill."),
    )
    closing = models.CharField(max_length=8, choices=Closing.choices, blank=True)
    closing_least_nm = LengthField(
        optional=True, help_text="Least of (stack total − roll space); negative when short."
    )
    closing_most_nm = LengthField(optional=True)
    pass_line_height_nm = LengthField(optional=True)
    guide_plane_nm = LengthField(
        optional=True, help_text="From the datum plane to the guide plane."
    )
    base_clearance_nm = LengthField(
        optional=True, help_text="Bottom shaft axis at its lowest to the base: the room for a roll."
    )
    max_speed_m_min = models.FloatField(null=True, blank=True)
    place = models.ForeignKey(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="mills"
    )
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(closing_least_nm=None)
                | Q(closing_most_nm=None)
                | Q(closing_least_nm__lte=models.F("closing_most_nm")),
                name="mill_closing_window_in_order",
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def entry_left(self) -> bool:
        """Whether the strip comes in from the left as the operator sees the mill.

        Standing on the right (looking downstream) and facing the mill, downstream lies to
        the operator's right, so the entry is on the left.
        """
        return self.operator_side == "right"


class DriveGroup(models.Model):
    """Shafts that turn together, with their rpm against the line's."""

    mill = models.ForeignKey(Mill, on_delete=models.CASCADE, related_name="drive_groups")
    name = models.CharField(max_length=20)
    rpm_factor = models.FloatField(default=1.0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["mill", "name"], name="drive_group_once"),
            models.CheckConstraint(condition=Q(rpm_factor__gt=0), name="rpm_factor_positive"),
        ]

    def __str__(self) -> str:
        return self.name


class Station(models.Model):
    """One numbered position on a mill; its own label and its own place."""

    code = models.CharField(max_length=8, unique=True)
    mill = models.ForeignKey(Mill, on_delete=models.PROTECT, related_name="stations")
    number = models.PositiveSmallIntegerField()
    place = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="station")
    centre_to_next_nm = LengthField(optional=True)
    vertical_least_nm = LengthField(optional=True)
    vertical_most_nm = LengthField(optional=True)
    gear_ratio = models.DecimalField(
        max_digits=9,
        decimal_places=6,
        default=1,
        help_text="D top / D bottom at equal surface speed = rpm bottom / rpm top.",
    )
    bottom_adjustable = models.BooleanField(default=False)
    screw_lead_nm = LengthField(optional=True)
    stand_clearance_nm = LengthField(
        optional=True, help_text="Shaft axis to the nearest stand or cross bar."
    )
    side_roll_room_nm = LengthField(
        optional=True, help_text="Clear length along the line between this station and the next."
    )
    side_roll_mounting = models.CharField(max_length=40, blank=True)
    aligned_on = models.DateField(null=True, blank=True)
    screw_zeroed_at = models.DateTimeField(
        null=True, blank=True, help_text="Screw positions from before do not compare."
    )

    class Meta:
        ordering = ["mill", "number"]
        constraints = [
            models.UniqueConstraint(fields=["mill", "number"], name="station_once"),
            models.CheckConstraint(condition=Q(number__gt=0), name="station_number_positive"),
            models.CheckConstraint(condition=Q(gear_ratio__gt=0), name="gear_ratio_positive"),
            models.CheckConstraint(
                condition=Q(vertical_least_nm=None)
                | Q(vertical_most_nm=None)
                | Q(vertical_least_nm__lte=models.F("vertical_most_nm")),
                name="vertical_centres_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.mill} {self.number}"


class KeyStyle(models.TextChoices):
    FULL = "full", _("full-length key")
    LOOSE = "loose", _("loose key")
    TWO = "two", _("two keys")
    PIN = "pin", _("drive pin")
    NONE = "none", _("no key")


class Drive(models.TextChoices):
    DRIVEN = "driven", _("driven")
    IDLE = "idle", _("idle")
    JOINT = "joint", _("through universal joint")


class MillShaft(models.Model):
    """A top or bottom shaft of a station (a duplex station has two banks)."""

    station = models.ForeignKey(Station, on_delete=models.CASCADE, related_name="shafts")
    which = models.CharField(max_length=6, choices=[("top", _("top")), ("bottom", _("bottom"))])
    bank = models.PositiveSmallIntegerField(default=1)
    diameter_nm = LengthField()
    key_style = models.CharField(max_length=5, choices=KeyStyle.choices, default=KeyStyle.FULL)
    key_width_nm = LengthField(optional=True)
    key_height_nm = LengthField(optional=True, help_text="How far the key stands above the shaft.")
    roll_space_nm = LengthField()
    shoulder_offset_nm = LengthField(default=0, help_text="Positive: outboard of the datum plane.")
    shoulder_measured_on = models.DateField(null=True, blank=True)
    end_play_nm = LengthField(optional=True)
    end_play_measured_on = models.DateField(null=True, blank=True)
    drive = models.CharField(max_length=6, choices=Drive.choices, default=Drive.DRIVEN)
    drive_group = models.ForeignKey(
        DriveGroup, null=True, blank=True, on_delete=models.PROTECT, related_name="shafts"
    )
    joint_length_nm = LengthField(optional=True)
    joint_most_degrees = models.FloatField(null=True, blank=True)
    joint_level_centre_nm = LengthField(
        optional=True, help_text="Vertical centres at which the joint runs straight."
    )

    class Meta:
        ordering = ["station", "bank", "which"]
        constraints = [
            models.UniqueConstraint(fields=["station", "which", "bank"], name="shaft_once"),
            models.CheckConstraint(condition=Q(diameter_nm__gt=0), name="shaft_diameter_positive"),
            models.CheckConstraint(condition=Q(roll_space_nm__gt=0), name="roll_space_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.station} {self.which}"

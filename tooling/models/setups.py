"""Setups: a kit mounted on a mill or built on a plate, with what was actually set.

Everything that people said while they mounted is history; a mistake is put right by a row that
``corrects`` it.
"""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.fields import LengthField
from tooling.models.kits import Kit
from tooling.models.mills import Mill
from tooling.models.sets import SetupChart, ToolSet
from tooling.models.shop import Person, Place

SHAFTS = [("top", _("top")), ("bottom", _("bottom")), ("side", _("side"))]


class SetupState(models.TextChoices):
    MOUNTING = "mounting", _("being mounted")
    RUNNING = "running", _("running")
    STRUCK = "struck", _("struck down")


class CheckLevel(models.TextChoices):
    """How much is scanned at the mill; everything was verified once at staging."""

    STATION = "station", _("the station")
    SHAFT = "shaft", _("each shaft")
    ROLL = "roll", _("every roll")


class Setup(models.Model):
    """A kit mounted, or being mounted. Its number is its kit's; its version is its kit's too."""

    kit = models.OneToOneField(Kit, on_delete=models.PROTECT, related_name="setup")
    mill = models.ForeignKey(Mill, on_delete=models.PROTECT, related_name="setups")
    chart = models.ForeignKey(
        SetupChart, null=True, blank=True, on_delete=models.PROTECT, related_name="setups"
    )
    plate = models.ForeignKey(
        Place,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Built off line on this plate.",
    )
    docked_at = models.DateTimeField(null=True, blank=True)
    is_turned = models.BooleanField(default=False, help_text="Mounted for the other hand.")
    check_level = models.CharField(
        max_length=7, choices=CheckLevel.choices, default=CheckLevel.STATION
    )
    state = models.CharField(max_length=8, choices=SetupState.choices, default=SetupState.MOUNTING)
    started_at = models.DateTimeField()
    started_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    good_at = models.DateTimeField(null=True, blank=True, help_text="The first good part.")
    struck_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-started_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["mill"],
                condition=~Q(state="struck") & (Q(plate=None) | Q(docked_at__isnull=False)),
                name="one_setup_stands_on_a_mill",
            ),
            models.CheckConstraint(
                condition=Q(state="struck", struck_at__isnull=False)
                | (~Q(state="struck") & Q(struck_at=None)),
                name="struck_setup_says_when",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kit} on {self.mill}"


class Said(models.Model):
    """What a row of a setup's history always says."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    happened_at = models.DateTimeField()
    received_at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    corrects = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    is_taken_back = models.BooleanField(
        default=False, help_text="With corrects: what that row said does not hold."
    )
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        abstract = True


class ShaftAct(models.TextChoices):
    MOUNTED = "mounted", _("mounted")
    SKIPPED = "skipped", _("left out")
    TAKEN_OFF = "taken_off", _("taken off")


class ShaftMount(Said):
    """History: one shaft of one station was mounted, left out or taken off."""

    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="mounts")
    station_number = models.PositiveSmallIntegerField()
    shaft = models.CharField(max_length=6, choices=SHAFTS)
    what = models.CharField(max_length=9, choices=ShaftAct.choices)
    checked = models.CharField(max_length=7, choices=CheckLevel.choices, blank=True)
    scan = models.UUIDField(null=True, help_text="The scan whose movements put the pieces there.")

    class Meta:
        indexes = [models.Index(fields=["setup", "station_number", "shaft"], name="mount_of_shaft")]
        constraints = [
            models.CheckConstraint(
                condition=~Q(what="skipped") | ~Q(note=""), name="left_out_has_a_reason"
            )
        ]

    def __str__(self) -> str:
        return f"{self.setup} {self.station_number} {self.shaft} {self.what}"


class Method(models.TextChoices):
    """How a gap or position was found; values of different methods are never compared."""

    FEELER = "feeler", _("feelers")
    STRIP = "strip", _("strip sample")
    PLUG = "plug", _("plug or pin")
    SOLDER = "solder", _("solder or lead")
    SPACERS = "spacers", _("set by spacers")
    DIAL = "dial", _("dial or scale")
    SCREW = "screw", _("screw turns")
    CALIPER = "caliper", _("caliper or micrometer")
    OTHER = "other", _("another way")


class AsSet(Said):
    """History: a gap, or another setting by its name, as it was actually set.

    ``name`` empty: the gap. A length stands in ``value_nm``; anything else in ``value`` with its
    own unit (turns, degrees, bar).
    """

    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="as_set")
    station_number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60, blank=True)
    end = models.CharField(
        max_length=8,
        blank=True,
        choices=[("inboard", _("inboard end")), ("outboard", _("outboard end"))],
    )
    value_nm = LengthField(optional=True)
    value = models.FloatField(null=True)
    unit = models.CharField(max_length=12)
    method = models.CharField(max_length=8, choices=Method.choices, blank=True)
    is_loaded = models.BooleanField(null=True, help_text="With the strip in and the mill loaded.")
    target_nm = LengthField(optional=True)
    target = models.FloatField(null=True)
    is_as_target = models.BooleanField(default=False)

    class Meta:
        indexes = [models.Index(fields=["setup", "station_number"], name="as_set_of_station")]
        constraints = [
            models.CheckConstraint(
                condition=Q(value_nm__isnull=False, value=None)
                | Q(value_nm=None, value__isnull=False),
                name="as_set_says_one_value",
            )
        ]

    def __str__(self) -> str:
        return f"{self.setup} {self.station_number} {self.name or 'gap'} {self.end}"


class Characteristic(models.Model):
    """What is checked on the first piece of a set's section, with its limits.

    In mm or in the limits are whole nm in ``…_nm``; in any other unit they are plain numbers.
    """

    tool_set = models.ForeignKey(ToolSet, on_delete=models.CASCADE, related_name="characteristics")
    order = models.PositiveSmallIntegerField(default=1)
    name = models.CharField(max_length=80)
    unit = models.CharField(max_length=12, default="mm")
    nominal_nm = LengthField(optional=True)
    least_nm = LengthField(optional=True)
    most_nm = LengthField(optional=True)
    nominal = models.FloatField(null=True, blank=True)
    least = models.FloatField(null=True, blank=True)
    most = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["tool_set", "order", "name"]
        constraints = [
            models.UniqueConstraint(fields=["tool_set", "name"], name="characteristic_once"),
            models.CheckConstraint(
                condition=Q(least_nm=None) | Q(most_nm=None) | Q(least_nm__lte=models.F("most_nm")),
                name="characteristic_lengths_in_order",
            ),
            models.CheckConstraint(
                condition=Q(least=None) | Q(most=None) | Q(least__lte=models.F("most")),
                name="characteristic_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class PartCheck(Said):
    """History: one characteristic of a part that was run, measured or judged."""

    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="part_checks")
    characteristic = models.ForeignKey(
        Characteristic, on_delete=models.PROTECT, related_name="checks"
    )
    value_nm = LengthField(optional=True)
    value = models.FloatField(null=True)
    is_good = models.BooleanField()

    def __str__(self) -> str:
        return f"{self.setup} {self.characteristic}"


class StepKind(models.TextChoices):
    """The moments of a changeover that are timed, in their usual order."""

    STOPPED = "stopped", _("last good part of the job before")
    CLEARED = "cleared", _("mill cleared")
    MOUNTED = "mounted", _("everything mounted")
    GAPPED = "gapped", _("gaps set")
    THREADED = "threaded", _("strip threaded")
    GOOD = "good", _("first good part")
    CLEAN = "clean", _("looked over: all clean and sound")
    HANDED_OVER = "handed_over", _("handed over")


class SetupStep(Said):
    """History: a moment of the changeover. A handover says in its note what the next must know."""

    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="steps")
    what = models.CharField(max_length=11, choices=StepKind.choices)

    def __str__(self) -> str:
        return f"{self.setup} {self.what}"


class DelayCause(models.TextChoices):
    MISSING = "missing", _("a piece or spacer was missing")
    WRONG = "wrong", _("a wrong piece was mounted")
    DAMAGED = "damaged", _("damaged or dirty tooling")
    WAITING = "waiting", _("waited for people, crane or truck")
    STRIP = "strip", _("waited for strip")
    MACHINE = "machine", _("the mill itself")
    NUMBERS = "numbers", _("numbers were missing or did not hold")
    OTHER = "other", _("something else")


class Delay(Said):
    """History: minutes lost in a changeover, and to what. Kept apart from the changeover's own."""

    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="delays")
    cause = models.CharField(max_length=8, choices=DelayCause.choices)
    minutes = models.FloatField()
    station_number = models.PositiveSmallIntegerField(null=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(minutes__gt=0), name="delay_takes_time")]

    def __str__(self) -> str:
        return f"{self.setup} {self.cause}"


class KitFill(models.Model):
    """The last answer to "fill the shafts" of a kit. Its spacers are positions of the kit.

    ``said``: what the computation answered, for showing: bounds, what cannot be met, make-list.
    """

    kit = models.OneToOneField(Kit, on_delete=models.PROTECT, related_name="fill_answer")
    solved_at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    is_proven = models.BooleanField(default=False)
    said = models.JSONField(default=dict)

    def __str__(self) -> str:
        return f"{self.kit} filled"


class MillRule(models.Model):
    """A sequence rule of a mill: which strip may not follow which, what comes first or last.

    ``first`` and ``then`` name a strip class or a coating, as jobs carry them; empty: any.
    """

    class Kind(models.TextChoices):
        FIRST_AFTER_CLEAN = "first", _("runs first after a clean")
        LAST = "last", _("runs last")
        THIN_TO_THICK = "thicker", _("thin before thick")
        NEVER_AFTER = "apart", _("never straight after")

    mill = models.ForeignKey(Mill, on_delete=models.CASCADE, related_name="rules")
    kind = models.CharField(max_length=7, choices=Kind.choices)
    first = models.CharField(max_length=40, blank=True)
    then = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["mill", "kind", "first", "then"]
        constraints = [
            models.UniqueConstraint(fields=["mill", "kind", "first", "then"], name="mill_rule_once")
        ]

    def __str__(self) -> str:
        return f"{self.mill} {self.kind}"

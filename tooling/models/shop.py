"""The shop itself: its people and their roles, owners of tooling, places, settings, devices."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _


class Role(models.TextChoices):
    """What a person may do; one person has a set of them."""

    VIEWER = "viewer", _("viewer")
    ATTENDANT = "attendant", _("toolroom attendant")
    CREW = "crew", _("setup crew")
    ENGINEER = "engineer", _("tooling engineer")
    SUPERVISOR = "supervisor", _("supervisor")


class Shop(models.Model):
    """One row: what holds for the whole shop."""

    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=64, default="UTC")
    unit = models.CharField(max_length=2, choices=[("mm", "mm"), ("in", "in")], default="mm")
    strip_unit = models.CharField(max_length=2, choices=[("m", "m"), ("ft", "ft")], default="m")
    currency = models.CharField(max_length=3, blank=True, help_text="ISO 4217, such as USD.")

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="shop_is_one_row")]

    def __str__(self) -> str:
        return self.name


class PersonManager(BaseUserManager["Person"]):
    """Finds people by user name; makes them with a hashed password."""

    def create_user(self, username: str, password: str | None = None, **fields: Any) -> Person:
        person = self.model(username=self.model.normalize_username(username), **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser):
    """Somebody who logs in. Rights come from the roles alone."""

    username = models.CharField(max_length=60, unique=True)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)
    length_unit = models.CharField(
        max_length=8,
        choices=[("drawn", _("as drawn")), ("mm", "mm"), ("in", "in")],
        default="drawn",
    )
    strip_unit = models.CharField(max_length=2, choices=[("m", "m"), ("ft", "ft")], default="m")
    pin = models.CharField(max_length=128, blank=True, help_text="Hashed as a password is.")
    pin_failures = models.PositiveSmallIntegerField(default=0)
    pin_locked_until = models.DateTimeField(null=True, blank=True)

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]
    objects = PersonManager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name or self.username

    @property
    def role_set(self) -> frozenset[str]:
        """The person's roles; read once per loaded person."""
        if not hasattr(self, "_roles"):
            self._roles = frozenset(self.roles.values_list("role", flat=True))
        return self._roles


class PersonRole(models.Model):
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="roles")
    role = models.CharField(max_length=12, choices=Role.choices)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "role"], name="one_role_once")]

    def __str__(self) -> str:
        return f"{self.person}: {self.role}"


class Owner(models.Model):
    """Whose tooling it is: the shop itself or a customer."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    is_shop = models.BooleanField(default=False)
    contact = models.CharField(max_length=200, blank=True)
    consent_reference = models.CharField(
        max_length=120,
        blank=True,
        help_text="The written consent on file under which other jobs may use this owner's pieces.",
    )
    insurance_reference = models.CharField(
        max_length=120, blank=True, help_text="Who insures this owner's tooling, and where."
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["is_shop"], condition=Q(is_shop=True), name="one_owner_is_the_shop"
            )
        ]

    def __str__(self) -> str:
        return self.name


class PlaceKind(models.TextChoices):
    AREA = "area", _("area")
    RACK = "rack", _("rack")
    SHELF = "shelf", _("shelf")
    BIN = "bin", _("bin")
    PEG = "peg", _("peg")
    CART = "cart", _("cart")
    PLATE = "plate", _("plate")
    STATION = "station", _("station")
    GRINDER = "grinder", _("grinder")
    CUSTOMER = "customer", _("customer")
    PERSON = "person", _("person")
    SISTER = "sister", _("sister plant")
    LOST = "lost", _("lost")
    SCRAP = "scrap", _("scrap")
    UNKNOWN = "unknown", _("not yet placed")


MOVING_KINDS = (PlaceKind.CART, PlaceKind.PLATE)
AWAY_KINDS = (PlaceKind.GRINDER, PlaceKind.CUSTOMER, PlaceKind.PERSON, PlaceKind.SISTER)


class Place(models.Model):
    """Where a piece can be. Places nest; carts and plates move with what is on them."""

    code = models.CharField(max_length=8, unique=True)
    kind = models.CharField(max_length=10, choices=PlaceKind.choices)
    name = models.CharField(max_length=80)
    parent = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="children"
    )
    home = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="home_of_places",
        help_text="Where a cart or plate stands when nobody uses it.",
    )
    walking_order = models.PositiveIntegerField(default=0)
    path = models.CharField(
        max_length=400, blank=True, help_text="Codes from the outermost place to this one."
    )
    path_name = models.CharField(max_length=600, blank=True)
    max_load_kg = models.FloatField(null=True, blank=True)
    height_nm = models.BigIntegerField(
        null=True, blank=True, help_text="Height of the hands when lifting from here."
    )
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="places"
    )
    owner = models.ForeignKey(
        Owner, null=True, blank=True, on_delete=models.PROTECT, related_name="places"
    )
    is_active = models.BooleanField(default=True)
    placed_effective_at = models.DateTimeField(null=True, blank=True)
    placed_received_at = models.DateTimeField(null=True, blank=True)
    placed_by = models.ForeignKey(
        "Movement", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["walking_order", "name"]
        indexes = [models.Index(fields=["path"], name="place_path")]
        constraints = [
            models.UniqueConstraint(fields=["parent", "name"], name="place_name_once_in_parent"),
            models.UniqueConstraint(
                fields=["name"], condition=Q(parent=None), name="place_name_once_at_the_top"
            ),
            models.CheckConstraint(
                condition=Q(parent=None) | ~Q(parent=models.F("id")), name="place_not_in_itself"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def moves(self) -> bool:
        return self.kind in MOVING_KINDS


class Device(models.Model):
    """A phone, tablet or desk that scans."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    name = models.CharField(max_length=80, blank=True)
    last_offset_ms = models.BigIntegerField(default=0)
    last_seen_at = models.DateTimeField(null=True, blank=True)
    mill = models.ForeignKey(
        "Mill",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="devices",
        help_text="It stands at this mill: it does not lock while a setup is open there.",
    )
    is_shared = models.BooleanField(default=False, help_text="Several people use it, by badge.")
    waiting = models.PositiveIntegerField(
        null=True, blank=True, help_text="Scans that it said were still to be sent."
    )

    def __str__(self) -> str:
        return self.name or str(self.id)[:8]


class Setting(models.Model):
    """A default that this shop changed: for all, for one mill, or for one set."""

    name = models.CharField(max_length=60)
    value = models.JSONField()
    mill = models.ForeignKey("Mill", null=True, blank=True, on_delete=models.CASCADE)
    tool_set = models.ForeignKey("ToolSet", null=True, blank=True, on_delete=models.CASCADE)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["name"],
                condition=Q(mill=None, tool_set=None),
                name="setting_once_for_the_shop",
            ),
            models.UniqueConstraint(
                fields=["name", "mill"],
                condition=~Q(mill=None),
                name="setting_once_per_mill",
            ),
            models.UniqueConstraint(
                fields=["name", "tool_set"],
                condition=~Q(tool_set=None),
                name="setting_once_per_set",
            ),
            models.CheckConstraint(
                condition=Q(mill=None) | Q(tool_set=None), name="setting_for_mill_or_set_not_both"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Change(models.Model):
    """History: an edit of a current record. Who, when, before and after."""

    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    subject = models.CharField(max_length=40, help_text="The model's name.")
    subject_key = models.CharField(max_length=60, help_text="Its code, number or id.")
    what = models.CharField(max_length=40, help_text="The verb: created, edited, closed …")
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    reason = models.CharField(max_length=400, blank=True)

    class Meta:
        indexes = [models.Index(fields=["subject", "subject_key", "at"], name="change_of")]

    def __str__(self) -> str:
        return f"{self.subject} {self.subject_key}: {self.what}"

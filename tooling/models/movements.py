"""The ledger: every change of place or count, every refused scan, every label issued."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.kits import Kit
from tooling.models.pieces import Piece, StockLine
from tooling.models.shop import Device, Person, Place


class How(models.TextChoices):
    SCAN = "scan", _("scan")
    TICK = "tick", _("tick")
    TYPED = "typed", _("typed")
    COUNT = "count", _("count")
    IMPORT = "import", _("import")


class What(models.TextChoices):
    MOVE = "move", _("move")
    RECEIVE = "receive", _("receive")
    MAKE = "make", _("make")
    USE_UP = "use_up", _("use up")
    SCRAP = "scrap", _("scrap")
    COUNT = "count", _("count")


class Movement(models.Model):
    """History, never changed or deleted. A mistake is put right by a row that ``corrects`` it.

    It grows with every scan, so it has only the indexes that something asks for.

    Exactly one subject. For a stock line ``stock`` is the line that the quantity left (or, for
    receive, make and count, the line it reached) and ``stock_to`` the line it reached by a move;
    ``quantity`` is signed for counts only. Place = uncorrected movements folded by
    (effective_at, received_at, id); a row that corrects another stands in its place in time.
    A row that takes another back counts none (``what`` count, ``quantity`` 0): the other did not
    happen, and place is what stood before. Its ``to`` tells where the thing was found to be then.
    """

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    device = models.ForeignKey(
        Device, null=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    device_sequence = models.PositiveBigIntegerField(null=True)
    happened_at = models.DateTimeField()
    received_at = models.DateTimeField()
    effective_at = models.DateTimeField()
    clock_offset_ms = models.BigIntegerField(default=0)
    clock_is_off = models.BooleanField(default=False)
    what = models.CharField(max_length=8, choices=What.choices, default=What.MOVE)
    piece = models.ForeignKey(
        Piece, null=True, on_delete=models.PROTECT, related_name="movements", db_index=False
    )
    stock = models.ForeignKey(
        StockLine, null=True, on_delete=models.PROTECT, related_name="movements", db_index=False
    )
    stock_to = models.ForeignKey(
        StockLine, null=True, on_delete=models.PROTECT, related_name="arrivals", db_index=False
    )
    cart = models.ForeignKey(
        Place, null=True, on_delete=models.PROTECT, related_name="journeys", db_index=False
    )
    quantity = models.IntegerField(default=1)
    from_seen = models.ForeignKey(
        Place, null=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    to = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="arrivals")
    how = models.CharField(max_length=6, choices=How.choices)
    kit = models.ForeignKey(
        Kit, null=True, on_delete=models.PROTECT, related_name="movements", db_index=False
    )
    by = models.ForeignKey(
        Person, null=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    corrects = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    code_read = models.CharField(max_length=60, blank=True)
    content_hash = models.CharField(
        max_length=64,
        blank=True,
        help_text="Of what the device sent, to tell a repeat from a change.",
    )
    scan = models.UUIDField(
        null=True, help_text="The device's id of the scan; a whole set shares one over its rows."
    )
    sees = models.BooleanField(
        default=True, help_text="Somebody had the piece before their eyes; not so from paper."
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["piece", "-effective_at", "-received_at", "-id"], name="movement_of_piece"
            ),
            models.Index(
                fields=["cart", "-effective_at"],
                condition=Q(cart__isnull=False),
                name="movement_of_cart",
            ),
            models.Index(
                fields=["stock", "-effective_at"],
                condition=Q(stock__isnull=False),
                name="movement_of_stock",
            ),
            models.Index(
                fields=["stock_to"], condition=Q(stock_to__isnull=False), name="movement_to_stock"
            ),
            models.Index(fields=["kit"], condition=Q(kit__isnull=False), name="movement_for_kit"),
            models.Index(fields=["by", "-received_at", "-id"], name="movement_by_person"),
            models.Index(fields=["received_at"], name="movement_received"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(piece__isnull=False, stock=None, cart=None)
                | Q(piece=None, stock__isnull=False, cart=None)
                | Q(piece=None, stock=None, cart__isnull=False),
                name="movement_has_one_subject",
            ),
            models.CheckConstraint(
                condition=Q(stock__isnull=False) | Q(to__isnull=False),
                name="pieces_and_carts_go_somewhere",
            ),
            models.CheckConstraint(
                condition=Q(what="count") | Q(quantity__gt=0),
                name="quantity_positive_but_for_counts",
            ),
            models.CheckConstraint(
                condition=Q(effective_at__lte=models.F("received_at")),
                name="effective_never_after_received",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what} {self.uuid}"

    @property
    def takes_back(self) -> bool:
        """It says only that the row it corrects did not happen."""
        return self.corrects_id is not None and self.what == What.COUNT and self.quantity == 0


TAKES_BACK = Q(corrects__isnull=False, what=What.COUNT, quantity=0)
"""Rows that say only that another did not happen; ``Movement.takes_back`` of one."""

STANDS = Q(corrected_by=None) & ~TAKES_BACK
"""Rows of pieces and carts that have a say in where the thing is: the newest of them says it."""


class DueBack(models.Model):
    """History: when what a movement took away is due back. The newest of a movement stands."""

    movement = models.ForeignKey(Movement, on_delete=models.PROTECT, related_name="due_backs")
    due_on = models.DateField(null=True, help_text="Empty: no date any more.")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["movement", "at"], name="due_back_of_movement")]

    def __str__(self) -> str:
        return f"{self.movement}: {self.due_on}"


class RefusedScan(models.Model):
    """History: a scan that could not be taken, kept with its reason."""

    uuid = models.UUIDField(unique=True)
    scan = models.UUIDField(help_text="The device's id; the same as uuid unless that was reused.")
    device = models.ForeignKey(Device, null=True, on_delete=models.PROTECT, related_name="+")
    device_sequence = models.PositiveBigIntegerField(null=True)
    happened_at = models.DateTimeField()
    received_at = models.DateTimeField()
    effective_at = models.DateTimeField()
    code_read = models.CharField(max_length=60)
    to_read = models.CharField(max_length=60, blank=True)
    how = models.CharField(max_length=6, choices=How.choices)
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    error_code = models.CharField(max_length=40)
    message = models.CharField(max_length=600)
    content_hash = models.CharField(max_length=64, blank=True)
    piece = models.ForeignKey(
        Piece, null=True, on_delete=models.PROTECT, related_name="refused_scans"
    )
    kit = models.ForeignKey(Kit, null=True, on_delete=models.PROTECT, related_name="refused_scans")

    class Meta:
        indexes = [models.Index(fields=["received_at"], name="refused_received")]

    def __str__(self) -> str:
        return f"{self.code_read}: {self.error_code}"


class LabelEvent(models.Model):
    """History: a label issued, printed again, voided, or put in the place of a void one."""

    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    code = models.CharField(max_length=8, db_index=True)
    what = models.CharField(
        max_length=8,
        choices=[
            ("issue", _("issued")),
            ("print", _("printed")),
            ("void", _("voided")),
            ("reissue", _("reissued")),
        ],
    )
    replaces = models.CharField(
        max_length=8, blank=True, help_text="The void code before this one."
    )
    size = models.CharField(max_length=20, blank=True)
    reason = models.CharField(max_length=200, blank=True)

    def __str__(self) -> str:
        return f"{self.code} {self.what}"

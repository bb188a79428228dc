"""New tooling: what was ordered, what came, and what the inspection said."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.files import StoredFile
from tooling.models.pieces import DrawingRevision, Piece, StockLine
from tooling.models.sets import SetCopy
from tooling.models.shop import Owner, Person


class Purchase(models.Model):
    """An order for new tooling."""

    number = models.CharField(max_length=30, unique=True)
    vendor = models.CharField(max_length=120)
    owner = models.ForeignKey(Owner, on_delete=models.PROTECT, related_name="purchases")
    ordered_on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    is_open = models.BooleanField(default=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["-ordered_on", "number"]

    def __str__(self) -> str:
        return self.number


class PurchaseLine(models.Model):
    """So many of one revision of a drawing."""

    purchase = models.ForeignKey(Purchase, on_delete=models.CASCADE, related_name="lines")
    line = models.PositiveSmallIntegerField()
    revision = models.ForeignKey(
        DrawingRevision, on_delete=models.PROTECT, related_name="purchase_lines"
    )
    quantity = models.PositiveIntegerField()
    is_counted = models.BooleanField(
        default=False, help_text="Comes into a bin by count; otherwise each piece has a code."
    )
    set_copy = models.ForeignKey(
        SetCopy, null=True, blank=True, on_delete=models.PROTECT, related_name="purchase_lines"
    )
    mark = models.CharField(max_length=40, blank=True, help_text="To be stamped on it.")
    price_cents = models.PositiveBigIntegerField(null=True, blank=True, help_text="Of one.")

    class Meta:
        ordering = ["purchase", "line"]
        constraints = [
            models.UniqueConstraint(fields=["purchase", "line"], name="purchase_line_once"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="purchase_line_of_some"),
        ]

    def __str__(self) -> str:
        return f"{self.purchase} line {self.line}"


class Verdict(models.TextChoices):
    ACCEPTED = "accepted", _("accepted")
    CONCESSION = "concession", _("accepted with a reason")
    REJECTED = "rejected", _("rejected")


class Receipt(models.Model):
    """History: pieces or a count came in against a line. ``corrects`` takes one back."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    line = models.ForeignKey(PurchaseLine, on_delete=models.PROTECT, related_name="receipts")
    piece = models.ForeignKey(Piece, null=True, on_delete=models.PROTECT, related_name="receipts")
    stock_line = models.ForeignKey(
        StockLine, null=True, on_delete=models.PROTECT, related_name="receipts"
    )
    quantity = models.PositiveIntegerField(default=1)
    heat_lot = models.CharField(max_length=40, blank=True)
    certificate = models.ForeignKey(
        StoredFile, null=True, on_delete=models.PROTECT, related_name="+"
    )
    certificate_name = models.CharField(max_length=160, blank=True)
    happened_at = models.DateTimeField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=300, blank=True)
    is_taken_back = models.BooleanField(default=False)
    corrects = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="corrected_by"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(piece__isnull=False, stock_line=None)
                | Q(piece=None, stock_line__isnull=False),
                name="receipt_has_one_subject",
            ),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="receipt_of_some"),
        ]

    def __str__(self) -> str:
        return f"{self.line}: {self.piece or self.stock_line}"


class Inspection(models.Model):
    """History: a received piece was measured to print; the newest verdict stands.

    The measurements are readings of the piece, taken in the same transaction.
    """

    receipt = models.ForeignKey(Receipt, on_delete=models.PROTECT, related_name="inspections")
    verdict = models.CharField(max_length=10, choices=Verdict.choices)
    reason = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(verdict="accepted") | ~Q(reason=""),
                name="less_than_accepted_has_a_reason",
            )
        ]

    def __str__(self) -> str:
        return f"{self.receipt}: {self.verdict}"

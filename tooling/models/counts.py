"""Counts: a check of what is really there, against what the movements say."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.movements import How, Movement
from tooling.models.pieces import Piece, StockLine
from tooling.models.sets import SetCopy
from tooling.models.shop import Device, Owner, Person, Place


class CountState(models.TextChoices):
    OPEN = "open", _("being counted")
    CLOSED = "closed", _("closed")
    DROPPED = "dropped", _("dropped")


class Count(models.Model):
    """One count: of a place (a rack, a cart …), of a copy of a set, or of an owner's tooling.

    The figures of a closed count are the record of accuracy.
    """

    number = models.PositiveIntegerField(unique=True)
    place = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="counts")
    set_copy = models.ForeignKey(
        SetCopy, null=True, on_delete=models.PROTECT, related_name="counts"
    )
    owner = models.ForeignKey(Owner, null=True, on_delete=models.PROTECT, related_name="counts")
    state = models.CharField(max_length=7, choices=CountState.choices, default=CountState.OPEN)
    version = models.PositiveBigIntegerField(default=1)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    expected = models.PositiveIntegerField(default=0)
    found = models.PositiveIntegerField(default=0)
    missing = models.PositiveIntegerField(default=0)
    extra = models.PositiveIntegerField(default=0)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["-number"]
        indexes = [models.Index(fields=["state", "number"], name="count_state")]
        constraints = [
            models.CheckConstraint(
                condition=Q(place__isnull=False, set_copy=None, owner=None)
                | Q(place=None, set_copy__isnull=False, owner=None)
                | Q(place=None, set_copy=None, owner__isnull=False),
                name="count_has_one_subject",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed") | Q(closed_at__isnull=False),
                name="closed_count_has_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"count {self.number}"


class CountLine(models.Model):
    """What was expected when the count was opened, and what became of it at its close."""

    count = models.ForeignKey(Count, on_delete=models.CASCADE, related_name="lines")
    piece = models.ForeignKey(Piece, null=True, on_delete=models.PROTECT, related_name="+")
    stock_line = models.ForeignKey(StockLine, null=True, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    expected = models.PositiveIntegerField(default=1)
    reason = models.CharField(
        max_length=200, blank=True, help_text="Why it is missing or more, given at the close."
    )

    class Meta:
        indexes = [models.Index(fields=["count", "place"], name="count_line_place")]
        constraints = [
            models.CheckConstraint(
                condition=Q(piece__isnull=False, stock_line=None)
                | Q(piece=None, stock_line__isnull=False),
                name="count_line_has_one_subject",
            ),
            models.UniqueConstraint(
                fields=["count", "piece"], condition=~Q(piece=None), name="count_line_piece_once"
            ),
            models.UniqueConstraint(
                fields=["count", "stock_line"],
                condition=~Q(stock_line=None),
                name="count_line_stock_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.piece or self.stock_line}"


class CountEntry(models.Model):
    """History: somebody saw a piece, or counted a bin, during a count.

    Of the uncorrected entries of one subject the newest stands. ``corrects`` takes an entry back:
    the row that corrects has ``is_taken_back`` and says nothing else.
    """

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    count = models.ForeignKey(Count, on_delete=models.PROTECT, related_name="entries")
    piece = models.ForeignKey(Piece, null=True, on_delete=models.PROTECT, related_name="+")
    stock_line = models.ForeignKey(StockLine, null=True, on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField(default=1)
    how = models.CharField(max_length=6, choices=How.choices)
    is_taken_back = models.BooleanField(default=False)
    corrects = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    device = models.ForeignKey(Device, null=True, on_delete=models.PROTECT, related_name="+")
    movement = models.ForeignKey(
        Movement, null=True, on_delete=models.PROTECT, related_name="count_entries"
    )
    happened_at = models.DateTimeField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["count", "at"], name="count_entry_of_count")]
        constraints = [
            models.CheckConstraint(
                condition=Q(piece__isnull=False, stock_line=None)
                | Q(piece=None, stock_line__isnull=False),
                name="count_entry_has_one_subject",
            ),
            models.CheckConstraint(
                condition=Q(is_taken_back=False) | Q(corrects__isnull=False),
                name="taken_back_names_what",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.piece or self.stock_line}"

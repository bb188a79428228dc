"""Badges by which people are known on shared tablets, and scans that contradict one another."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.movements import Movement, RefusedScan
from tooling.models.pieces import Piece, StockLine
from tooling.models.shop import Person, Place


class Badge(models.Model):
    """Something that a scanner reads and that names a person: the shop's own badge, or ours.

    Only a keyed digest of what it reads is kept.
    """

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="badges")
    key = models.CharField(max_length=64)
    label = models.CharField(max_length=60, blank=True)
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["person", "issued_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["key"], condition=Q(ended_at=None), name="badge_names_one_person"
            )
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.label}"


class ContradictionKind(models.TextChoices):
    TWO_PLACES = "places", _("seen in two places at about the same time")
    LATE = "late", _("a late scan says otherwise")
    GONE = "gone", _("scanned after it was scrapped or lost")
    REFUSED = "refused", _("a late scan was refused")
    COUNT = "count", _("a count would have gone below nothing")


class Contradiction(models.Model):
    """Scans that cannot both be right. What holds meanwhile follows from the ledger's rule."""

    kind = models.CharField(max_length=8, choices=ContradictionKind.choices)
    piece = models.ForeignKey(
        Piece, null=True, on_delete=models.PROTECT, related_name="contradictions"
    )
    stock = models.ForeignKey(
        StockLine, null=True, on_delete=models.PROTECT, related_name="contradictions"
    )
    cart = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="+")
    first = models.ForeignKey(Movement, null=True, on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey(Movement, null=True, on_delete=models.PROTECT, related_name="+")
    refused = models.ForeignKey(RefusedScan, null=True, on_delete=models.PROTECT, related_name="+")
    found_at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    settled_how = models.CharField(max_length=400, blank=True)
    settling = models.ForeignKey(Movement, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-found_at", "-id"]
        indexes = [
            models.Index(
                fields=["found_at"], condition=Q(settled_at=None), name="contradiction_open"
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(settled_at=None) | ~Q(settled_how=""), name="settled_says_how"
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.piece or self.stock or self.cart}"

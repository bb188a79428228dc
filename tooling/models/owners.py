"""What passes between the shop and the owners of its tooling: leave, reports, marks.

ISO 9001:2015, 8.5.3: property that belongs to customers is identified, verified, protected and
safeguarded; when it is lost, damaged or found unsuitable, its owner is told and what happened is
kept on record.
"""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.models.files import Picture, StoredFile
from tooling.models.incidents import Incident
from tooling.models.pieces import Piece, StockLine
from tooling.models.shop import Owner, Person


class ApprovalKind(models.TextChoices):
    """What an owner is asked to allow."""

    OTHER_JOBS = "other_jobs", _("use in other jobs")
    REGRIND = "regrind", _("regrind")
    TRANSFER = "transfer", _("transfer away")
    SCRAP = "scrap", _("scrap")


class Answer(models.TextChoices):
    ASKED = "asked", _("asked, no answer yet")
    GIVEN = "given", _("given")
    REFUSED = "refused", _("refused")
    WITHDRAWN = "withdrawn", _("withdrawn")


class Approval(models.Model):
    """History: an owner was asked, or answered. Of the answers of one kind about a piece, the
    newest (by ``at``, then id) that counts on the day decides; a question that waits for its
    answer takes nothing away from them (``queries/approvals.py``)."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    owner = models.ForeignKey(Owner, on_delete=models.PROTECT, related_name="approvals")
    kind = models.CharField(max_length=10, choices=ApprovalKind.choices)
    answer = models.CharField(max_length=9, choices=Answer.choices)
    reference = models.CharField(max_length=120, blank=True, help_text="Letter, order, mail.")
    answered_by = models.CharField(max_length=120, blank=True, help_text="Who, at the owner's.")
    dated_on = models.DateField(help_text="The date on the letter.")
    until = models.DateField(null=True, blank=True)
    file = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    file_name = models.CharField(max_length=160, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        indexes = [models.Index(fields=["owner", "kind", "at"], name="approval_of_owner")]
        constraints = [
            models.CheckConstraint(
                condition=~Q(answer="given") | ~Q(reference=""),
                name="given_approval_has_a_reference",
            )
        ]

    def __str__(self) -> str:
        return f"{self.owner} {self.kind} {self.answer}"


class ApprovalPiece(models.Model):
    """History: a piece that an approval is about."""

    approval = models.ForeignKey(Approval, on_delete=models.PROTECT, related_name="pieces")
    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="approvals")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["approval", "piece"], name="approved_piece_once")
        ]

    def __str__(self) -> str:
        return f"{self.approval}: {self.piece}"


class ReportKind(models.TextChoices):
    LOSS = "loss", _("loss")
    DAMAGE = "damage", _("damage")
    UNSUITABLE = "unsuitable", _("found unsuitable")


class OwnerReport(models.Model):
    """History: somebody else's tooling was lost, damaged or found unsuitable.

    Open until a ``ReportNote`` says that the owner was told.
    """

    uuid = models.UUIDField(unique=True, default=uuid.uuid4)
    owner = models.ForeignKey(Owner, on_delete=models.PROTECT, related_name="reports")
    piece = models.ForeignKey(
        Piece, null=True, on_delete=models.PROTECT, related_name="owner_reports"
    )
    stock_line = models.ForeignKey(
        StockLine, null=True, on_delete=models.PROTECT, related_name="owner_reports"
    )
    quantity = models.PositiveIntegerField(default=1)
    kind = models.CharField(max_length=10, choices=ReportKind.choices)
    what_happened = models.CharField(max_length=400)
    incident = models.ForeignKey(
        Incident, null=True, on_delete=models.PROTECT, related_name="owner_reports"
    )
    opened_at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        indexes = [models.Index(fields=["owner", "opened_at"], name="report_of_owner")]
        constraints = [
            models.CheckConstraint(
                condition=Q(piece__isnull=False, stock_line=None)
                | Q(piece=None, stock_line__isnull=False),
                name="report_has_one_subject",
            ),
            models.CheckConstraint(condition=~Q(what_happened=""), name="report_says_what"),
        ]

    def __str__(self) -> str:
        return f"{self.owner} {self.kind} {self.opened_at:%Y-%m-%d}"


class ReportNote(models.Model):
    """History: what happened to a report. ``told`` closes it; the rest is kept beside it."""

    report = models.ForeignKey(OwnerReport, on_delete=models.PROTECT, related_name="notes")
    what = models.CharField(
        max_length=8,
        choices=[
            ("told", _("the owner was told")),
            ("answer", _("the owner answered")),
            ("found", _("found again")),
            ("settled", _("settled")),
        ],
    )
    happened_at = models.DateTimeField(help_text="When the owner was told.")
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    whom = models.CharField(max_length=120, blank=True, help_text="Who was told, and how.")
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(what="told") | ~Q(whom=""), name="told_names_somebody"
            )
        ]

    def __str__(self) -> str:
        return f"{self.report}: {self.what}"


class OwnerMarkCheck(models.Model):
    """History: whether a piece bears its owner's mark, as somebody looked. The newest stands."""

    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="owner_mark_checks")
    is_there = models.BooleanField()
    picture = models.ForeignKey(
        Picture, null=True, on_delete=models.PROTECT, related_name="owner_mark_checks"
    )
    checked_at = models.DateTimeField()
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = [models.Index(fields=["piece", "checked_at"], name="owner_mark_of_piece")]

    def __str__(self) -> str:
        return f"{self.piece} {self.is_there}"

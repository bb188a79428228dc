"""Reports to owners: a customer's tooling was lost, damaged or found unsuitable for use.

A report is opened where the cause is written down, in the same transaction, or by hand. It stays
open until somebody records when and whom the owner was told.
"""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Incident, OwnerReport, Person, Piece, ReportKind, StockLine
from tooling.permissions import Verb, check_can
from tooling.services.edits import require_text
from tooling.services.write import lock, writing


def open_report(
    *,
    by: Person,
    at: datetime,
    piece: Piece | None = None,
    stock_line: StockLine | None = None,
    quantity: int = 1,
    kind: str,
    what_happened: str,
    incident: Incident | None = None,
) -> OwnerReport | None:
    """Open the report that is owed to the owner of a piece, or of some of a bin; None for the
    shop's own tooling, for which nobody is owed one.

    What is already on an open report is not reported twice: the same loss of a piece until it is
    found again, the same damage until its owner was told, unless another incident did it. Then
    the report that stands is given back. Joins the transaction of its cause. Raises
    ``unknown_kind``, ``one_subject``, ``absurd_count``, ``empty_text``.
    """
    check_can(by, Verb.RECORD_READINGS)
    _check_kind(kind)
    subject = _subject(piece, stock_line)
    if quantity < 1 or (piece is not None and quantity != 1):
        raise ToolingError(
            "absurd_count",
            _("{count} is no quantity to report. Write 1 or more; a marked piece is one."),
            count=quantity,
            in_field="quantity",
        )
    if subject.owner.is_shop:
        return None
    what = require_text(what_happened, field="what_happened", label=_("What happened"), longest=400)
    with writing():
        lock(pieces=[piece.pk] if piece else (), stock=[stock_line.pk] if stock_line else ())
        standing = _standing(piece, kind, incident)
        return standing or OwnerReport.objects.create(
            owner_id=subject.owner_id,
            piece=piece,
            stock_line=stock_line,
            quantity=quantity,
            kind=kind,
            what_happened=what,
            incident=incident,
            opened_at=at,
            by=by,
        )


def _check_kind(kind: str) -> None:
    if kind not in ReportKind.values:
        raise ToolingError(
            "unknown_kind",
            _("“{kind}” is no kind of report. Say loss, damage or found unsuitable."),
            kind=kind,
            in_field="kind",
        )


def _subject(piece: Piece | None, stock_line: StockLine | None) -> Piece | StockLine:
    if piece is not None and stock_line is None:
        return piece
    if stock_line is not None and piece is None:
        return stock_line
    raise Conflict(
        "one_subject", _("A report is about one piece, or about some of one bin. Name one of them.")
    )


def _standing(piece: Piece | None, kind: str, incident: Incident | None) -> OwnerReport | None:
    """The open report that already says so."""
    if piece is None:
        return None
    rows = OwnerReport.objects.filter(piece=piece, kind=kind, owner_id=piece.owner_id)
    if kind == ReportKind.LOSS:
        return rows.exclude(notes__what__in=("found", "settled")).order_by("-pk").first()
    if incident is not None:
        rows = rows.filter(incident=incident)
    return rows.exclude(notes__what__in=("told", "settled")).order_by("-pk").first()

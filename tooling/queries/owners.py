"""Whose tooling lies here: the list of owners, one owner's page, the owner's side of a piece."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Count, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Answer, Approval, ApprovalKind, Owner, Piece
from tooling.queries.approvals import NO_ANSWERS, answers_by_kind
from tooling.queries.owner_marks import MarkCounts, mark_counts, with_marks
from tooling.queries.owner_register import (
    BY_PLACE,
    BinRow,
    RegisterRow,
    bin_rows,
    newest_marks,
    pieces_of,
    register_rows,
)
from tooling.queries.owner_reports import ReportView, open_reports, report_list
from tooling.queries.owner_values import currency
from tooling.queries.owner_waiting import Waiting, waiting

PAGE = 50
REPORTS_SHOWN = 20
ANSWERS_SHOWN = 10


@dataclass(frozen=True)
class OwnerRow:
    """One owner in the list."""

    code: str
    name: str
    is_shop: bool
    contact: str
    consent_reference: str
    insurance_reference: str
    pieces: int
    open_reports: int
    waiting: int


@dataclass(frozen=True)
class AnswerRow:
    """A question or an answer as it was written down."""

    id: int
    kind: str
    kind_word: str
    answer: str
    answer_word: str
    dated_on: date
    until: date | None
    reference: str
    answered_by: str
    by: str
    at: datetime
    note: str
    pieces: int
    letter: str


@dataclass(frozen=True)
class OwnerPage:
    """An owner's tooling at a moment, one page of it, and what is open with the owner."""

    code: str
    name: str
    is_shop: bool
    contact: str
    consent_reference: str
    insurance_reference: str
    at: datetime
    currency: str
    marks: MarkCounts
    rows: tuple[RegisterRow, ...]
    bins: tuple[BinRow, ...]
    page: int
    pages: int
    reports: tuple[ReportView, ...]
    waiting: tuple[Waiting, ...]
    answers: tuple[AnswerRow, ...]


@dataclass(frozen=True)
class Leave:
    """What the owner of a piece says to one kind of thing today."""

    kind: str
    kind_word: str
    stand: str
    reference: str
    until: date | None
    day: date | None
    asked_on: date | None


@dataclass(frozen=True)
class OwnerSide:
    """The owner's side of a piece. For the shop's own only ``owner``, ``name``, ``is_shop`` and
    the value say anything."""

    owner: str
    name: str
    is_shop: bool
    consent_reference: str
    currency: str
    value_cents: int | None
    has_mark: bool | None = None
    mark_checked_at: datetime | None = None
    leaves: tuple[Leave, ...] = ()
    reports: tuple[ReportView, ...] = ()


def find_owner(code: str) -> Owner:
    """By code as an address has it. One query. Raises Unknown ``unknown_owner``."""
    found = Owner.objects.filter(code=code).first()
    if found is None:
        raise Unknown("unknown_owner", _("There is no owner {code}."), code=code[:60])
    return found


def owner_list(*, at: datetime) -> list[OwnerRow]:
    """Every owner with how many pieces are theirs and what is open with them. Four queries."""
    rows = Owner.objects.annotate(piece_count=Count("pieces")).order_by("-is_shop", "name")
    counted = open_reports().order_by().values_list("owner_id").annotate(n=Count("pk"))
    reports = dict(counted)
    asked: dict[str, int] = {}
    for each in waiting(at=at):
        asked[each.owner] = asked.get(each.owner, 0) + 1
    return [
        OwnerRow(
            code=row.code,
            name=row.name,
            is_shop=row.is_shop,
            contact=row.contact,
            consent_reference=row.consent_reference,
            insurance_reference=row.insurance_reference,
            pieces=row.piece_count,
            open_reports=reports.get(row.pk, 0),
            waiting=asked.get(row.code, 0),
        )
        for row in rows
    ]


def owner_page(code: str, *, at: datetime, page: int = 1) -> OwnerPage:
    """An owner's tooling by place. A fixed number of queries. Raises Unknown ``unknown_owner``."""
    owner = find_owner(code)
    pieces = pieces_of(owner)
    marks = mark_counts(with_marks(pieces))
    pages = max(1, -(-marks.pieces // PAGE))
    page = min(max(page, 1), pages)
    rows = pieces.order_by(*BY_PLACE)[(page - 1) * PAGE : page * PAGE]
    return OwnerPage(
        code=owner.code,
        name=owner.name,
        is_shop=owner.is_shop,
        contact=owner.contact,
        consent_reference=owner.consent_reference,
        insurance_reference=owner.insurance_reference,
        at=at,
        currency=currency(),
        marks=marks,
        rows=register_rows(rows),
        bins=bin_rows(owner),
        page=page,
        pages=pages,
        reports=report_list(owner=owner.code, only_open=True, size=REPORTS_SHOWN).rows,
        waiting=waiting(at=at, owner=owner.code),
        answers=answer_rows(owner=owner.code, size=ANSWERS_SHOWN),
    )


def answer_rows(
    *, owner: str = "", piece: str = "", kind: str = "", before: int | None = None, size: int = 100
) -> tuple[AnswerRow, ...]:
    """Questions and answers as they were written down, the newest first. One query."""
    narrow = Q()
    if owner:
        narrow &= Q(owner__code=owner)
    if piece:
        narrow &= Q(pieces__piece__code=piece)
    if kind:
        narrow &= Q(kind=kind)
    if before is not None:
        narrow &= Q(pk__lt=before)
    keys = Approval.objects.filter(narrow).order_by("-pk").values("pk")[:size]
    rows = Approval.objects.filter(pk__in=[row["pk"] for row in keys])
    counted = rows.annotate(piece_count=Count("pieces")).select_related("by", "file")
    return tuple(_answer(row, row.piece_count) for row in counted.order_by("-pk"))


def _answer(row: Approval, pieces: int) -> AnswerRow:
    return AnswerRow(
        id=row.pk,
        kind=row.kind,
        kind_word=row.get_kind_display(),
        answer=row.answer,
        answer_word=row.get_answer_display(),
        dated_on=row.dated_on,
        until=row.until,
        reference=row.reference,
        answered_by=row.answered_by,
        by=str(row.by or ""),
        at=row.at,
        note=row.note,
        pieces=pieces,
        letter=row.file_name if row.file_id is not None else "",
    )


def owner_side(code: str, *, at: datetime) -> OwnerSide:
    """The owner's side of the piece of this code. Seven queries; two for the shop's own.

    Raises Unknown ``unknown_code``.
    """
    piece = Piece.objects.select_related("owner").filter(code=code).first()
    if piece is None:
        raise Unknown("unknown_code", _("No piece has the code {code}."), code=code[:60])
    owner = piece.owner
    side: dict[str, Any] = {
        "owner": owner.code,
        "name": owner.name,
        "is_shop": owner.is_shop,
        "consent_reference": owner.consent_reference,
        "currency": currency(),
        "value_cents": piece.value_cents,
    }
    if owner.is_shop:
        return OwnerSide(**side)
    has_mark, checked_at = newest_marks([piece.pk]).get(piece.pk, (None, None))
    return OwnerSide(
        **side,
        has_mark=has_mark,
        mark_checked_at=checked_at,
        leaves=_leaves(piece, timezone.localdate(at)),
        reports=report_list(piece=piece.code, size=REPORTS_SHOWN).rows,
    )


def _leaves(piece: Piece, today: date) -> tuple[Leave, ...]:
    answers = answers_by_kind([piece], ApprovalKind.values)
    newest: dict[str, AnswerRow] = {}
    for row in answer_rows(piece=piece.code):
        newest.setdefault(row.kind, row)
    found = []
    for kind in ApprovalKind:
        stands = answers.get(kind, NO_ANSWERS).standing(piece, today)
        said, last = stands.said, newest.get(kind)
        found.append(
            Leave(
                kind=kind,
                kind_word=str(kind.label),
                stand=stands.stand,
                reference=said.reference if said else "",
                until=said.until if said else None,
                day=said.dated_on if said else None,
                asked_on=last.dated_on if last and last.answer == Answer.ASKED else None,
            )
        )
    return tuple(found)

"""What owners were asked and have not answered, and for how long."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from tooling.models import Answer, Approval, ApprovalKind, ApprovalPiece, Piece

FEW = 5


@dataclass(frozen=True)
class Asked:
    """A question that is about to be answered: its pieces that are still the owner's."""

    id: int
    kind: str
    of_all: bool
    pieces: tuple[Piece, ...]


@dataclass(frozen=True)
class Waiting:
    """A question about the same pieces, asked once or again. ``codes`` names a few of the pieces
    that still wait; none with ``of_all``, where it is about everything of the owner's.
    ``question`` is the id of the newest row that asks it."""

    owner: str
    owner_name: str
    kind: str
    kind_word: str
    asked_on: date
    asked_again_on: date | None
    days: int
    reference: str
    by: str
    of_all: bool
    pieces: int
    codes: tuple[str, ...]
    question: int


def waiting(*, at: datetime, owner: str = "") -> tuple[Waiting, ...]:
    """Open questions, the longest first; all owners' or one's. Two queries."""
    about: dict[int, list[tuple[int, str]]] = defaultdict(list)
    narrow = Q(approval__owner__code=owner) if owner else Q()
    for approval, piece, code in (
        _open_pieces().filter(narrow).values_list("approval_id", "piece_id", "piece__code")
    ):
        about[approval].append((piece, code))
    rows = Approval.objects.filter(Q(pk__in=about) | Q(pk__in=_open_of_all().values("pk")))
    rows = rows.filter(Q(owner__code=owner) if owner else Q())
    questions: dict[Any, list[Approval]] = defaultdict(list)
    for row in rows.select_related("owner", "by").order_by("at", "pk"):
        pieces = tuple(sorted(pk for pk, _code in about.get(row.pk, ())))
        questions[row.owner_id, row.kind, pieces].append(row)
    today = timezone.localdate(at)
    found = [_waiting(asked, about[asked[0].pk], today) for asked in questions.values()]
    return tuple(sorted(found, key=lambda each: (each.asked_on, each.owner, each.kind)))


def question(number: int, *, owner: int) -> Asked | None:
    """The question of this id to the owner, or None. Two queries."""
    rows = Approval.objects.filter(pk=number, owner=owner, answer=Answer.ASKED)
    row = rows.annotate(named=Exists(ApprovalPiece.objects.filter(approval=OuterRef("pk")))).first()
    if row is None:
        return None
    pieces = Piece.objects.filter(approvals__approval=row, owner=owner).order_by("code")
    return Asked(row.pk, row.kind, not row.named, tuple(pieces))


def _waiting(
    asked: list[Approval], about: Iterable[tuple[int, str]], today: date
) -> Waiting:  # fmt: skip
    first, last = asked[0], asked[-1]
    codes = sorted(code for _pk, code in about)
    return Waiting(
        owner=first.owner.code,
        owner_name=first.owner.name,
        kind=first.kind,
        kind_word=str(ApprovalKind(first.kind).label),
        asked_on=first.dated_on,
        asked_again_on=last.dated_on if last is not first else None,
        days=(today - first.dated_on).days,
        reference=last.reference,
        by=str(last.by or ""),
        of_all=not codes,
        pieces=len(codes),
        codes=tuple(codes[:FEW]),
        question=last.pk,
    )


def _answers(before: str) -> QuerySet[Approval]:
    """Answers that came after the question at ``before``, to the same owner about the same."""
    same_time = Q(at=OuterRef(f"{before}at"), pk__gt=OuterRef(f"{before}pk"))
    return Approval.objects.filter(
        Q(at__gt=OuterRef(f"{before}at")) | same_time,
        owner=OuterRef(f"{before}owner"),
        kind=OuterRef(f"{before}kind"),
    ).exclude(answer=Answer.ASKED)


def _open_pieces() -> QuerySet[ApprovalPiece]:
    """Pieces of questions that no answer names since, while they are the same owner's."""
    named = _answers("approval__").filter(pieces__piece=OuterRef("piece"))
    of_all = _answers("approval__").filter(pieces=None)
    return ApprovalPiece.objects.filter(
        ~Exists(named),
        ~Exists(of_all),
        approval__answer=Answer.ASKED,
        piece__owner=F("approval__owner"),
    )


def _open_of_all() -> QuerySet[Approval]:
    """Questions about everything of an owner's that nothing answered since."""
    of_all = _answers("").filter(pieces=None)
    return Approval.objects.filter(~Exists(of_all), answer=Answer.ASKED, pieces=None)

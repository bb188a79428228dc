"""What owners are asked and answer: use in other jobs, regrind, transfer away, scrap.

Each question and each answer is a row of history that names pieces of one owner, or everything
that is theirs; a letter may lie beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import PurePath

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    Answer,
    Approval,
    ApprovalKind,
    ApprovalPiece,
    KitPosition,
    Owner,
    Person,
    Piece,
    SetCopy,
    StoredFile,
)
from tooling.permissions import Verb, check_can
from tooling.services import files
from tooling.services.edits import optional_text, require_text
from tooling.services.owner_gate import check_may_leave
from tooling.services.touched import touch_kits_of
from tooling.services.write import bump, lock, writing

__all__ = [
    "check_may_leave",
    "own_tooling",
    "pieces_of_copy",
    "record_approval",
    "touch_kits_of_owner",
]

LETTERS = ("application/pdf", "image/png", "image/jpeg", files.PLAIN)
"""What a letter may be, by its bytes: a scan, a photograph, or the text of a mail."""


def record_approval(
    *,
    by: Person,
    at: datetime,
    owner: Owner,
    kind: str,
    answer: str,
    pieces: Sequence[Piece] = (),
    of_all: bool = False,
    dated_on: date,
    until: date | None = None,
    reference: str = "",
    answered_by: str = "",
    letter: files.Upload | None = None,
    note: str = "",
) -> Approval:
    """Write down that an owner was asked, or what they answered, about pieces of theirs or, with
    ``of_all``, about everything of theirs.

    Raises ``own_tooling``, ``unknown_kind``, ``unknown_answer``, ``no_pieces``,
    ``not_this_owner``, ``in_the_future``, ``ends_before_it_begins``, ``nothing_given`` (to be
    withdrawn), ``empty_text`` (an approval without a reference), ``long_text``,
    ``unknown_file_type``, and what `files.store_upload` says of the letter.
    """
    check_can(by, Verb.DEAL_WITH_OWNERS)
    _check_words(kind, answer)
    if owner.is_shop:
        raise own_tooling()
    _check_days(at, dated_on, until)
    texts = _texts(answer, reference, answered_by, note)
    file = _kept(letter, at)
    with writing():
        named = _locked(owner, pieces, of_all)
        if answer == Answer.WITHDRAWN:
            _check_given(owner, kind, named)
        approval = Approval.objects.create(
            owner=owner,
            kind=kind,
            answer=answer,
            dated_on=dated_on,
            until=until if answer == Answer.GIVEN else None,
            file=file,
            file_name=PurePath(letter.name or "").name[:160] if letter is not None else "",
            at=at,
            by=by,
            **texts,
        )
        ApprovalPiece.objects.bulk_create(
            (ApprovalPiece(approval=approval, piece=piece) for piece in named), batch_size=500
        )
        if kind == ApprovalKind.OTHER_JOBS:
            touch_kits_of_owner(owner, named)
    return approval


def pieces_of_copy(*, owner: Owner, copy: SetCopy) -> list[Piece]:
    """The pieces of a copy of a set that are this owner's; a set may mix owners.

    Raises Conflict ``not_this_owner`` when none is.
    """
    rows = Piece.objects.filter(allotments__copy=copy, owner=owner).order_by("code")
    found = list(rows.distinct())
    if not found:
        raise Conflict(
            "not_this_owner",
            _("No piece of set {set}, copy {letter}, belongs to {owner}."),
            set=copy.tool_set.number,
            letter=copy.letter,
            owner=owner.name,
            in_field="copy",
        )
    return found


def own_tooling() -> Conflict:
    """What is the shop's own needs nobody's leave, and nobody is told of it."""
    return Conflict(
        "own_tooling",
        _("This is the shop's own tooling: there is no owner to ask or to tell."),
        in_field="pieces",
    )


def _check_words(kind: str, answer: str) -> None:
    if kind not in ApprovalKind.values:
        raise ToolingError(
            "unknown_kind", _("“{kind}” is nothing an owner is asked for."), kind=kind,
            in_field="kind",
        )  # fmt: skip
    if answer not in Answer.values:
        raise ToolingError(
            "unknown_answer", _("“{answer}” is no answer."), answer=answer, in_field="answer"
        )


def _check_days(at: datetime, dated_on: date, until: date | None) -> None:
    if dated_on > timezone.localdate(at):
        raise ToolingError(
            "in_the_future",
            _("{day} is still to come. Write the date that is on the letter."),
            day=dated_on,
            in_field="dated_on",
        )
    if until is not None and until < dated_on:
        raise ToolingError(
            "ends_before_it_begins",
            _("The last day, {until}, lies before the letter's own date, {day}."),
            until=until,
            day=dated_on,
            in_field="until",
        )


def _texts(answer: str, reference: str, answered_by: str, note: str) -> dict[str, str]:
    read = require_text if answer == Answer.GIVEN else optional_text
    return {
        "reference": read(reference, field="reference", label=_("Reference"), longest=120),
        "answered_by": optional_text(
            answered_by, field="answered_by", label=_("Who answered"), longest=120
        ),
        "note": optional_text(note, field="note", label=_("Note"), longest=400),
    }


def _kept(letter: files.Upload | None, at: datetime) -> StoredFile | None:
    if letter is None:
        return None
    files.check_upload(letter)
    head = next(iter(letter.chunks(files.CHUNK)), b"")
    if files.content_type(head) not in LETTERS:
        raise ToolingError(
            "unknown_file_type",
            _("{name} is not a PDF, PNG, JPEG or text file inside. Save the letter as one."),
            name=PurePath(letter.name or "").name,
            in_field="letter",
        )
    return files.store_upload(upload=letter, at=at)


def _locked(owner: Owner, pieces: Sequence[Piece], of_all: bool) -> list[Piece]:
    """The pieces as they are now, which must all be this owner's."""
    ids = {piece.pk for piece in pieces}
    if not ids and not of_all:
        raise ToolingError(
            "no_pieces", _("Say which pieces it is about."), in_field="pieces"
        )  # fmt: skip
    if of_all:
        return []
    lock(pieces=ids)
    rows = list(Piece.objects.filter(pk__in=ids).select_related("owner").order_by("code"))
    foreign = [piece for piece in rows if piece.owner_id != owner.pk]
    if foreign:
        raise Conflict(
            "not_this_owner",
            _("{codes} belong to {others}, not to {owner}. Take them off, or ask {others}."),
            codes=", ".join(piece.code for piece in foreign[:5]),
            others=", ".join(sorted({piece.owner.name for piece in foreign})[:5]),
            owner=owner.name,
            in_field="pieces",
        )
    return rows


def _check_given(owner: Owner, kind: str, named: Sequence[Piece]) -> None:
    """Only what was once given is withdrawn."""
    given = Approval.objects.filter(owner=owner, kind=kind, answer=Answer.GIVEN)
    covered = given.filter(pieces=None).exists()
    if not named and not covered:
        raise _nothing_given(owner)
    if not covered:
        there = set(given.values_list("pieces__piece_id", flat=True))
        if not any(piece.pk in there for piece in named):
            raise _nothing_given(owner)


def _nothing_given(owner: Owner) -> Conflict:
    return Conflict(
        "nothing_given",
        _("{owner} gave nothing of the kind that could be withdrawn. Write down a refusal "
          "instead."),
        owner=owner.name,
        in_field="answer",
    )  # fmt: skip


def touch_kits_of_owner(owner: Owner, named: Sequence[Piece] = ()) -> None:
    """Tell the open kits that what an owner lets other jobs have may have changed."""
    if named:
        touch_kits_of(pieces=[piece.pk for piece in named])
        return
    theirs = Q(piece__owner=owner) | Q(drawing__stock_lines__owner=owner)
    claims = KitPosition.objects.filter(theirs, is_open=True)
    bump(claims.values_list("kit_id", flat=True).distinct())

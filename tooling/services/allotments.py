"""Which piece normally fills which position of a copy; a shared piece may serve several sets."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import Allotment, Person, Piece, SetCopy, SetPosition
from tooling.permissions import Verb, check_can
from tooling.services.edits import record_creation, record_removal
from tooling.services.write import writing


def allot(
    *, by: Person, at: datetime, copy: SetCopy, position: SetPosition, piece: Piece
) -> Allotment:
    """Give a position its piece; whatever filled it before steps back.

    Raises ``other_set``, ``does_not_fit``, ``allotted_elsewhere``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    if position.set_pass.tool_set_id != copy.tool_set_id:
        raise Conflict("other_set", _("That position belongs to another set."))
    if piece.drawing_id != position.drawing_id:
        raise Conflict(
            "does_not_fit",
            _("{code} is made to {made}; this position calls for {wanted}."),
            code=piece.code,
            made=piece.drawing.number,
            wanted=position.drawing.number,
            in_field="piece",
        )
    with writing():
        _refuse_second_position(copy, position, piece)
        copy.allotments.filter(position=position).delete()
        row = Allotment.objects.create(copy=copy, position=position, piece=piece)
        fields = {"piece": piece, "position": _said(position)}
        record_creation(by=by, at=at, row=row, key=_key(copy), fields=fields)
    return row


def allot_by_drawing(*, by: Person, at: datetime, copy: SetCopy) -> int:
    """Fill every empty position of a copy with the only pieces that can be meant.

    Taken are pieces of the position's drawing with the copy's letter (or none), allotted to no
    copy of this set yet, in the order of their codes. Gives how many were allotted.
    """
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        empty = list(
            SetPosition.objects.filter(set_pass__tool_set=copy.tool_set)
            .exclude(allotments__copy=copy)
            .select_related("set_pass")
            .order_by("set_pass__number", "shaft", "order")
        )
        free = Piece.objects.filter(
            drawing__in={position.drawing_id for position in empty},
            copy_letter__in=("", copy.letter),
        ).exclude(allotments__copy__tool_set=copy.tool_set)
        waiting: dict[int, list[Piece]] = {}
        for piece in free.order_by("-copy_letter", "code"):
            waiting.setdefault(piece.drawing_id, []).append(piece)
        rows = [
            Allotment(copy=copy, position=position, piece=waiting[position.drawing_id].pop(0))
            for position in empty
            if waiting.get(position.drawing_id)
        ]
        for row in Allotment.objects.bulk_create(rows):
            fields = {"piece": row.piece, "position": _said(row.position)}
            record_creation(by=by, at=at, row=row, key=_key(copy), fields=fields)
    return len(rows)


def fill_next(*, by: Person, at: datetime, copy: SetCopy, piece: Piece) -> Allotment | None:
    """The first empty position of the copy that calls for the piece's drawing has it from now on;
    None where every one is filled. For a service that has asked who may, inside its write."""
    empty = (
        SetPosition.objects.filter(
            set_pass__tool_set=copy.tool_set_id, drawing=piece.drawing_id, variant=None
        )
        .exclude(allotments__copy=copy)
        .select_related("set_pass")
        .order_by("set_pass__number", "shaft", "order")
        .first()
    )
    if empty is None or copy.allotments.filter(piece=piece).exists():
        return None
    row = Allotment.objects.create(copy=copy, position=empty, piece=piece)
    fields = {"piece": piece, "position": _said(empty)}
    record_creation(by=by, at=at, row=row, key=_key(copy), fields=fields)
    return row


def take_away(*, by: Person, at: datetime, piece: Piece) -> None:
    """The piece fills no position of any copy any more. For a service that has asked who may,
    inside its write."""
    rows = piece.allotments.select_related("piece", "copy__tool_set", "position__set_pass")
    for row in rows:
        fields = {"piece": row.piece, "position": _said(row.position)}
        record_removal(by=by, at=at, row=row, key=_key(row.copy), fields=fields)
        row.delete()


def _refuse_second_position(copy: SetCopy, position: SetPosition, piece: Piece) -> None:
    other = copy.allotments.filter(piece=piece).exclude(position=position)
    found = other.select_related("position__set_pass").first()
    if found is not None:
        raise Conflict(
            "allotted_elsewhere",
            _("{code} already fills {place} of copy {letter}."),
            code=piece.code,
            place=_said(found.position),
            letter=copy.letter,
            in_field="piece",
        )


def _said(position: SetPosition) -> str:
    return f"pass {position.set_pass.number} {position.shaft} {position.order}"


def _key(copy: SetCopy) -> str:
    return f"{copy.tool_set.number}-{copy.letter}"

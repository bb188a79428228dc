"""Pieces: made N at a time with codes and a first movement, edited, held, given old numbers."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import (
    Condition,
    DrawingRevision,
    How,
    Owner,
    Person,
    Piece,
    PieceAlias,
    Place,
)
from tooling.permissions import Verb, check_can
from tooling.services.codes import PIECE_LETTERS, next_codes
from tooling.services.dimensions import check_piece
from tooling.services.edits import (
    apply_edit,
    record_creation,
    record_removal,
    require_fields,
    require_text,
)
from tooling.services.movements import check_place_is_used
from tooling.services.owner_reports import report_damage
from tooling.services.piece_ledger import Stamp, add_piece_rows, piece_row, pieces_now
from tooling.services.touched import touch_kits_of
from tooling.services.write import lock, writing

MOST_AT_ONCE = 500
DERIVED = {
    *("place", "placed_by", "placed_effective_at", "placed_received_at", "seen_at"),
    *("length_run_nm", "code", "drawing", "mark_key"),
}


def create_pieces(
    *,
    by: Person,
    at: datetime,
    revision: DrawingRevision,
    owner: Owner,
    place: Place,
    count: int = 1,
    seen: bool = True,
    reason: str = "",
    **fields: Any,
) -> list[Piece]:
    """N pieces of one drawing, each with a code and the movement that put it there.

    ``seen`` is False for what is written down from paper and nobody has had in hand.
    Raises ``absurd_count``, ``place_not_used`` and what `check_piece` says of the sizes.
    """
    check_can(by, Verb.EDIT_RECORDS)
    return make_pieces(
        by=by,
        at=at,
        revision=revision,
        owner=owner,
        place=place,
        count=count,
        seen=seen,
        reason=reason,
        **fields,
    )


def make_pieces(
    *,
    by: Person,
    at: datetime,
    revision: DrawingRevision,
    owner: Owner,
    place: Place,
    count: int = 1,
    seen: bool = True,
    reason: str = "",
    **fields: Any,
) -> list[Piece]:
    """The same for a service that has asked who may."""
    _check_fields(fields)
    if not 1 <= count <= MOST_AT_ONCE:
        raise ToolingError(
            "absurd_count",
            _("{count} pieces at once cannot be made; make 1 to {most}."),
            count=count,
            most=MOST_AT_ONCE,
            in_field="count",
        )
    check_piece(revision=revision, values=fields, reason=reason)
    check_place_is_used(place)
    fields.setdefault("unit", revision.unit)
    with writing():
        lock(places=[place.pk])
        codes = next_codes(kind=PIECE_LETTERS[revision.drawing.kind], count=count)
        common = {"drawing": revision.drawing, "revision": revision, "owner": owner, **fields}
        made = Piece.objects.bulk_create(
            [Piece(code=code, place=place, **common) for code in codes]
        )
        for piece in made:
            values = {**common, "place": place, "reason": reason}
            record_creation(by=by, at=at, row=piece, key=piece.code, fields=values)
        _put_down(by=by, at=at, pieces=made, place=place, seen=seen)
        touch_kits_of(drawings=[revision.drawing_id])
    return list(Piece.objects.filter(code__in=codes).order_by("code"))


def edit_piece(*, by: Person, at: datetime, piece: Piece, reason: str = "", **fields: Any) -> Piece:
    """Change mark, owner, revision, condition, sizes as made … never what history says.

    Raises as `check_piece`, ``other_drawing`` for a revision of another drawing, and
    ``owner_change_needs_reason``. A customer's piece found cracked or chipped is reported to its
    owner.
    """
    check_can(by, Verb.EDIT_RECORDS)
    _check_fields(fields)
    with writing():
        lock(pieces=[piece.pk])
        fresh = Piece.objects.select_related("revision__drawing", "owner").get(pk=piece.pk)
        changes_owner = fields.get("owner", fresh.owner) != fresh.owner
        if changes_owner and not reason.strip():
            raise _no_reason(fresh)
        revision = fields.get("revision", fresh.revision)
        if revision.drawing_id != fresh.drawing_id:
            raise ToolingError(
                "other_drawing",
                _("{revision} is a revision of another drawing. Make a new piece to that one."),
                revision=revision,
                in_field="revision",
            )
        if fields.get("condition") == Condition.HOLD or (
            fresh.condition == Condition.HOLD and fields.get("condition", Condition.HOLD) != "hold"
        ):
            raise ToolingError(
                "hold_has_its_own_way",
                _("Hold a piece, or lift its hold, on the piece's own page, with a reason."),
                in_field="condition",
            )
        sizes = {f.attname: getattr(fresh, f.attname) for f in fresh._meta.fields}
        check_piece(revision=revision, values={**sizes, **fields}, reason=reason)
        before, what = fresh.condition, "owner changed" if changes_owner else "edited"
        if apply_edit(
            by=by, at=at, row=fresh, key=fresh.code, fields=fields, reason=reason, what=what
        ):
            touch_kits_of(pieces=[fresh.pk], drawings=[fresh.drawing_id])
            report_damage(by=by, at=at, piece=fresh, before=before, said=reason)
    return fresh


def add_alias(*, by: Person, at: datetime, piece: Piece, text: str) -> PieceAlias:
    """An old number under which the piece is still asked for. Raises ``already_there``."""
    check_can(by, Verb.EDIT_RECORDS)
    text = require_text(text, field="text", label=_("Old number"), longest=40)
    with writing():
        if piece.aliases.filter(text_key=text.upper()).exists():
            raise ToolingError(
                "already_there",
                _("{code} has the old number “{text}” already."),
                code=piece.code,
                text=text,
                in_field="text",
            )
        alias = PieceAlias.objects.create(piece=piece, text=text)
        record_creation(by=by, at=at, row=alias, key=piece.code, fields={"text": text})
    return alias


def remove_alias(*, by: Person, at: datetime, alias: PieceAlias) -> None:
    """An old number that was never this piece's."""
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        fields = {"text": alias.text}
        record_removal(by=by, at=at, row=alias, key=alias.piece.code, fields=fields)
        alias.delete()


def _no_reason(piece: Piece) -> ToolingError:
    return ToolingError(
        "owner_change_needs_reason",
        _("{code} belongs to {owner}. Say why it changes hands: sold, returned, entered wrong …"),
        code=piece.code,
        owner=piece.owner.name,
        in_field="reason",
        asks="reason",
    )


def _put_down(*, by: Person, at: datetime, pieces: list[Piece], place: Place, seen: bool) -> None:
    now = pieces_now(pk__in=[piece.pk for piece in pieces])
    rows = [
        piece_row(
            stamp=Stamp.of(at),
            by=by,
            how=How.TYPED,
            piece_id=piece.pk,
            from_seen_id=None,
            to=place,
            sees=seen,
        )
        for piece in pieces
    ]
    add_piece_rows(rows=rows, now=now)


def _check_fields(fields: dict[str, Any]) -> None:
    require_fields(Piece, fields)
    derived = DERIVED & set(fields) | {name for name in fields if name.startswith("now_")}
    if derived:
        raise TypeError(f"{', '.join(sorted(derived))} follow from history, not from an edit")

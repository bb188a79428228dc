"""The owner's mark on a piece: that somebody looked, and whether it is there. The newest stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import OwnerMarkCheck, Person, Picture, Piece
from tooling.permissions import Verb, check_can
from tooling.services import files, pictures
from tooling.services.approvals import own_tooling
from tooling.services.edits import optional_text
from tooling.services.write import lock, writing


def check_mark(
    *,
    by: Person,
    at: datetime,
    piece: Piece,
    is_there: bool,
    checked_at: datetime | None = None,
    picture: Picture | None = None,
    upload: files.Upload | None = None,
    note: str = "",
) -> OwnerMarkCheck:
    """Somebody looked for the owner's mark on a piece. The owner must be loaded. A picture of it
    is one that is kept already, or an ``upload`` to keep.

    Raises Conflict ``own_tooling`` and ``other_piece`` (a picture of another), ToolingError
    ``in_the_future``, ``long_text``, and what `pictures.keep` says of an upload.
    """
    check_can(by, Verb.RECORD_READINGS)
    checked_at = checked_at or at
    if checked_at > at:
        raise ToolingError(
            "in_the_future",
            _("{moment} is still to come. Write when you looked."),
            moment=f"{checked_at:%Y-%m-%d %H:%M}",
            in_field="checked_at",
        )
    if piece.owner.is_shop:
        raise own_tooling()
    if picture is not None and picture.piece_id != piece.pk:
        raise Conflict(
            "other_piece", _("That picture shows another piece."), in_field="picture"
        )  # fmt: skip
    note = optional_text(note, field="note", label=_("Note"), longest=200)
    if upload is not None:
        caption = str(_("Owner's mark"))
        picture = pictures.keep(by=by, at=at, upload=upload, piece=piece, caption=caption)
    with writing():
        lock(pieces=[piece.pk])
        return OwnerMarkCheck.objects.create(
            piece=piece, is_there=is_there, picture=picture, checked_at=checked_at, at=at, by=by,
            note=note,
        )  # fmt: skip


def check_marks(
    *, by: Person, at: datetime, pieces: Sequence[Piece], seen: Mapping[int, bool]
) -> list[OwnerMarkCheck]:
    """Several at once, all or none: ``seen`` says by piece id whether the mark is there.

    Raises as `check_mark`.
    """
    with writing():
        return [
            check_mark(by=by, at=at, piece=piece, is_there=seen[piece.pk])
            for piece in sorted(pieces, key=lambda each: each.code)
        ]

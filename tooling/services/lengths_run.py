"""Strip length that pieces have run and strokes that line tooling made, typed by a person."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import LONGEST_STRIP_NM
from tooling.errors import Conflict, ToolingError
from tooling.models import LengthEntry, Person, Piece
from tooling.permissions import Verb, check_can
from tooling.services.derived import refresh_length_run
from tooling.services.readings import CLOCKS_DIFFER
from tooling.services.touched import touch_kits_of
from tooling.services.wear_states import refresh_wear
from tooling.services.write import lock, writing

MOST_STROKES = 1_000_000_000


def record_length(
    *,
    by: Person,
    at: datetime,
    piece: Piece,
    length_nm: int = 0,
    strokes: int = 0,
    strip_class: str = "",
    happened_at: datetime | None = None,
    corrects: LengthEntry | None = None,
    note: str = "",
) -> LengthEntry:
    """Add strip length that the piece ran, strokes that it made, or both; a correction replaces
    the entry it names (0 of both undoes it).

    Raises ``absurd_length``, ``absurd_strokes``, ``in_the_future``, ``already_corrected``,
    ``other_piece``.
    """
    check_can(by, Verb.RECORD_READINGS)
    happened_at = happened_at or at
    _check(length_nm, strokes, happened_at, at, corrects)
    with writing():
        lock(pieces=[piece.pk])
        _check_correction(piece, corrects)
        entry = LengthEntry.objects.create(
            piece=piece,
            length_nm=length_nm,
            strokes=strokes,
            strip_class=strip_class.strip()[:40],
            happened_at=happened_at,
            received_at=at,
            by=by,
            corrects=corrects,
            note=note[:200],
        )
        refresh_length_run([piece.pk])
        refresh_wear([piece.pk], at=at)
        touch_kits_of(pieces=[piece.pk])
    return entry


def _check(
    length_nm: int, strokes: int, happened_at: datetime, at: datetime, corrects: LengthEntry | None
) -> None:
    if not 0 <= strokes <= MOST_STROKES:
        raise ToolingError(
            "absurd_strokes",
            _("{strokes} cannot be a number of strokes. Write a whole number from 0 to {most}."),
            strokes=strokes,
            most=MOST_STROKES,
            in_field="strokes",
        )
    least = 0 if corrects or strokes else 1
    if not least <= length_nm <= LONGEST_STRIP_NM:
        raise ToolingError(
            "absurd_length",
            _("A length run is above 0 and below a million kilometres. Check number and unit."),
            in_field="length",
        )
    if happened_at > at + CLOCKS_DIFFER:
        raise ToolingError(
            "in_the_future",
            _("{moment} is still to come. Write until when it ran."),
            moment=f"{timezone.localtime(happened_at):%Y-%m-%d %H:%M}",
            in_field="happened_at",
        )


def _check_correction(piece: Piece, corrects: LengthEntry | None) -> None:
    if corrects is None:
        return
    if corrects.piece_id != piece.pk:
        raise Conflict("other_piece", _("That length was run by another piece."))
    if LengthEntry.objects.filter(corrects=corrects).exists():
        raise Conflict(
            "already_corrected",
            _("This entry has been corrected already. Correct the one that replaced it."),
        )

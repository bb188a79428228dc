"""A piece that was seen in a count.

A piece that the record has elsewhere is moved to where it was seen, by a movement of its own that
can be undone; one that is where the record has it leaves an entry only.
"""

from __future__ import annotations

import uuid

from django.db.models import Q
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    Allotment,
    Count,
    CountEntry,
    CountLine,
    How,
    Movement,
    Piece,
    Place,
    PlaceKind,
)
from tooling.queries.count_words import subject_of
from tooling.queries.whereabouts import GONE_KINDS, whereabouts
from tooling.services import staging
from tooling.services.count_marks import Mark, Said, counted_already, newest, write_entry
from tooling.services.due_back import USUAL, Departure, note_departures
from tooling.services.movements import (
    add_piece_rows,
    check_place_is_used,
    lock_pieces,
    moves_of,
    piece_row,
    pieces_now,
)
from tooling.services.touched import touch_kits_of

MOVES = uuid.UUID("f3a8c3de-41ab-5f2c-9f80-2d6f6e0d5b7a")

EXTRA, WAS_LOST, MOVED_HERE = "extra", "was_lost", "moved_here"
"""What a taken entry hints at: expected elsewhere, lost before, at another place of the count."""


def take_piece(mark: Mark, piece_id: int) -> Said:
    count = mark.count
    lock_pieces(piece_ids=[piece_id], places=[p for p in (mark.place, count.place) if p])
    piece = Piece.objects.select_related("drawing", "owner", "place").get(pk=piece_id)
    is_expected = CountLine.objects.filter(count=count, piece=piece).exists()
    _check_belongs(count, piece, is_expected)
    to = _where_it_must_go(mark, piece)
    stands = newest(count, piece=piece)
    if stands is not None and to is None:
        return counted_already(piece.code, stands)
    movement = _move(mark, piece, to) if to is not None else None
    here = to or mark.place or piece.place
    entry = write_entry(mark, here, piece=piece, movement=movement)
    _see(mark, piece)
    return _said_of_piece(piece, here, entry, mark, is_expected)


def _check_belongs(count: Count, piece: Piece, is_expected: bool) -> None:
    """An owner's count takes that owner's pieces only, a copy's those of the copy."""
    if count.owner is not None and piece.owner_id != count.owner_id:
        raise Conflict(
            "not_this_owner",
            _("{piece} belongs to {owner}; this count is of the tooling of {counted}. Leave it "
              "where it is."),
            piece=str(piece),
            owner=piece.owner.name,
            counted=count.owner.name,
            piece_id=piece.pk,
        )  # fmt: skip
    if count.set_copy is None or is_expected:
        return
    allotted = Allotment.objects.filter(piece=piece).select_related("copy__tool_set")
    copies = [allotment.copy for allotment in allotted.order_by("copy__letter")]
    if count.set_copy not in copies:
        raise Conflict(
            "not_of_this_copy",
            _("{piece} is no piece of {counted} but of {copies}; by the record it is in {place}."),
            piece=str(piece),
            counted=subject_of(count),
            copies=", ".join(str(copy) for copy in copies) or _now("no set"),
            place=piece.place.path_name or piece.place.name,
            piece_id=piece.pk,
        )


def _where_it_must_go(mark: Mark, piece: Piece) -> Place | None:
    """Where the piece is to be moved, None when it is where the record has it."""
    seen_at = mark.place or mark.count.place
    beyond = whereabouts().beyond_reach(piece.place)
    if seen_at is not None:
        is_gone = beyond is not None and beyond.kind in GONE_KINDS
        return None if piece.place.path.startswith(seen_at.path) and not is_gone else seen_at
    if beyond is None:
        return None
    raise ToolingError(
        "no_place",
        _("By the record {piece} is in {place}. Scan first where you see it, then the piece."),
        piece=str(piece),
        place=piece.place.path_name or piece.place.name,
        piece_id=piece.pk,
    )


def _move(mark: Mark, piece: Piece, to: Place) -> Movement:
    """A movement that says it comes from a count. Staging is asked as for any other; the owner is
    not, for the piece is there already."""
    check_place_is_used(to)
    now = pieces_now(pk=piece.pk)
    moves = moves_of(now.values(), to_place_id=to.pk)
    for error in staging.check_may_stage(moves=moves, at=mark.at).values():
        raise error
    key = uuid.uuid5(MOVES, str(mark.scan.id))
    row = piece_row(
        stamp=mark.stamp,
        by=mark.by,
        how=How.COUNT,
        id=key,
        scan=key,
        piece_id=piece.pk,
        from_seen_id=piece.place_id,
        to=to,
        code_read=mark.scan.code[:60],
        content_hash=mark.scan.content_hash,
        note=_now("count {number}").format(number=mark.count.number),
    )
    add_piece_rows(rows=[row], now=now)
    gone = Departure(key, to, mark.stamp.effective_at, USUAL, None)
    note_departures(by=mark.by, at=mark.at, departures=[gone])
    staging.after_moves(by=mark.by, at=mark.at, moves=moves)
    return Movement.objects.get(uuid=key)


def _see(mark: Mark, piece: Piece) -> None:
    when = max(mark.stamp.effective_at, mark.count.opened_at)
    older = Q(seen_at=None) | Q(seen_at__lt=when)
    Piece.objects.filter(older, pk=piece.pk).update(seen_at=when)
    if piece.seen_at is None:
        touch_kits_of(pieces=[piece.pk])


def _said_of_piece(
    piece: Piece, here: Place, entry: CountEntry, mark: Mark, is_expected: bool
) -> Said:
    """What was found, and where it was expected when it is another place."""
    place, was = here.path_name or here.name, piece.place.path_name or piece.place.name
    name = f"{piece.code} ({piece.mark})" if piece.mark else piece.code
    hint, said = "", _now("{piece}: found in {place}.")
    if entry.movement is not None and piece.place.kind == PlaceKind.LOST:
        hint, said = WAS_LOST, _now("{piece} was lost. It is back, in {place}.")
    elif entry.movement is not None and is_expected:
        hint, said = MOVED_HERE, _now("{piece}: found, though at {place}, not at {was}.")
    elif entry.movement is not None:
        hint = EXTRA
        said = _now("{piece} was expected in {was}. From now on it is in {place}.")
    elif not is_expected:
        said = _now("{piece} came to {place} while you count. It is right there.")
    return Said(said.format(piece=name, place=place, was=was), here.code, entry, hint)

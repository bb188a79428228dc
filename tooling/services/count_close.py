"""Closing a count: what is missing is lost from now on, what turned up stays, bins are corrected.

All of it in one transaction, or none of it.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from types import MappingProxyType

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    Count,
    CountEntry,
    CountLine,
    CountState,
    How,
    OwnerReport,
    Person,
    Piece,
    Place,
    PlaceKind,
    ReportKind,
    StockLine,
    What,
)
from tooling.permissions import Verb, check_can
from tooling.queries.count_state import state_of
from tooling.queries.count_views import BinNow, Outcome, PieceNow, State
from tooling.queries.count_words import subject_of
from tooling.services import staging, stock
from tooling.services.codes import next_codes
from tooling.services.counts import LONGEST_NOTE, bump, hold
from tooling.services.edits import apply_edit, optional_text
from tooling.services.movements import (
    Stamp,
    add_piece_rows,
    lock_pieces,
    moves_of,
    piece_row,
    pieces_now,
    row,
)
from tooling.services.owner_reports import NO_LONGER_LOST, note_found, open_report
from tooling.services.write import lock, writing

LONGEST_REASON = 200
NO_REASONS: Mapping[str, str] = MappingProxyType({})


def close(
    *,
    by: Person,
    at: datetime,
    count: Count,
    reasons: Mapping[str, str] = NO_REASONS,
    otherwise: str = "",
    listed: Collection[str] | None = None,
    note: str = "",
) -> Count:
    """End a count. ``reasons`` says by label code why a piece is missing or a bin differs;
    ``otherwise`` holds for every missing piece that has none of its own, such as “still looking”.
    ``listed``: the missing pieces that the closer was shown.

    Raises NotAllowed, ``count_closed``, ``reason_missing``, ``long_text``, and Conflict
    ``list_changed`` when more is missing than was shown.
    """
    check_can(by, Verb.CLOSE_COUNTS)
    note = optional_text(note, field="note", label=_("Note"), longest=LONGEST_NOTE)
    with writing():
        count = hold(count)
        _hold_all(count)
        state = state_of(count)
        missing = state.those(Outcome.MISSING)
        _check_list(missing, listed)
        said = _reasons(state, reasons, otherwise)
        _keep_what_was_seen(by=by, at=at, count=count, state=state)
        _report(by=by, at=at, count=count, state=state, said=said)
        _lose(by=by, at=at, count=count, missing=missing, said=said)
        _note_what_was_found(by=by, at=at, state=state)
        _correct_bins(by=by, at=at, count=count, bins=state.bins)
        _settle_lines(count, state, said)
        _end(by=by, at=at, count=count, state=state, said=said, note=note)
    return count


def _hold_all(count: Count) -> None:
    """Every piece and bin that the count may change, before it is judged."""
    about = [
        *CountLine.objects.filter(count=count).values_list("piece_id", "stock_line_id"),
        *CountEntry.objects.filter(count=count).values_list("piece_id", "stock_line_id"),
    ]
    lock_pieces(piece_ids={piece for piece, _line in about if piece is not None}, places=[])
    lock(stock={line for _piece, line in about if line is not None})


def _check_list(missing: Sequence[PieceNow], listed: Collection[str] | None) -> None:
    if listed is None:
        return
    new = [piece.code for piece in missing if piece.code not in listed]
    if new:
        raise Conflict(
            "list_changed",
            _("Since you opened this list, {codes} came to be missing as well. Look at the list "
              "again, then close."),
            codes=", ".join(new[:6]) + (", …" if len(new) > 6 else ""),
        )  # fmt: skip


def _reasons(state: State, reasons: Mapping[str, str], otherwise: str) -> dict[str, str]:
    """The reason of every missing piece, and of every bin that has one, by label code."""
    given = {
        code: optional_text(text, field=f"reason-{code}", label=code, longest=LONGEST_REASON)
        for code, text in reasons.items()
    }
    rest = optional_text(
        otherwise, field="otherwise", label=_("Reason for all others"), longest=LONGEST_REASON
    )
    missing = state.those(Outcome.MISSING)
    said = {piece.code: given.get(piece.code) or rest for piece in missing}
    lacking = [code for code, reason in said.items() if not reason]
    if lacking:
        raise ToolingError(
            "reason_missing",
            _("{count} are missing without a reason: {codes}. Say why, or that you are still "
              "looking."),
            count=len(lacking),
            codes=", ".join(lacking[:6]) + (", …" if len(lacking) > 6 else ""),
            in_field="otherwise",
        )  # fmt: skip
    differing = [each for each in state.bins if each.difference]
    return said | {each.code: given[each.code] for each in differing if given.get(each.code)}


def _keep_what_was_seen(*, by: Person, at: datetime, count: Count, state: State) -> None:
    """Pieces that a scan saw while the count was open get an entry that names it."""
    CountEntry.objects.bulk_create(
        CountEntry(
            uuid=uuid.uuid4(), count=count, piece_id=piece.piece_id, place_id=piece.seen.place_id,
            how=piece.seen.how, movement_id=piece.seen.movement_id, happened_at=piece.seen.at,
            at=at, by_id=piece.seen.by_id,
        )
        for piece in state.those(Outcome.FOUND)
        if piece.seen is not None and piece.seen.entry is None
    )  # fmt: skip


def _report(
    *, by: Person, at: datetime, count: Count, state: State, said: Mapping[str, str]
) -> None:
    """Owners are owed a report of what is missing of theirs."""
    words = _now("Not found in count {number} of {subject}: {reason}")
    found = {"number": count.number, "subject": subject_of(count)}
    owned = [piece for piece in state.those(Outcome.MISSING) if not piece.is_shops]
    pieces = Piece.objects.select_related("owner").in_bulk([piece.piece_id for piece in owned])
    for each in owned:
        open_report(
            by=by, at=at, piece=pieces[each.piece_id], kind=ReportKind.LOSS,
            what_happened=words.format(reason=said[each.code], **found)[:400],
        )  # fmt: skip
    short = [each for each in state.bins if not each.is_shops and each.difference < 0]
    lines = StockLine.objects.select_related("owner").in_bulk([each.stock_id for each in short])
    for bin_ in short:
        reason = said.get(bin_.code) or _now("no reason given")
        open_report(
            by=by, at=at, stock_line=lines[bin_.stock_id], quantity=-bin_.difference,
            kind=ReportKind.LOSS, what_happened=words.format(reason=reason, **found)[:400],
        )  # fmt: skip


def _lose(
    *, by: Person, at: datetime, count: Count, missing: Sequence[PieceNow], said: Mapping[str, str]
) -> None:
    """What nobody saw goes to the place of what is lost; nobody has seen it there."""
    if not missing:
        return
    lost = _place_of_the_lost()
    now = pieces_now(pk__in=[piece.piece_id for piece in missing])
    moves = moves_of(now.values(), to_place_id=lost.pk)
    note = _now("count {number}: {reason}")
    rows = [
        piece_row(
            stamp=Stamp.of(at),
            by=by,
            how=How.COUNT,
            piece_id=piece.id,
            from_seen_id=piece.place_id,
            to=lost,
            sees=False,
            note=note.format(number=count.number, reason=said[piece.code])[:200],
        )
        for piece in now.values()
    ]
    add_piece_rows(rows=rows, now=now)
    staging.after_moves(by=by, at=at, moves=moves)


def _place_of_the_lost() -> Place:
    """The shop's place for what is lost; made when there is none."""
    found = Place.objects.filter(kind=PlaceKind.LOST, is_active=True).order_by("path", "pk")
    first = found.first()
    if first is not None:
        return first
    code = next_codes(kind="P")[0]
    name = str(PlaceKind.LOST.label).capitalize()
    if Place.objects.filter(parent=None, name=name).exists():
        name = f"{name} {code}"
    return Place.objects.create(
        code=code, kind=PlaceKind.LOST, name=name, path=f"/{code}/", path_name=name
    )


def _note_what_was_found(*, by: Person, at: datetime, state: State) -> None:
    """A piece that was reported as lost and was counted has been found again."""
    seen = [piece.piece_id for piece in state.pieces if piece.seen is not None]
    rows = OwnerReport.objects.filter(piece__in=seen, kind=ReportKind.LOSS)
    lost = set(rows.exclude(notes__what__in=NO_LONGER_LOST).values_list("piece_id", flat=True))
    if lost:
        found = Piece.objects.filter(pk__in=lost).select_related("place")
        note_found(by=by, at=at, pieces=list(found), taken_from_the_lost=lost)


def _correct_bins(*, by: Person, at: datetime, count: Count, bins: Iterable[BinNow]) -> None:
    """The record of every bin that was counted, as of the moment of counting; what came and went
    later stands. One that was counted anew elsewhere keeps that number."""
    counted = [each for each in bins if each.seen is not None and not each.is_overtaken]
    lines = StockLine.objects.in_bulk([each.stock_id for each in counted])
    for each in counted:
        assert each.seen is not None
        line = lines[each.stock_id]
        difference = max(each.difference, -line.count)
        added = row(
            stamp=Stamp(each.seen.at, at, each.seen.at),
            by=by,
            how=How.COUNT,
            what=What.COUNT,
            stock=line,
            quantity=difference,
            to_id=line.place_id,
            note=_now("count {number}, counted by {who}").format(
                number=count.number, who=each.seen.by or "-"
            )[:200],
        )
        added.save(force_insert=True)
        stock.apply(line=line, difference=difference, seen_at=each.seen.at)
    here = [staging.StockMoved(each.stock_id, each.stock_id, 0, None) for each in counted]
    if here:
        staging.after_stock_moves(by=by, at=at, moves=here)


def _settle_lines(count: Count, state: State, said: Mapping[str, str]) -> None:
    """What became of every line: 1 was expected of what is found or missing, nothing of what had
    moved away, was away or turned up; of a bin what the record had when it was counted."""
    lines = CountLine.objects.filter(count=count).in_bulk()
    new: list[CountLine] = []
    for piece in state.pieces:
        line = lines.get(piece.line_id or 0)
        if line is not None:
            line.expected, line.reason = piece.figures.expected, said.get(piece.code, "")
        elif piece.outcome == Outcome.EXTRA:
            new.append(CountLine(count=count, piece_id=piece.piece_id, place_id=piece.was_at_id,
                                 expected=0))  # fmt: skip
    for each in state.bins:
        line = lines.get(each.line_id or 0)
        if line is not None:
            line.expected, line.reason = each.expected, said.get(each.code, "")
        else:
            new.append(
                CountLine(
                    count=count,
                    stock_line_id=each.stock_id,
                    place_id=each.place_id,
                    expected=each.expected,
                    reason=said.get(each.code, ""),
                )
            )
    CountLine.objects.bulk_update(lines.values(), ["expected", "reason"], batch_size=200)
    CountLine.objects.bulk_create(new)


def _end(
    *, by: Person, at: datetime, count: Count, state: State, said: Mapping[str, str], note: str
) -> None:
    figures = state.figures
    fields = {
        "state": CountState.CLOSED,
        "closed_at": at,
        "closed_by": by,
        "expected": figures.expected,
        "found": figures.found,
        "missing": figures.missing,
        "extra": figures.extra,
    }
    if note:
        fields["note"] = note
    apply_edit(
        by=by, at=at, row=count, key=str(count.number), fields=fields, what="closed",
        reason="; ".join(f"{code}: {reason}" for code, reason in said.items())[:400],
    )  # fmt: skip
    bump(count)

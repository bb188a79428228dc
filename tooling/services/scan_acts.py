"""Scans of all else than single labels: marks, stock, carts, whole sets, kits, corrections."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext as _count

from tooling.engineering.codes import fold
from tooling.errors import Conflict, ToolingError
from tooling.models import Kit, Movement, Person, Piece, Place, StockLine, ToolSet
from tooling.queries.homes import home_of, homes_of_pieces
from tooling.queries.scan_lookup import Lookup, Target
from tooling.services import stock, stock_staging
from tooling.services.carts import kit_on, move_cart
from tooling.services.corrections import undo
from tooling.services.guided import home_target
from tooling.services.movements import Stamp, find_movement, lock_pieces, pieces_now
from tooling.services.paper_sets import copy_named, unfold
from tooling.services.scan_moves import Aimed, ScanIn, Taken, aim, names_of, steer, take_wave
from tooling.services.together import Act, move_together
from tooling.services.whole_sets import Whole, said, stays_words, whole_copy


def take_one(*, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, lookup: Lookup) -> Taken:
    """Take a scan that is no plain piece by its label: a mark, stock, cart, set, kit, correction.

    Raises whatever forbids it.
    """
    if scan.corrects is not None:
        return _correct(by=by, at=at, scan=scan, stamp=stamp, lookup=lookup)
    target = aim(scan, lookup)
    subject = lookup.subject(scan.code, kit=target.kit)
    if isinstance(subject, int):
        return _take_by_mark(Aimed(scan, stamp, by, target, subject))
    if scan.only_home and isinstance(subject, StockLine | Place):
        target = home_target(target=target, home=home_of(subject), what=scan.code, piece_id=None)
    if isinstance(subject, StockLine):
        return _take_stock(by=by, at=at, scan=scan, stamp=stamp, line=subject, target=target)
    if isinstance(subject, Place):
        return _take_cart(by=by, at=at, scan=scan, stamp=stamp, cart=subject, target=target)
    if isinstance(subject, ToolSet):
        return _take_set(by=by, at=at, scan=scan, stamp=stamp, tool_set=subject, target=target)
    return _take_kit(by=by, at=at, scan=scan, stamp=stamp, kit=subject, target=target)


def _named(scan: ScanIn) -> dict[str, Any]:
    return {
        "id": scan.id,
        "scan": scan.id,
        "code_read": scan.code[:60],
        "content_hash": scan.content_hash,
    }


def _take_cart(
    *, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, cart: Place, target: Target
) -> Taken:
    """One row, whatever is on it; it says how much that is, and which open kit."""
    moved = move_cart(by=by, at=at, cart=cart, to=target.place, how=scan.how, stamp=stamp,
                      due_on=scan.due_on, **_named(scan))  # fmt: skip
    place = moved.to or target.place
    pieces = Piece.objects.filter(place__path__contains=f"/{cart.code}/").count()
    words = _count(
        "{what} is in {place} with {count} piece on it.",
        "{what} is in {place} with {count} pieces on it.",
        pieces,
    )
    words = words if pieces else _now("{what} is in {place}.")
    told = words.format(what=cart.name, place=place.path_name or place.name, count=pieces)
    kit = kit_on(Place.objects.get(pk=cart.pk))
    if kit is not None:
        words = _now("Kit {kit} for job {job} is gathered on it.")
        told += " " + words.format(kit=kit.number, job=kit.job.number)
    return Taken(told, place)


def _take_by_mark(each: Aimed) -> Taken:
    if each.scan.only_home:
        home = homes_of_pieces([each.piece_id]).get(each.piece_id)
        each = steer(each, home, names_of([each.piece_id])[each.piece_id])
    lock_pieces(piece_ids=[each.piece_id], places=[each.target.place])
    now = pieces_now(pk=each.piece_id)
    [(_scan, outcome)] = take_wave(wave=[each], now=now)
    if isinstance(outcome, ToolingError):
        raise outcome
    return outcome


def _take_stock(
    *, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, line: StockLine, target: Target
) -> Taken:
    """Into a kit go as many as it still wants of it; elsewhere all that is in the bin."""
    quantity = scan.quantity
    if quantity is None:
        kit = stock_staging.kit_into(to=target.place, kit=target.kit)
        quantity = stock_staging.to_take(kit=kit, line=line) if kit else max(line.count, 1)
    stock.move(by=by, at=at, line=line, quantity=quantity, to=target.place, how=scan.how,
               stamp=stamp, kit=target.kit, due_on=scan.due_on,
               **_named(scan))  # fmt: skip
    words = _count(
        "{count} of {what} is in {place}.", "{count} of {what} are in {place}.", quantity
    )
    where = target.place.path_name or target.place.name
    return Taken(words.format(count=quantity, what=line.drawing.number, place=where), target.place)


def _take_set(
    *, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, tool_set: ToolSet, target: Target
) -> Taken:
    """A whole copy at once; what is away, lost, held or with another kit stays and is named."""
    copies = list(tool_set.copies.select_related("tool_set").order_by("letter"))
    copy = copy_named(scan.code, copies)
    if copy is None:
        raise Conflict(
            "which_copy",
            _("Set {set} has the copies {letters}. Type the copy's letter after the code, such "
              "as {example}, or scan its pieces."),
            set=tool_set.number,
            letters=", ".join(copy.letter for copy in copies) or "-",
            example=f"{tool_set.code}-{copies[0].letter if copies else 'A'}",
        )  # fmt: skip
    if copy.from_paper_count is not None:
        unfold(by=by, at=at, copy=copy)
    whole = whole_copy(copy, to=target.place)
    return _take_whole(by=by, at=at, scan=scan, stamp=stamp, whole=whole, target=target)


def _take_kit(
    *, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, kit: Kit, target: Target
) -> Taken:
    """The kit's own cart or plate moves; from pegs, the pieces that are staged there."""
    if kit.place is not None and kit.place.moves:
        return _take_cart(by=by, at=at, scan=scan, stamp=stamp, cart=kit.place, target=target)
    staged = Piece.objects.filter(kit_positions__kit=kit, kit_positions__is_staged=True)
    names = {piece.pk: str(piece) for piece in staged}
    going = dict.fromkeys(names, target.place)
    whole = Whole(name=kit.number, going=going, names=names, stays={})
    return _take_whole(by=by, at=at, scan=scan, stamp=stamp, whole=whole, target=target)


def _take_whole(
    *, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, whole: Whole, target: Target
) -> Taken:
    """Rows for those that move; where none moves, for all, so that it is on record."""
    moving = {pk: to for pk, to in whole.going.items() if pk not in whole.there} or whole.going
    act = Act(
        by=by,
        at=at,
        stamp=stamp,
        how=scan.how,
        scan=scan.id,
        kit=target.kit,
        sees=False,
        code_read=scan.code[:60],
        content_hash=scan.content_hash,
        due_on=scan.due_on,
    )
    rows, refused = move_together(act=act, going=moving)
    if not rows:
        raise _nothing_moved(whole, refused)
    return Taken(said(whole, target.place, refused=refused), target.place)


def _nothing_moved(whole: Whole, refused: Mapping[int, ToolingError]) -> ToolingError:
    if refused:
        return next(iter(refused.values()))
    return Conflict(
        "nothing_to_move",
        _("No piece of {name} is where it could be moved from. {stays} Look at its page for where "
          "each piece is."),
        name=whole.name,
        stays=stays_words(whole, {}),
    )  # fmt: skip


def _correct(*, by: Person, at: datetime, scan: ScanIn, stamp: Stamp, lookup: Lookup) -> Taken:
    """Put an earlier scan right: back to before it or, when a place is named, there instead."""
    assert scan.corrects is not None
    wrong = find_movement(scan.corrects)
    _check_same_subject(scan, wrong, lookup)
    to = None if _means_undo(scan, wrong) else aim(scan, lookup).place
    right = undo(
        by=by,
        at=at,
        movement=wrong,
        to=to,
        how=scan.how,
        stamp=stamp,
        scan=scan.id,
        code_read=scan.code[:60],
        content_hash=scan.content_hash,
    )
    words, place = _put_right(right[0], is_undo=to is None)
    what = wrong.code_read or scan.code
    return Taken(words.format(what=what, place=place.path_name or place.name), place)


def _put_right(right: Movement, *, is_undo: bool) -> tuple[str, Place]:
    """What is said of a correction, and the place it names: where the thing is now, or where it
    was then."""
    back, there = (
        _now("Put right: {what} is back in {place}."),
        _now("Put right: {what} is in {place}."),
    )
    said = right.to
    assert said is not None
    placed_by: int | None = right.pk
    since: datetime | None = None
    if right.piece_id is not None:
        piece = Piece.objects.get(pk=right.piece_id)
        placed_by, since = piece.placed_by_id, piece.placed_effective_at
    elif right.cart_id is not None:
        cart = Place.objects.get(pk=right.cart_id)
        placed_by, since = cart.placed_by_id, cart.placed_effective_at
    if right.takes_back and right.stock_id is None:
        return (back if since is None or since < right.effective_at else there), said
    if placed_by != right.pk:
        return _now("Put right: {what} was in {place} then; it has been moved since."), said
    return (back if is_undo else there), said


def _means_undo(scan: ScanIn, wrong: Movement) -> bool:
    """No place, or the very place or kit of the wrong row: not there, but back."""
    to = fold(scan.to)
    if wrong.takes_back:
        return to == ""
    theirs = {wrong.to.code if wrong.to else "", wrong.kit.number if wrong.kit else ""}
    return to in {"", *theirs}


def _check_same_subject(scan: ScanIn, wrong: Movement, lookup: Lookup) -> None:
    if not scan.code.strip() or scan.code.strip().upper() == wrong.code_read.strip().upper():
        return
    subject = lookup.subject(scan.code)
    matches = {
        wrong.piece_id if isinstance(subject, int) else None: subject,
        wrong.cart_id if isinstance(subject, Place) else None: getattr(subject, "pk", None),
        wrong.stock_id if isinstance(subject, StockLine) else None: getattr(subject, "pk", None),
    }
    if not any(key is not None and key == value for key, value in matches.items()):
        raise Conflict(
            "corrects_another",
            _("The movement to be put right is of something else than {label}. Open that piece's "
              "history and undo it there."),
            label=scan.code,
        )  # fmt: skip

"""Handing things out, and when they are due back. What comes back is simply scanned in."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import DueBack, How, Movement, Person, Piece, Place, StockLine, ToolSet
from tooling.permissions import Verb, check_can
from tooling.queries.loans import Loan, loans
from tooling.queries.out import away_of, not_away
from tooling.queries.scan_lookup import Lookup, look_up
from tooling.services import stock
from tooling.services.carts import move_cart
from tooling.services.corrections import undo
from tooling.services.due_back import USUAL, DueOn, check_due
from tooling.services.edits import optional_text
from tooling.services.movements import Stamp, check_place_is_used, find_movement
from tooling.services.paper_sets import copy_named
from tooling.services.together import Act, move_together
from tooling.services.touched import touch_kits_of
from tooling.services.whole_sets import whole_copy
from tooling.services.write import writing

MOST_THINGS = 1_000
MOST_REASON = 200


@dataclass(frozen=True)
class Thing:
    """What is handed out: a label code, mark or old number; of a bin how many, else all of it."""

    code: str
    quantity: int | None = None


def hand_out(
    *,
    by: Person,
    at: datetime,
    to: Place,
    things: Sequence[Thing],
    due_on: DueOn = USUAL,
    reason: str = "",
    act: UUID | None = None,
    how: str = How.TICK,
) -> UUID:
    """Hand things to a person, or send them to a grinder, a customer or a sister plant: all of
    them or none, as one act that one undo takes back. Gives the act's id, for its slip; sent again
    with the same ``act`` it counts once.

    Raises NotAllowed, ``not_away``, ``nothing_to_hand_out``, ``already_there``,
    ``due_in_the_past``, what a code, a move or an owner may forbid.
    """
    check_can(by, Verb.MOVE_PIECES)
    check_place_is_used(to)
    if to.pk not in away_of([to]):
        raise not_away(to)
    check_due(due_on, at=at)
    key = act or uuid.uuid4()
    with writing():
        if act is not None and Movement.objects.filter(uuid=key).exists():
            return key
        found = _Sorted(look_up([thing.code for thing in things], []), things, to)
        shared = Act(by=by, at=at, stamp=Stamp.of(at), how=how, scan=key, due_on=due_on,
                     note=_reason(reason))  # fmt: skip
        _hand_out_rest(found, shared, first=_hand_out_pieces(found, shared))
    return key


class _Sorted:
    """The things by what they are; each once."""

    def __init__(self, lookup: Lookup, things: Sequence[Thing], to: Place) -> None:
        if not things:
            raise _nothing()
        if len(things) > MOST_THINGS:
            raise ToolingError(
                "absurd_count",
                _("{count} things at once are too many; hand out at most {most}, then the rest."),
                count=len(things),
                most=MOST_THINGS,
            )
        self.to = to
        self.pieces: dict[int, None] = {}
        self.bins: dict[int, tuple[StockLine, int]] = {}
        self.carts: dict[int, Place] = {}
        for thing in things:
            self._add(thing, lookup)

    def _add(self, thing: Thing, lookup: Lookup) -> None:
        subject = lookup.subject(thing.code)
        if isinstance(subject, int):
            self.pieces[subject] = None
        elif isinstance(subject, StockLine):
            wanted = thing.quantity if thing.quantity is not None else max(subject.count, 1)
            self.bins[subject.pk] = (subject, wanted)
        elif isinstance(subject, Place):
            self.carts[subject.pk] = subject
        elif isinstance(subject, ToolSet):
            self.pieces |= dict.fromkeys(pieces_of_set(subject, thing.code, self.to))
        else:
            raise ToolingError(
                "not_handed_out",
                _("{label} is a kit; it is gathered here, not handed out. Scan the cart or the "
                  "pieces."),
                label=thing.code,
            )  # fmt: skip


def pieces_of_set(tool_set: ToolSet, code: str, to: Place) -> list[int]:
    """The pieces of a copy that can go: not those away, lost, held or with a kit.

    Raises Conflict ``which_copy`` or ``nothing_to_move``.
    """
    copies = list(tool_set.copies.select_related("tool_set").order_by("letter"))
    copy = copy_named(code, copies)
    if copy is None:
        raise Conflict(
            "which_copy",
            _("Set {set} has the copies {letters}. Type the copy's letter after the code, or "
              "scan its pieces."),
            set=tool_set.number,
            letters=", ".join(each.letter for each in copies) or "-",
        )  # fmt: skip
    going = list(whole_copy(copy, to=to).going)
    if not going:
        raise Conflict(
            "nothing_to_move",
            _("No piece of {name} is where it could be taken from."),
            name=str(copy),
        )
    return going


def _hand_out_pieces(found: _Sorted, shared: Act) -> int:
    if not found.pieces:
        return 0
    there = Piece.objects.filter(pk__in=found.pieces, place=found.to).order_by("code").first()
    if there is not None:
        raise Conflict(
            "already_there",
            _("{what} is in {place} already. Take it off the list."),
            what=str(there),
            place=found.to.path_name or found.to.name,
            piece_id=there.pk,
        )
    rows, refused = move_together(act=shared, going=dict.fromkeys(found.pieces, found.to))
    for error in refused.values():
        raise error
    return len(rows)


def _hand_out_rest(found: _Sorted, shared: Act, *, first: int) -> None:
    """Bins and carts, whose rows go on counting where the pieces' ended."""
    same: dict[str, Any] = {"by": shared.by, "at": shared.at, "to": found.to, "how": shared.how,
            "stamp": shared.stamp, "scan": shared.scan, "note": shared.note}  # fmt: skip
    number = first
    for line, quantity in found.bins.values():
        key = shared.row_id(number)
        stock.move(**same, line=line, quantity=quantity, id=key, due_on=shared.due_on)
        number += 1
    for cart in found.carts.values():
        move_cart(**same, cart=cart, id=shared.row_id(number), due_on=shared.due_on)
        number += 1


def codes_of(code: str, *, to: Place) -> list[str]:
    """What a scan puts on the list: itself, or of a set each piece of the copy that can go.

    Raises what ``Lookup.subject`` and ``pieces_of_set`` raise.
    """
    subject = look_up([code], []).subject(code)
    if not isinstance(subject, ToolSet):
        return [code]
    ids = pieces_of_set(subject, code, to)
    return list(Piece.objects.filter(pk__in=ids).order_by("code").values_list("code", flat=True))


def take_back(*, by: Person, at: datetime, act: UUID) -> int:
    """Undo a hand-out as a whole; how many movements were put right.

    Raises NotAllowed, ``unknown_scan``, ``already_corrected``.
    """
    check_can(by, Verb.MOVE_PIECES)
    return len(undo(by=by, at=at, movement=find_movement(act)))


def set_due(
    *, by: Person, at: datetime, ids: Iterable[UUID], due_on: date | None, reason: str = ""
) -> list[Loan]:
    """Say anew when these loans are due back; None: no date any more. The loans before that.

    Raises NotAllowed, ``nothing_chosen``, ``not_out``, ``due_in_the_past``,
    ``improbable_value``, ``long_text``.
    """
    check_can(by, Verb.MOVE_PIECES)
    check_due(due_on, at=at)
    said = _reason(reason)
    with writing():
        found = _standing(ids, at=at)
        keys = Movement.objects.filter(uuid__in={loan.id for loan in found})
        DueBack.objects.bulk_create(
            DueBack(movement_id=pk, due_on=due_on, at=at, by=by, reason=said)
            for pk in keys.order_by("pk").values_list("pk", flat=True)
        )
        _touch(found)
    return found


def take_back_due(*, by: Person, at: datetime, ids: Iterable[UUID]) -> int:
    """Undo the newest date of these loans: what was said before stands again.

    Raises NotAllowed, ``nothing_chosen``, ``not_out``, ``nothing_before``.
    """
    check_can(by, Verb.MOVE_PIECES)
    with writing():
        found = _standing(ids, at=at)
        rows: dict[int, list[DueBack]] = {}
        said = DueBack.objects.filter(movement__uuid__in={loan.id for loan in found})
        for row in said.order_by("at", "id"):
            rows.setdefault(row.movement_id, []).append(row)
        if not rows:
            raise Conflict("nothing_before", _("Nobody said before when that is due back."))
        DueBack.objects.bulk_create(_before(each, by=by, at=at) for each in rows.values())
        _touch(found)
    return len(rows)


def _before(rows: Sequence[DueBack], *, by: Person, at: datetime) -> DueBack:
    newest = rows[-1]
    older = rows[-2] if len(rows) > 1 else None
    return DueBack(
        movement_id=newest.movement_id,
        due_on=older.due_on if older else None,
        reason=older.reason if older else "",
        at=at,
        by=by,
    )


def _standing(ids: Iterable[UUID], *, at: datetime) -> list[Loan]:
    """The loans of these ids, each of which must still be out."""
    wanted = set(ids)
    if not wanted:
        raise ToolingError("nothing_chosen", _("Tick what it is about, then say the new day."))
    found = [loan for loan in loans(at=at) if loan.id in wanted]
    if {loan.id for loan in found} != wanted:
        raise Conflict(
            "not_out",
            _("Some of it is not out any more, or went elsewhere since. Load the page again."),
        )
    return found


def _touch(found: Iterable[Loan]) -> None:
    """Kits that want them show another day now."""
    codes = {loan.code for loan in found if loan.kind == "piece"}
    drawings = {loan.drawing for loan in found if loan.kind == "bin"}
    touch_kits_of(
        pieces=Piece.objects.filter(code__in=codes).values_list("pk", flat=True),
        drawings=StockLine.objects.filter(drawing__number__in=drawings).values_list(
            "drawing_id", flat=True
        ),
    )


def _reason(reason: str) -> str:
    return optional_text(reason, field="reason", label=_("Reason"), longest=MOST_REASON)


def _nothing() -> ToolingError:
    return ToolingError("nothing_to_hand_out", _("Nothing is on the list yet. Scan what goes."))

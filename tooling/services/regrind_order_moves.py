"""Pieces on an order go out and come back one by one, worked on; their marks are looked for."""

from __future__ import annotations

import math
import uuid
from collections.abc import Collection, Sequence
from datetime import date, datetime, timedelta
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    How,
    KitPosition,
    OrderEventKind,
    OrderState,
    Person,
    Piece,
    Place,
    RegrindOrder,
    RegrindOrderLine,
)
from tooling.permissions import Verb, check_can
from tooling.queries.approvals import CUTS
from tooling.queries.lead_times import lead_time_of
from tooling.queries.out import usual_day, usual_days
from tooling.queries.scan_lookup import look_up
from tooling.services.due_back import check_due
from tooling.services.loans import Thing, hand_out
from tooling.services.movements import Stamp
from tooling.services.owner_gate import check_cuts
from tooling.services.regrind_order_rows import (
    check_not_ended,
    hold_order,
    lines_of,
    save_order,
    settle_order,
    touch,
    write_event,
)
from tooling.services.regrind_order_works import write_works
from tooling.services.regrind_orders import end_order
from tooling.services.together import Act, move_together
from tooling.services.work import check_day
from tooling.services.write import writing


def send(
    *,
    by: Person,
    at: datetime,
    order: RegrindOrder,
    codes: Collection[str] = (),
    due_on: date | None = None,
    how: str = How.TICK,
    act: UUID | None = None,
) -> RegrindOrder:
    """Send the pieces out, or begin the work in the shop; without codes all that were not sent.

    At a vendor they are handed out there with a day on which they are due back: the one said, the
    order's, what this vendor usually took, or the usual days for a grinder. Raises NotAllowed,
    ``order_ended``, ``nothing_to_send``, ``not_on_order``, ``owner_approval_missing``,
    ``piece_taken``, ``due_in_the_past``, and what handing out may refuse.
    """
    check_can(by, Verb.SEND_REGRINDS)
    check_due(due_on, at=at)
    with writing():
        fresh = hold_order(order)
        check_not_ended(fresh)
        going = [line for line in _named(fresh, codes) if line.sent_at is None and line.is_open]
        if not going:
            raise Conflict(
                "nothing_to_send",
                _("Everything on order {number} was sent already."),
                number=fresh.number,
            )
        _check_leave(going, timezone.localdate(at))
        _check_not_with_a_kit(going)
        due = due_on or fresh.due_on or usual_return(fresh.vendor, at)
        if fresh.vendor is not None:
            _hand_out(by, at, fresh, going, due, how, act)
        RegrindOrderLine.objects.filter(pk__in=[line.pk for line in going]).update(sent_at=at)
        save_order(fresh, state=OrderState.OUT, sent_at=fresh.sent_at or at, due_on=due,
                   back_at=None)  # fmt: skip
        write_event(
            by=by, at=at, order=fresh, what=OrderEventKind.SENT,
            said={"pieces": [line.piece.code for line in going],
                  "due_on": due.isoformat() if due else None},
        )  # fmt: skip
        touch(line.piece for line in going)
    return fresh


def usual_return(vendor: Place | None, at: datetime) -> date | None:
    """The day on which a vendor that has it now usually gives it back: by its own orders where
    there are any, else by the setting. None for work in the shop."""
    if vendor is None:
        return None
    known = lead_time_of(vendor.pk)
    if known is not None:
        return timezone.localdate(at) + timedelta(days=math.ceil(known.median_days))
    return usual_day(usual_days(), vendor, at)


def take_back(
    *,
    by: Person,
    at: datetime,
    order: RegrindOrder,
    codes: Collection[str],
    to: Place | None = None,
    done_on: date | None = None,
    is_done: bool = True,
    cost_cents: int | None = None,
    reason: str = "",
    how: str = How.SCAN,
    act: UUID | None = None,
) -> RegrindOrder:
    """Pieces came back, each named by its code or mark; ``cost_cents`` is of each. The work on
    them is written down as of ``done_on``. ``to``: where they are put; None leaves them where
    they were scanned already, or in the shop. ``is_done`` False: they came back as they were and
    leave the order; with no piece left the order is dropped.

    Raises NotAllowed, ``nothing_chosen``, ``not_on_order``, ``not_sent``, ``back_already``,
    ``place_needed``, ``cut_before_sent``, ``in_the_future``, ``owner_approval_missing`` and what
    moving may refuse.
    """
    check_can(by, Verb.SEND_REGRINDS)
    done = done_on or timezone.localdate(at)
    check_day(done, at)
    if not codes:
        raise ToolingError("nothing_chosen", _("Scan what came back."), in_field="codes")
    with writing():
        fresh = hold_order(order)
        check_not_ended(fresh)
        came = _named(fresh, codes)
        _check_out(fresh, came, done)
        _put(by, at, fresh, came, to, how, act)
        fields = {"back_at": at, "done_on": done if is_done else None, "cost_cents": cost_cents}
        ids = [line.pk for line in came]
        RegrindOrderLine.objects.filter(pk__in=ids).update(is_open=is_done, **fields)
        for line in came:
            if is_done:
                write_works(by=by, at=at, order=fresh, line=line, done=done, cost_cents=cost_cents)
            write_event(
                by=by, at=at, order=fresh, what=OrderEventKind.BACK, piece=line.piece,
                reason=reason,
                said={"done_on": done.isoformat() if is_done else None, "is_done": is_done,
                      "cost_cents": cost_cents, "to": to.code if to else ""},
            )  # fmt: skip
        _settle(by, at, fresh, reason)
        touch(line.piece for line in came)
    return fresh


def see_mark(
    *,
    by: Person,
    at: datetime,
    order: RegrindOrder,
    codes: Collection[str],
    is_there: bool = True,
) -> RegrindOrder:
    """The marks of these pieces were looked for: they can be read again, or (``is_there`` False)
    they cannot after all. Raises ``nothing_chosen``, ``not_on_order``, ``not_back``."""
    check_can(by, Verb.SEND_REGRINDS)
    if not codes:
        raise ToolingError("nothing_chosen", _("Name the pieces first."), in_field="codes")
    with writing():
        fresh = hold_order(order)
        check_not_ended(fresh)
        seen = [line for line in _named(fresh, codes) if line.is_open]
        if not seen:
            raise Conflict(
                "line_closed", _("These are not on this order any more."), in_field="codes"
            )
        away = [line for line in seen if line.back_at is None]
        if away:
            raise Conflict(
                "not_back",
                _("{piece} did not come back yet; its mark cannot be seen."),
                piece=away[0].piece.called,
                in_field="codes",
            )
        RegrindOrderLine.objects.filter(pk__in=[line.pk for line in seen]).update(
            mark_seen_at=at if is_there else None
        )
        for line in seen:
            write_event(
                by=by, at=at, order=fresh, what=OrderEventKind.MARK_SEEN, piece=line.piece,
                said={"is_there": is_there},
            )  # fmt: skip
        save_order(fresh)
    return fresh


def _named(order: RegrindOrder, codes: Collection[str]) -> list[RegrindOrderLine]:
    """The lines of the pieces that these codes or marks name, in the order's order; all open ones
    without codes. Raises what reading a code raises, Conflict ``not_on_order``."""
    lines = lines_of(order)
    if not codes:
        return [line for line in lines if line.is_open]
    by_piece = {line.piece_id: line for line in lines if line.is_open or line.back_at}
    found = look_up(list(codes), [])
    wanted: set[int] = set()
    for code in codes:
        subject = _subject(found, code, lines)
        if not isinstance(subject, int) or subject not in by_piece:
            raise _not_on_order(order, code, subject)
        wanted.add(subject)
    return [line for line in lines if line.piece_id in wanted]


def _subject(found: object, code: str, lines: Sequence[RegrindOrderLine]) -> object:
    """What a code names; of several pieces with one mark, the one that is on the order."""
    mark = code.strip().upper()
    marked = [line.piece_id for line in lines if mark and line.piece.mark.upper() == mark]
    if len(marked) == 1:
        return marked[0]
    return found.subject(code)  # type: ignore[attr-defined]


def _not_on_order(order: RegrindOrder, code: str, subject: object) -> Conflict:
    piece = Piece.objects.filter(pk=subject).first() if isinstance(subject, int) else None
    other = (
        RegrindOrderLine.objects.filter(piece=piece, is_open=True).select_related("order").first()
        if piece is not None
        else None
    )
    hint = (
        _("It is on order {other}; open that one.").format(other=other.order.number)
        if other is not None
        else _("Put it to its place by an ordinary scan, and ask the vendor what became of yours.")
    )
    return Conflict(
        "not_on_order",
        _("{what} is not on order {number}. {hint}"),
        what=piece.called if piece is not None else code[:40],
        number=order.number,
        hint=hint,
        in_field="codes",
    )


def _check_leave(going: Sequence[RegrindOrderLine], on: date) -> None:
    check_cuts({line.piece: on for line in going if CUTS & set(line.kinds)})


def _check_not_with_a_kit(going: Sequence[RegrindOrderLine]) -> None:
    """Raise Conflict ``piece_taken``: what lies with a kit goes when its run is over."""
    ids = [line.piece_id for line in going]
    claims = KitPosition.objects.filter(piece__in=ids, is_open=True, holds_piece=True)
    claim = claims.select_related("kit__job", "piece").order_by("piece__code").first()
    if claim is not None:
        raise Conflict(
            "piece_taken",
            _("{piece} lies with kit {kit} (job {job}). Send it when that is over, or put it back "
              "first."),
            piece=claim.piece.called if claim.piece else "",
            kit=claim.kit.number,
            job=claim.kit.job.number,
            in_field="codes",
        )  # fmt: skip


def _hand_out(
    by: Person, at: datetime, order: RegrindOrder, going: Sequence[RegrindOrderLine],
    due: date | None, how: str, act: UUID | None,
) -> None:  # fmt: skip
    vendor = order.vendor
    if vendor is None:
        return
    inside = [line for line in going if line.piece.place.path.startswith(vendor.path)]
    leaving = [line for line in going if line not in inside]
    if leaving:
        hand_out(
            by=by, at=at, to=vendor, things=[Thing(line.piece.code) for line in leaving],
            due_on=due, reason=str(_("regrind order {number}").format(number=order.number)),
            act=act, how=how,
        )  # fmt: skip


def _check_out(order: RegrindOrder, came: Sequence[RegrindOrderLine], done: date) -> None:
    for line in came:
        if line.back_at is not None:
            raise Conflict(
                "back_already",
                _("{piece} came back on {day} already."),
                piece=line.piece.called,
                day=timezone.localdate(line.back_at).isoformat(),
                in_field="codes",
            )
        if line.sent_at is None:
            raise Conflict(
                "not_sent",
                _("{piece} was not sent out on order {number} yet. Send it first."),
                piece=line.piece.called,
                number=order.number,
                in_field="codes",
            )
        if done < timezone.localdate(line.sent_at):
            raise ToolingError(
                "cut_before_sent",
                _("{piece} was sent on {sent}; it cannot have been cut on {done}."),
                piece=line.piece.called,
                sent=timezone.localdate(line.sent_at).isoformat(),
                done=done.isoformat(),
                in_field="done_on",
            )


def _put(
    by: Person, at: datetime, order: RegrindOrder, came: Sequence[RegrindOrderLine],
    to: Place | None, how: str, act: UUID | None,
) -> None:  # fmt: skip
    """Move what came back; what was scanned to a place here already stays there."""
    vendor = order.vendor
    if to is None:
        there = [line for line in came if vendor and line.piece.place.path.startswith(vendor.path)]
        if there:
            raise ToolingError(
                "place_needed",
                _("{piece} is at {vendor} by what is written. Say where you put it."),
                piece=there[0].piece.called,
                vendor=vendor.name if vendor else "",
                in_field="to",
            )
        return
    moving = {line.piece_id: to for line in came if line.piece.place_id != to.pk}
    if moving:
        shared = Act(by=by, at=at, stamp=Stamp.of(at), how=how, scan=act or uuid.uuid4())
        _rows, refused = move_together(act=shared, going=moving)
        for error in refused.values():
            raise error


def _settle(by: Person, at: datetime, order: RegrindOrder, reason: str) -> None:
    """Nothing left on it: it is dropped; else it is as far as the pieces that are."""
    lines = lines_of(order)
    still = [line for line in lines if line.is_open]
    if not still:
        end_order(by=by, at=at, order=order, reason=reason)
    else:
        settle_order(order, at)

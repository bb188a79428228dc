"""The release of an order: what was cut may go back to work.

Everything is judged anew inside the write. What no reason helps is refused by its own code; a
step that would leave the strip slack wants an engineer's signed reason.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import (
    Condition,
    Job,
    Kit,
    KitPosition,
    KitState,
    OrderEventKind,
    OrderState,
    Person,
    RegrindOrder,
    RegrindOrderLine,
)
from tooling.permissions import Verb, check_can
from tooling.queries.regrind_release import CHANGES_SIZE, judge_order, judged_lines
from tooling.queries.release_pieces import worn_condition
from tooling.queries.release_users import users_of
from tooling.queries.release_views import Check, Judged
from tooling.services.chart_axes import unprove
from tooling.services.edits import apply_edit, require_text
from tooling.services.fill_strike import after_rolls_changed
from tooling.services.regrind_order_rows import (
    check_not_ended,
    hold_order,
    save_order,
    settle_order,
    touch,
    write_event,
)
from tooling.services.write import bump, writing

BEFORE_A_JOB = ("still_out", "owner_approval_missing", "below_least_diameter", "below_least_width")
"""What not even one job may pass over."""


def release(
    *,
    by: Person,
    at: datetime,
    order: RegrindOrder,
    reason: str = "",
    version: int | None = None,
    codes: Collection[str] = (),
) -> RegrindOrder:
    """Release every piece of an order: they are no longer held, the charts of all sets that use
    them turn unproved, spacers that no longer meet their windows come out of open kits.

    ``codes``: these pieces alone. They are judged with the others as those are now, uncut where
    they did not come back; the others stay held on the order, which goes on.

    ``reason``: why an engineer lets through what may be signed for; ``version``: of the order as
    it was seen. Raises NotAllowed, ``order_ended``, ``not_sent``, Conflict ``order_changed``,
    ``not_on_order``, ``line_closed``, by their own codes ``still_out``,
    ``owner_approval_missing``, ``unread_after_cut``, ``unread_over_chrome``,
    ``below_least_diameter``, ``below_least_width``, ``diameter_off``, ``size_off``,
    ``mark_missing``, what is impossible on a mill, and asking for a reason ``speed_slack`` and
    the like.
    """
    check_can(by, Verb.RELEASE_REGRINDS)
    with writing():
        fresh = hold_order(order)
        _check_can_be_judged(fresh, version)
        lines = judged_lines(fresh)
        known = _open(_chosen(fresh, lines, codes), named=bool(codes))
        judged = judge_order(known, at=at)
        _refuse(judged, reason)
        RegrindOrderLine.objects.filter(pk__in=[line.pk for line in known]).update(is_open=False)
        rest = [line for line in lines if line.is_open and line not in known]
        _write_down(by, at, fresh, known, rest, judged, reason)
        _mend_conditions(by, at, known)
        sized = [line for line in known if CHANGES_SIZE & set(line.kinds)]
        _unprove_charts(by, at, sized)
        _strike_fills(by, at, sized)
        touch(line.piece for line in known)
    return fresh


def _open(lines: Sequence[RegrindOrderLine], *, named: bool) -> list[RegrindOrderLine]:
    """Those that are still on the order; one that was named has to be."""
    gone = next((line for line in lines if not line.is_open), None)
    if named and gone is not None:
        raise Conflict(
            "line_closed",
            _("{piece} is not on this order any more."),
            piece=gone.piece.called,
            in_field="codes",
        )
    return [line for line in lines if line.is_open]


def _write_down(
    by: Person, at: datetime, order: RegrindOrder, known: Sequence[RegrindOrderLine],
    rest: Sequence[RegrindOrderLine], judged: Judged, reason: str,
) -> None:  # fmt: skip
    """The order is over, or goes on with the rest; one event for all, or one for each piece."""
    if not rest:
        save_order(order, state=OrderState.RELEASED, ended_at=at)
        write_event(
            by=by, at=at, order=order, what=OrderEventKind.RELEASED, reason=reason,
            said=_said(judged),
        )  # fmt: skip
        return
    settle_order(order, at)
    for line in known:
        write_event(
            by=by, at=at, order=order, what=OrderEventKind.RELEASED, piece=line.piece,
            reason=reason, said=_said(judged, line),
        )  # fmt: skip


def release_for_job(
    *,
    by: Person,
    at: datetime,
    order: RegrindOrder,
    job: Job,
    reason: str,
    codes: Collection[str] = (),
) -> RegrindOrder:
    """Let one job have the pieces of an order that are back, before it is released; for every
    other job they stay held. The reason goes on record, with what the release would have said.

    Raises NotAllowed, ``empty_text``, ``order_ended``, ``job_is_over``, ``nothing_back``,
    ``owner_approval_missing``, ``below_least_diameter``, ``below_least_width``, ``not_on_order``.
    """
    check_can(by, Verb.RELEASE_FOR_JOB)
    reason = require_text(reason, field="reason", label=_("Reason"), longest=400)
    with writing():
        fresh = hold_order(order)
        check_not_ended(fresh)
        _check_job(job)
        lines = judged_lines(fresh)
        judged = judge_order(lines, at=at)
        freed = [line for line in _chosen(fresh, lines, codes) if line.is_open and line.back_at]
        if not freed:
            raise Conflict(
                "nothing_back",
                _("No piece of order {number} is back yet, so no job can have one."),
                number=fresh.number,
            )
        for line in freed:
            _refuse_for_job(judged.pieces.get(line.piece_id, ()))
        for line in freed:
            write_event(
                by=by, at=at, order=fresh, what=OrderEventKind.RELEASED_FOR_JOB,
                piece=line.piece, job=job, reason=reason, said=_said(judged, line),
            )  # fmt: skip
        save_order(fresh)
        touch(line.piece for line in freed)
    return fresh


def _check_can_be_judged(order: RegrindOrder, version: int | None) -> None:
    check_not_ended(order)
    if version is not None and version != order.version:
        raise Conflict(
            "order_changed",
            _("Order {number} was changed meanwhile. Look at it again, then release it."),
            number=order.number,
        )
    if not order.lines.filter(is_open=True, sent_at__isnull=False).exists():
        raise Conflict(
            "not_sent",
            _("Nothing of order {number} was sent out yet, so there is nothing to release. To do "
              "without the work, drop the order."),
            number=order.number,
        )  # fmt: skip


def _refuse(judged: Judged, reason: str) -> None:
    """Raise the first thing that keeps it, saying how many more there are."""
    if judged.to_mend:
        raise _refusal(judged.to_mend)
    if judged.to_sign and not reason.strip():
        raise _refusal(judged.to_sign, asks="reason", in_field="reason")


def _refuse_for_job(checks: Sequence[Check]) -> None:
    found = [each for each in checks if each.level == "no" and each.code in BEFORE_A_JOB]
    if found:
        raise _refusal(found)


def _refusal(checks: Sequence[Check], **more: Any) -> Conflict:
    first, others = checks[0], len(checks) - 1
    words = _("{said} {others} more stand on this order's page.") if others else _("{said}")
    values = {"said": first.said, "others": others, **more}
    if first.piece:
        values["piece"] = first.piece
    return Conflict(first.code, words, **values)


def _check_job(job: Job) -> None:
    kit = Kit.objects.filter(job=job).exclude(state=KitState.CLOSED).exists()
    if not kit and job.state != "planned":
        raise Conflict(
            "job_is_over",
            _("Job {job} is not to run any more. Name one that is planned."),
            job=job.number,
            in_field="job",
        )


def _chosen(
    order: RegrindOrder, lines: Sequence[RegrindOrderLine], codes: Collection[str]
) -> list[RegrindOrderLine]:
    if not codes:
        return list(lines)
    wanted = {code.strip().upper() for code in codes}
    found = [line for line in lines if line.piece.code in wanted]
    lacking = wanted - {line.piece.code for line in found}
    if lacking:
        raise Conflict(
            "not_on_order",
            _("{what} is not on order {number}. {hint}"),
            what=sorted(lacking)[0],
            number=order.number,
            hint="",
            in_field="codes",
        )
    return found


def _mend_conditions(by: Person, at: datetime, lines: Sequence[RegrindOrderLine]) -> None:
    """A chip that was cut away is a chip no more."""
    for line in lines:
        if worn_condition(line.piece, line.kinds):
            apply_edit(
                by=by, at=at, row=line.piece, key=line.piece.code,
                fields={"condition": Condition.CLEAN}, what="condition",
                reason=str(_("released from order {number}").format(number=line.order.number)),
            )  # fmt: skip


def _unprove_charts(by: Person, at: datetime, lines: Sequence[RegrindOrderLine]) -> None:
    """Of every set that uses one of the pieces, in a copy or in an open kit."""
    if lines:
        for chart in users_of([line.piece_id for line in lines]).charts:
            unprove(by=by, at=at, chart=chart)


def _strike_fills(by: Person, at: datetime, lines: Sequence[RegrindOrderLine]) -> None:
    """Spacers of open kits that no longer meet their windows with the pieces as they are now."""
    ids = [line.piece_id for line in lines]
    rows: dict[int, list[KitPosition]] = {}
    claims = KitPosition.objects.filter(piece__in=ids, is_open=True).select_related("kit")
    for row in claims.order_by("kit__number", "pk"):
        rows.setdefault(row.kit_id, []).append(row)
    for positions in rows.values():
        after_rolls_changed(by=by, at=at, kit=positions[0].kit, rows=positions)
    bump(rows)


def _said(judged: Judged, line: RegrindOrderLine | None = None) -> dict[str, Any]:
    """What it was judged by, as history keeps it: codes and sentences of what was not in order."""
    pieces = judged.pieces
    if line is not None:
        pieces = {line.piece_id: judged.pieces.get(line.piece_id, ())}
    return {
        "pieces": [_kept(each) for checks in pieces.values() for each in checks],
        "sets": [
            {
                "set": one.set_number, "copy": one.who, "kit": one.kit, "mill": one.mill_number,
                "checks": [_kept(each) for each in one.checks if each.level != "ok"],
            }
            for one in judged.sets
        ],
        "charts": list(judged.charts),
    }  # fmt: skip


def _kept(check: Check) -> dict[str, Any]:
    return {"code": check.code, "level": check.level, "piece": check.piece, "said": check.said}

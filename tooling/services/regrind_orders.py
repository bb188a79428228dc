"""Orders for work on pieces: asked for, changed, dropped. What is on one is held from then on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    OrderEventKind,
    OrderState,
    Person,
    Piece,
    Place,
    PlaceKind,
    RegrindOrder,
    RegrindOrderLine,
    RegrindPlan,
    RegrindTarget,
)
from tooling.permissions import Verb, check_can
from tooling.queries.out import away_of
from tooling.queries.settings import given_settings
from tooling.queries.whereabouts import GONE_KINDS, whereabouts
from tooling.services.due_back import check_due
from tooling.services.edits import optional_text, require_text
from tooling.services.regrind_order_rows import (
    check_not_ended,
    check_requested,
    hold_order,
    lines_of,
    next_number,
    save_order,
    settle_order,
    touch,
    write_event,
)
from tooling.services.regrind_plans import check_fresh
from tooling.services.regrind_targets import (
    OrderLineIn,
    Target,
    mark_is_to_be_restored,
    targets_of,
)
from tooling.services.write import lock, writing

MOST_LINES = 1_000
TOLERANCE = "inspection_tolerance"


def request_order(
    *,
    by: Person,
    at: datetime,
    lines: Sequence[OrderLineIn],
    vendor: Place | None = None,
    plan: RegrindPlan | None = None,
    due_on: date | None = None,
    price_cents: int | None = None,
    note: str = "",
    leave_out: bool = False,
) -> RegrindOrder:
    """Ask for work on pieces, at a vendor or in the shop (no vendor). They are held from now on.
    ``leave_out``: without those that are lost or on another order; the rest is ordered.

    Raises NotAllowed, ``nothing_ordered``, ``absurd_count``, ``not_away``, ``due_in_the_past``,
    Conflict ``stale_plan``, ``on_open_order``, ``piece_gone``, and what `targets_of` says.
    """
    check_can(by, Verb.ORDER_REGRINDS)
    _check_vendor(vendor)
    check_due(due_on, at=at)
    if plan is not None:
        check_fresh(plan, at=at)
    if not lines:
        raise ToolingError(
            "nothing_ordered",
            _("Name the pieces first: scan them, or take those of a set or of a plan."),
            in_field="codes",
        )
    if len(lines) > MOST_LINES:
        raise ToolingError("absurd_count", _("An order has {most} lines at most."), most=MOST_LINES)
    said = optional_text(note, field="note", label=_("Note"), longest=400)
    with writing():
        lock(pieces=[line.piece.pk for line in lines])
        left = _not_free(lines) if leave_out else set()
        lines = [line for line in lines if line.piece.pk not in left] or lines
        order = RegrindOrder.objects.create(
            number=next_number(), plan=plan, vendor=vendor, requested_at=at, requested_by=by,
            due_on=due_on, price_cents=price_cents, note=said,
        )  # fmt: skip
        made = _add_lines(order, lines)
        if plan is not None:
            RegrindPlan.objects.filter(pk=plan.pk).update(state="ordered")
        write_event(
            by=by, at=at, order=order, what=OrderEventKind.REQUESTED, reason=said,
            said={"pieces": [line.piece.code for line in made],
                  "vendor": vendor.code if vendor else "", "left_out": len(left)},
        )  # fmt: skip
        touch(line.piece for line in made)
    return order


def add_line(
    *, by: Person, at: datetime, order: RegrindOrder, line: OrderLineIn
) -> RegrindOrderLine:
    """A further piece, while nothing was sent. Raises as `request_order`, ``order_sent``,
    ``order_ended``."""
    check_can(by, Verb.ORDER_REGRINDS)
    with writing():
        fresh = hold_order(order)
        check_requested(fresh)
        lock(pieces=[line.piece.pk])
        row = _add_lines(fresh, [line])[0]
        write_event(
            by=by, at=at, order=fresh, what=OrderEventKind.CHANGED, piece=line.piece,
            said={"added": line.piece.code, **_told(row)},
        )  # fmt: skip
        save_order(fresh)
        touch([line.piece])
    return row


def change_line(
    *, by: Person, at: datetime, row: RegrindOrderLine, line: OrderLineIn, reason: str = ""
) -> RegrindOrderLine:
    """Other work or other targets for a piece. Once it is out the grinder must be told, so a
    reason is asked for. Raises ``empty_text``, ``order_ended``, Conflict ``line_closed`` and what
    `targets_of` says."""
    check_can(by, Verb.ORDER_REGRINDS)
    with writing():
        order = hold_order(row.order)
        check_not_ended(order)
        fresh = _open_line(order, row)
        if fresh.sent_at is not None:
            reason = require_text(reason, field="reason", label=_("Reason"), longest=400)
        before = _told(fresh)
        targets = targets_of(line, usual_nm=_usual_nm(line.piece))
        fields: dict[str, Any] = {"mark_to_restore": mark_is_to_be_restored(line)}
        if fresh.back_at is None:
            fields["kinds"] = list(line.kinds)
        if line.note:
            fields["note"] = line.note[:300]
        RegrindOrderLine.objects.filter(pk=fresh.pk).update(**fields)
        fresh.targets.all().delete()
        _write_targets(fresh, targets)
        fresh.refresh_from_db()
        write_event(
            by=by, at=at, order=order, what=OrderEventKind.CHANGED, piece=fresh.piece,
            reason=reason, said={"before": before, "after": _told(fresh)},
        )  # fmt: skip
        save_order(order)
        touch([fresh.piece])
    return fresh


def remove_line(*, by: Person, at: datetime, row: RegrindOrderLine, reason: str = "") -> None:
    """The piece is not to be worked on after all, while it was not sent. The last one drops the
    order. Raises ``line_sent``, ``order_ended``."""
    check_can(by, Verb.ORDER_REGRINDS)
    with writing():
        order = hold_order(row.order)
        check_not_ended(order)
        fresh = _open_line(order, row)
        if fresh.sent_at is not None:
            raise Conflict(
                "line_sent",
                _("{piece} was sent out on this order. Take it back, as done or as not done."),
                piece=fresh.piece.called,
            )
        piece = fresh.piece
        fresh.delete()
        write_event(
            by=by, at=at, order=order, what=OrderEventKind.CHANGED, piece=piece, reason=reason,
            said={"removed": piece.code},
        )  # fmt: skip
        settle_order(order, at)
        touch([piece])
        if not order.lines.filter(is_open=True).exists():
            end_order(by=by, at=at, order=order, reason=reason)


def edit_order(
    *, by: Person, at: datetime, order: RegrindOrder, reason: str = "", **fields: Any
) -> RegrindOrder:
    """Change vendor (while nothing was sent), due day, price, note. Raises ``order_sent``,
    ``not_away``, ``due_in_the_past``."""
    check_can(by, Verb.ORDER_REGRINDS)
    unknown = set(fields) - {"vendor", "due_on", "price_cents", "note"}
    if unknown:
        raise TypeError(f"an order has no {', '.join(sorted(unknown))} to change")
    with writing():
        fresh = hold_order(order)
        check_not_ended(fresh)
        changed = {name: value for name, value in fields.items() if getattr(fresh, name) != value}
        if "vendor" in changed:
            check_requested(fresh)
            _check_vendor(changed["vendor"])
        if "due_on" in changed:
            check_due(changed["due_on"], at=at)
        if "note" in changed:
            changed["note"] = optional_text(
                changed["note"], field="note", label=_("Note"), longest=400
            )
        if changed:
            before = {name: _plain(getattr(fresh, name)) for name in changed}
            save_order(fresh, **changed)
            after = {name: _plain(value) for name, value in changed.items()}
            write_event(
                by=by, at=at, order=fresh, what=OrderEventKind.CHANGED, reason=reason,
                said={"before": before, "after": after},
            )  # fmt: skip
    return fresh


def cancel_order(*, by: Person, at: datetime, order: RegrindOrder, reason: str) -> RegrindOrder:
    """Drop it; its pieces are free again. Raises ``empty_text``, ``order_ended``, Conflict
    ``still_out`` while a piece is out, ``work_done`` once a piece was worked on."""
    check_can(by, Verb.ORDER_REGRINDS)
    reason = require_text(reason, field="reason", label=_("Reason"), longest=400)
    with writing():
        fresh = hold_order(order)
        check_not_ended(fresh)
        lines = lines_of(fresh, is_open=True)
        out = [line for line in lines if line.sent_at and not line.back_at]
        if out:
            raise still_out(fresh, out)
        if any(line.works.exists() for line in lines):
            raise Conflict(
                "work_done",
                _("Pieces of order {number} were worked on. Measure them and release it."),
                number=fresh.number,
            )
        end_order(by=by, at=at, order=fresh, reason=reason)
    return fresh


def end_order(*, by: Person, at: datetime, order: RegrindOrder, reason: str) -> None:
    """Drop it now, or what is left of it: where some of its pieces were released, it ends as
    released. Call inside a write that holds the order."""
    lines = lines_of(order)
    is_worked = any(not line.is_open and line.done_on is not None for line in lines)
    order.lines.update(is_open=False)
    if order.plan_id is not None and not is_worked and not _ordered_otherwise(order):
        RegrindPlan.objects.filter(pk=order.plan_id, state="ordered").update(state="solved")
    state = OrderState.RELEASED if is_worked else OrderState.CANCELLED
    save_order(order, state=state, ended_at=at)
    write_event(by=by, at=at, order=order, what=OrderEventKind.CANCELLED, reason=reason)
    touch(line.piece for line in lines)


def _ordered_otherwise(order: RegrindOrder) -> bool:
    """Whether another order that was not dropped is from the same plan."""
    others = RegrindOrder.objects.filter(plan=order.plan_id).exclude(pk=order.pk)
    return others.exclude(state=OrderState.CANCELLED).exists()


def still_out(order: RegrindOrder, out: Sequence[RegrindOrderLine]) -> Conflict:
    """What is out has to come back first."""
    return Conflict(
        "still_out",
        _("{count} of order {number} did not come back yet: {pieces}. Take them back first, as "
          "done or as not done."),
        count=len(out),
        number=order.number,
        pieces=", ".join(line.piece.called for line in out[:5]),
    )  # fmt: skip


def _check_vendor(vendor: Place | None) -> None:
    """A vendor is a place out of the house where work is done. Raises ``not_a_vendor``."""
    if vendor is None:
        return
    outermost = away_of([vendor]).get(vendor.pk)
    if outermost is None or outermost.kind not in (PlaceKind.GRINDER, PlaceKind.SISTER):
        raise ToolingError(
            "not_a_vendor",
            _("{place} is no grinder. Choose one of the kind “grinder”, or leave it empty for work "
              "in this shop."),
            place=vendor.path_name or vendor.name,
            in_field="vendor",
        )  # fmt: skip


def _add_lines(order: RegrindOrder, lines: Sequence[OrderLineIn]) -> list[RegrindOrderLine]:
    _check_free(line.piece for line in lines)
    given = given_settings([TOLERANCE])
    ready = [
        (line, targets_of(line, usual_nm=int(given.value(TOLERANCE, unit=line.piece.unit))))
        for line in lines
    ]
    rows = []
    for line, targets in ready:
        row = RegrindOrderLine.objects.create(
            order=order,
            piece=line.piece,
            kinds=list(line.kinds),
            mark_to_restore=mark_is_to_be_restored(line),
            note=line.note.strip()[:300],
        )
        _write_targets(row, targets)
        rows.append(row)
    return rows


def _check_free(pieces: Iterable[Piece]) -> None:
    """Each once, still in this world, on no other open order."""
    known = list(pieces)
    ids = [piece.pk for piece in known]
    twice = next((piece for n, piece in enumerate(known) if piece.pk in ids[:n]), None)
    other = RegrindOrderLine.objects.filter(piece__in=ids, is_open=True)
    taken = other.select_related("piece", "order").order_by("piece__code").first()
    if twice is not None or taken is not None:
        raise Conflict(
            "on_open_order",
            _("{piece} is on order {order} already. Change its line there, or drop that order."),
            piece=str(twice or (taken.piece if taken else "")),
            order=taken.order.number if taken else _("this"),
            in_field="codes",
            asks="leave_out",
        )
    away = whereabouts()
    for piece in known:
        beyond = away.beyond_reach(piece.place)
        if beyond is not None and beyond.kind in GONE_KINDS:
            raise Conflict(
                "piece_gone",
                _("{piece} is not here: {place}. Find it and scan it to a place first."),
                piece=piece.called,
                place=beyond.name,
                in_field="codes",
                asks="leave_out",
            )


def _not_free(lines: Sequence[OrderLineIn]) -> set[int]:
    """Ids of the pieces that are gone or on another open order. Two queries."""
    ids = [line.piece.pk for line in lines]
    taken = RegrindOrderLine.objects.filter(piece__in=ids, is_open=True)
    found = set(taken.values_list("piece_id", flat=True))
    away = whereabouts()
    for line in lines:
        beyond = away.beyond_reach(line.piece.place)
        if beyond is not None and beyond.kind in GONE_KINDS:
            found.add(line.piece.pk)
    return found


def _open_line(order: RegrindOrder, row: RegrindOrderLine) -> RegrindOrderLine:
    found = next((line for line in lines_of(order, pk=row.pk, is_open=True)), None)
    if found is None:
        raise Conflict(
            "line_closed", _("{piece} is not on this order any more."), piece=row.piece.called
        )
    return found


def _write_targets(row: RegrindOrderLine, targets: dict[str, Target]) -> None:
    RegrindTarget.objects.bulk_create(
        RegrindTarget(line=row, dimension=name, target_nm=target.target_nm,
                      minus_nm=target.minus_nm, plus_nm=target.plus_nm)
        for name, target in targets.items()
    )  # fmt: skip


def _usual_nm(piece: Piece) -> int:
    return int(given_settings([TOLERANCE]).value(TOLERANCE, unit=piece.unit))


def _told(row: RegrindOrderLine) -> dict[str, Any]:
    """A line as history keeps it."""
    return {
        "kinds": list(row.kinds),
        "targets": {t.dimension: [t.target_nm, t.minus_nm, t.plus_nm] for t in row.targets.all()},
        "mark_to_restore": row.mark_to_restore,
    }


def _plain(value: Any) -> Any:
    if isinstance(value, Place):
        return value.code
    return value.isoformat() if isinstance(value, date) else value


__all__ = [
    "OrderLineIn",
    "Target",
    "add_line",
    "cancel_order",
    "change_line",
    "edit_order",
    "end_order",
    "remove_line",
    "request_order",
    "still_out",
]

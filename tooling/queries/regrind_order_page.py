"""One order with its lines, what it does to every set, and what happened to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from tooling.engineering.handling import caution_for
from tooling.engineering.lengths import Unit
from tooling.models import (
    Job,
    JobState,
    KitPosition,
    OrderEvent,
    OrderState,
    RegrindOrder,
    RegrindOrderLine,
    WorkKind,
)
from tooling.queries.cuts_left import CutsLeft, cuts_left
from tooling.queries.lead_times import lead_time_of
from tooling.queries.owner_values import currency
from tooling.queries.piece_page import mass_kg
from tooling.queries.pieces import size_of
from tooling.queries.print_limits import LABELS
from tooling.queries.regrind_order_views import (
    EventView,
    JobChoice,
    OrderLineView,
    OrderPage,
    SizeView,
)
from tooling.queries.regrind_orders import days_late, days_unsent, find_order
from tooling.queries.regrind_release import judge_order, judged_lines
from tooling.queries.release_pieces import (
    Readings,
    readings_after,
    sizes_before,
    to_be_read,
)
from tooling.queries.release_views import Check, Judged
from tooling.queries.settings import given_settings

MOST_JOBS = 40


def order_page(number: str, *, at: datetime, unit: Unit | None = None) -> OrderPage:
    """Everything of one order. A fixed number of queries, whatever is on it. Raises Unknown
    ``unknown_order``."""
    order, today = find_order(number), timezone.localdate(at)
    lines = judged_lines(order)
    is_open = order.state in (OrderState.REQUESTED, OrderState.OUT, OrderState.BACK)
    judged = judge_order(lines, at=at, unit=unit) if is_open else Judged()
    return OrderPage(
        number=order.number,
        version=order.version,
        state=order.state,
        state_word=order.get_state_display(),
        vendor=order.vendor.name if order.vendor else "",
        vendor_code=order.vendor.code if order.vendor else "",
        plan=order.plan.number if order.plan else "",
        requested_at=order.requested_at,
        requested_by=str(order.requested_by or ""),
        due_on=order.due_on,
        days_late=days_late(order, today),
        days_unsent=days_unsent(order, today),
        sent_at=order.sent_at,
        back_at=order.back_at,
        ended_at=order.ended_at,
        price_cents=order.price_cents,
        currency=currency(),
        note=order.note,
        lead_time=lead_time_of(order.vendor_id),
        lines=_lines(lines, judged, vendor=order.vendor.path if order.vendor else ""),
        judged=judged,
        events=_events(order),
        jobs=_jobs(lines) if is_open else (),
    )


def _lines(
    lines: Sequence[RegrindOrderLine], judged: Judged, *, vendor: str
) -> tuple[OrderLineView, ...]:
    read = readings_after(lines)
    before = sizes_before(lines)
    left = cuts_left(line.piece for line in lines)
    given = given_settings(["lift_warn", "lift_two_people"])
    kits = kits_of(line.piece_id for line in lines if line.is_open)
    return tuple(
        _line(
            line, read, before.get(line.piece_id, {}), left.get(line.piece_id),
            judged.pieces.get(line.piece_id, ()),
            (given.value("lift_warn"), given.value("lift_two_people")), vendor,
            kits.get(line.piece_id, ""),
        )
        for line in lines
    )  # fmt: skip


def _line(
    line: RegrindOrderLine, read: Readings, before: Mapping[str, int], left: CutsLeft | None,
    checks: tuple[Check, ...], lift: tuple[float, float], vendor: str, kit: str,
) -> OrderLineView:  # fmt: skip
    piece = line.piece
    kg = mass_kg(piece)
    return OrderLineView(
        code=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        title=piece.drawing.title,
        owner=piece.owner.name,
        owner_code=piece.owner.code,
        is_shops=piece.owner.is_shop,
        unit=piece.unit,
        place=piece.place.path_name or piece.place.name,
        place_code=piece.place.code,
        is_at_vendor=bool(vendor) and piece.place.path.startswith(vendor),
        kinds=tuple(line.kinds),
        kind_words=tuple(str(WorkKind(kind).label) for kind in line.kinds),
        sizes=_sizes(line, read, before),
        mass_kg=kg,
        people=_people(kg, lift),
        material=piece.revision.material,
        over_chrome=piece.over_chrome,
        mark_place=piece.get_mark_place_display(),
        mark_to_restore=line.mark_to_restore,
        mark_seen_at=line.mark_seen_at,
        is_open=line.is_open,
        sent_at=line.sent_at,
        back_at=line.back_at,
        done_on=line.done_on,
        cost_cents=line.cost_cents,
        note=line.note,
        left=left,
        checks=checks,
        kit=kit,
    )


def kits_of(piece_ids: Iterable[int]) -> dict[int, str]:
    """Piece → the open kit with which it lies. One query."""
    claims = KitPosition.objects.filter(piece__in=set(piece_ids), is_open=True, holds_piece=True)
    return dict(claims.values_list("piece_id", "kit__number"))


def _people(kg: float | None, lift: tuple[float, float]) -> str:
    if kg is None:
        return ""
    caution = caution_for(kg, warn_kg=lift[0], two_people_kg=lift[1])
    words = {"heavy": _("heavy"), "two_people": _("two people or hoist")}
    return words.get(str(caution), "")


def _sizes(
    line: RegrindOrderLine, read: Readings, before: Mapping[str, int]
) -> tuple[SizeView, ...]:
    targets = {target.dimension: target for target in line.targets.all()}
    wanted = to_be_read(line)
    names = list(dict.fromkeys([*targets, *wanted]))
    found = []
    for name in sorted(names, key=list(LABELS).index):
        target = targets.get(name)
        reading = read.get((line.piece_id, name))
        found.append(
            SizeView(
                name=name,
                label=LABELS[name],
                before_nm=before.get(name, size_of(line.piece, name)),
                target_nm=target.target_nm if target else None,
                minus_nm=target.minus_nm if target else 0,
                plus_nm=target.plus_nm if target else 0,
                read_nm=reading.nm if reading else None,
                is_wanted=name in wanted,
            )
        )
    return tuple(found)


def _events(order: RegrindOrder) -> tuple[EventView, ...]:
    rows = OrderEvent.objects.filter(order=order).select_related("by", "piece", "job")
    return tuple(
        EventView(
            what=row.what,
            word=row.get_what_display(),
            at=row.at,
            by=str(row.by or ""),
            piece=row.piece.code if row.piece else "",
            job=row.job.number if row.job else "",
            reason=row.reason,
        )
        for row in rows.order_by("-at", "-pk")
    )


def _jobs(lines: Sequence[RegrindOrderLine]) -> tuple[JobChoice, ...]:
    """Planned jobs of the sets that use the pieces, the soonest first. One query."""
    ids = [line.piece_id for line in lines if line.is_open]
    rows = Job.objects.filter(
        tool_set__copies__allotments__piece__in=ids, state=JobState.PLANNED
    ) | Job.objects.filter(kits__positions__piece__in=ids, kits__positions__is_open=True)
    found = rows.distinct().select_related("tool_set", "mill").order_by("starts_at", "number")
    return tuple(
        JobChoice(job.number, f"{job.number}, {job.tool_set.number}, {job.mill.name}")
        for job in found[:MOST_JOBS]
    )

"""What an order is asked for: pieces by code or mark, the rolls of a copy, the cuts of a plan."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import Decision, Piece, RegrindPlan, SetCopy, WorkKind
from tooling.queries.pieces import size_of
from tooling.queries.scan_lookup import look_up
from tooling.services.regrind_targets import OrderLineIn


@dataclass(frozen=True)
class Asked:
    """The lines, and the plan that some of them are from."""

    lines: tuple[OrderLineIn, ...]
    plan: RegrindPlan | None = None


def asked_lines(
    *,
    codes: Collection[str] = (),
    copy: SetCopy | None = None,
    plan_number: str = "",
    kinds: Sequence[str] = (WorkKind.REGRIND,),
    take_off_nm: int | None = None,
    tolerance_nm: int | None = None,
) -> Asked:
    """Each piece once: what a plan says of it goes before the amount for all.

    Raises Unknown ``unknown_plan``, ``plan_has_no_work``, ``unknown_code``, ``ambiguous_mark``,
    ToolingError ``not_a_piece``.
    """
    plan = _plan(plan_number) if plan_number.strip() else None
    found: dict[int, OrderLineIn] = {}
    for line in lines_of_plan(plan) if plan is not None else []:
        found[line.piece.pk] = line
    named = [OrderLineIn(piece, kinds=kinds, take_off_nm=take_off_nm, tolerance_nm=tolerance_nm)
             for piece in pieces_named(codes)]  # fmt: skip
    of_set = lines_of_set(copy, kinds=kinds, take_off_nm=take_off_nm) if copy is not None else []
    for line in (*named, *of_set):
        found.setdefault(line.piece.pk, line)
    return Asked(tuple(found.values()), plan)


def lines_of_set(
    copy: SetCopy, *, take_off_nm: int | None = None, kinds: Sequence[str] = (WorkKind.REGRIND,)
) -> list[OrderLineIn]:
    """A line for every roll of a copy, cut by the same amount. One query."""
    rows = Piece.objects.filter(allotments__copy=copy, drawing__kind__in=("roll", "side_roll"))
    pieces = rows.select_related("drawing", "revision", "owner", "place")
    ordered = pieces.order_by("allotments__position__set_pass__number", "code").distinct()
    return [OrderLineIn(piece, kinds=kinds, take_off_nm=take_off_nm) for piece in ordered]


def lines_of_plan(plan: RegrindPlan) -> list[OrderLineIn]:
    """A line for every piece that the plan cuts or faces. One query.

    Raises Conflict ``plan_has_no_work``.
    """
    rows = plan.lines.filter(decision__in=(Decision.CUT, Decision.FACE), amount_nm__gt=0)
    faced = {
        each["piece"]: each["width_nm"]
        for each in plan.answer.get("decisions", ())
        if each["kind"] == Decision.CUT and each["width_nm"]
    }
    found = [
        OrderLineIn(
            row.piece,
            kinds=_kinds(row.decision, row.piece.code in faced),
            targets=_faced_to(row.piece, faced.get(row.piece.code, 0)),
            take_off_nm=row.amount_nm,
            note=row.reason[:300],
        )
        for row in rows.select_related(
            "piece__drawing", "piece__revision", "piece__owner", "piece__place"
        ).order_by("pk")
    ]
    if not found:
        raise Conflict(
            "plan_has_no_work",
            _("Plan {plan} cuts nothing, so there is nothing to order."),
            plan=plan.number,
        )
    return found


def _kinds(decision: str, is_faced: bool) -> tuple[str, ...]:
    """A piece that is cut where its flank is worn is faced as well."""
    if decision == Decision.FACE:
        return (WorkKind.FACE,)
    return (WorkKind.REGRIND, WorkKind.FACE) if is_faced else (WorkKind.REGRIND,)


def _faced_to(piece: Piece, off_nm: int) -> dict[str, int]:
    """The width of a cut piece that is faced as well, where its width is known."""
    width = size_of(piece, "face_width")
    return {"face_width": width - off_nm} if off_nm and width else {}


def pieces_named(codes: Collection[str]) -> list[Piece]:
    """The pieces of these codes or marks, in their order. Raises as `asked_lines`."""
    if not codes:
        return []
    lookup = look_up(list(codes), [])
    ids = []
    for code in codes:
        subject = lookup.subject(code)
        if not isinstance(subject, int):
            raise ToolingError(
                "not_a_piece",
                _("{code} is the label of no single piece. Scan the rolls one by one."),
                code=code[:40],
                in_field="codes",
            )
        ids.append(subject)
    rows = Piece.objects.select_related("drawing", "revision", "owner", "place").in_bulk(ids)
    return [rows[pk] for pk in dict.fromkeys(ids)]


def _plan(number: str) -> RegrindPlan:
    found = RegrindPlan.objects.filter(number__iexact=number.strip()).first()
    if found is None:
        raise Unknown(
            "unknown_plan", _("There is no regrind plan {number}."), number=number[:40],
            in_field="plan",
        )  # fmt: skip
    return found

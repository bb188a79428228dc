"""A received piece measured to print: its readings and the verdict, in one transaction."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.errors import Conflict, ToolingError
from tooling.models import (
    Condition,
    Gauge,
    Inspection,
    Person,
    Piece,
    Receipt,
    ReportKind,
    Verdict,
)
from tooling.permissions import Verb, check_can
from tooling.queries.print_limits import Limit, off_print, print_limits
from tooling.services.edits import apply_edit, require_text
from tooling.services.holds import hold_piece
from tooling.services.owner_reports import open_report
from tooling.services.purchases import line_key
from tooling.services.readings import record_reading
from tooling.services.touched import touch_kits_of
from tooling.services.write import lock, writing


@dataclass(frozen=True)
class Measured:
    """One value as it was read from the gauge."""

    value_nm: int
    as_written: str = ""


def inspect(
    *,
    by: Person,
    at: datetime,
    receipt: Receipt,
    measured: Mapping[str, Measured],
    unit: str,
    verdict: str,
    reason: str = "",
    gauge: Gauge | None = None,
    sure: bool = False,
) -> Inspection:
    """Write down what was measured, by dimension, and what was decided; the newest verdict stands.

    ``accepted`` needs every drawn dimension that is known to be within its limits; ``concession``
    takes the piece as it is, for a reason, by who may; ``rejected`` holds it with the reason, and
    a customer's is reported to its owner.
    Raises NotAllowed, ``unknown_verdict``, ``empty_text`` of the reason, ``not_drawn``,
    ``nothing_measured``, ``not_to_print``, ``nothing_to_measure``, ``taken_back_already``, and as
    ``record_reading``.
    """
    check_can(by, Verb.RECEIVE_TOOLING)
    reason = _check_verdict(by, verdict, reason)
    piece = _piece_of(receipt)
    limits = print_limits(piece.revision)
    _check_drawn(limits, measured)
    if verdict == Verdict.ACCEPTED:
        _check_to_print(limits, piece, measured)
    with writing():
        lock(pieces=[piece.pk])
        for name, value in measured.items():
            record_reading(
                by=by, at=at, piece=piece, dimension=name, value_nm=value.value_nm, unit=unit,
                as_written=value.as_written, gauge=gauge, sure=sure,
                note=str(_("to print, {line}")).format(line=line_key(receipt.line)),
            )  # fmt: skip
        before = Inspection.objects.filter(receipt=receipt).order_by("at", "pk").last()
        row = Inspection.objects.create(
            receipt=receipt, verdict=verdict, reason=reason, at=at, by=by
        )
        _judge(by=by, at=at, row=row, before=before)
        if verdict == Verdict.REJECTED:
            owned = Piece.objects.select_related("owner").get(pk=piece.pk)
            open_report(
                by=by, at=at, piece=owned, kind=ReportKind.UNSUITABLE,
                what_happened=str(_("Rejected as it came: {reason}")).format(reason=reason),
            )  # fmt: skip
    return row


def _check_verdict(by: Person, verdict: str, reason: str) -> str:
    if verdict not in Verdict.values:
        raise ToolingError(
            "unknown_verdict",
            _("“{verdict}” is no verdict. There are accepted, accepted with a reason, rejected."),
            verdict=verdict,
            in_field="verdict",
        )
    if verdict == Verdict.CONCESSION:
        check_can(by, Verb.ACCEPT_OFF_PRINT)
    if verdict == Verdict.ACCEPTED:
        return " ".join(reason.split())[:300]
    return require_text(reason, field="reason", label=_("Reason"), longest=200)


def _piece_of(receipt: Receipt) -> Piece:
    if receipt.is_taken_back or Receipt.objects.filter(corrects=receipt).exists():
        raise Conflict("taken_back_already", _("That receipt was taken back already."))
    if receipt.piece_id is None:
        raise Conflict(
            "nothing_to_measure", _("What comes into a bin by count is not measured one by one.")
        )
    return Piece.objects.select_related("revision__drawing").get(pk=receipt.piece_id)


def _check_drawn(limits: tuple[Limit, ...], measured: Mapping[str, Any]) -> None:
    unknown = set(measured) - {limit.name for limit in limits}
    if unknown:
        raise ToolingError(
            "not_drawn",
            _("The drawing gives no {dimension}. Measure what it gives."),
            dimension=", ".join(sorted(unknown)).replace("_", " "),
        )


def _check_to_print(
    limits: tuple[Limit, ...], piece: Piece, measured: Mapping[str, Measured]
) -> None:
    known = any(getattr(piece, f"now_{limit.name}_nm") is not None for limit in limits)
    if limits and not measured and not known:
        raise ToolingError(
            "nothing_measured",
            _("Nothing was measured yet. Write down at least one dimension, or say why not and "
              "have it accepted with that reason."),
        )  # fmt: skip
    values = {name: value.value_nm for name, value in measured.items()}
    off = off_print(limits, piece, values)
    if off:
        raise Conflict("not_to_print", _("Not to print: {what}."), what=_said(off, piece))


def _said(off: tuple[tuple[Limit, int], ...], piece: Piece) -> str:
    unit: Unit = "in" if piece.unit == "in" else "mm"
    words = str(_("{dimension} {value}, drawn {drawn} ({least} to {most})"))
    return "; ".join(
        words.format(
            dimension=limit.label,
            value=say_length(value, unit),
            drawn=say_length(limit.drawn_nm, unit),
            least=say_length(limit.least_nm, unit),
            most=say_length(limit.most_nm, unit),
        )
        for limit, value in off
    )


def _judge(*, by: Person, at: datetime, row: Inspection, before: Inspection | None) -> None:
    """Rejected is held. What was rejected before, and is held for that, is let go again by who
    may accept off print; a hold for anything else stays."""
    piece = Piece.objects.get(receipts=row.receipt)
    if row.verdict == Verdict.REJECTED:
        hold_piece(by=by, at=at, piece=piece, reason=row.reason)
        return
    was_rejected = before is not None and before.verdict == Verdict.REJECTED
    if was_rejected and piece.condition == Condition.HOLD:
        check_can(by, Verb.ACCEPT_OFF_PRINT)
        apply_edit(
            by=by, at=at, row=piece, key=piece.code, what="accepted after all", reason=row.reason,
            fields={"condition": Condition.NEW, "hold_reason": ""},
        )  # fmt: skip
    touch_kits_of(pieces=[piece.pk], drawings=[piece.drawing_id])

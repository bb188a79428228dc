"""Checking new tooling in against its order: pieces one by one, each with its code; or a count.

Each receipt has the uuid of the form or program that sent it: the same one again is refused, so
that a second tap makes no second piece.
"""

from __future__ import annotations

import uuid as uuids
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    Condition,
    DrawingRevision,
    Movement,
    Person,
    Piece,
    Place,
    Purchase,
    PurchaseLine,
    Receipt,
    StockLine,
    StoredFile,
    What,
)
from tooling.permissions import Verb, check_can
from tooling.queries.received import received_of
from tooling.services import allotments, corrections, files, stock, stock_lines
from tooling.services.edits import apply_edit
from tooling.services.files import Upload
from tooling.services.movements import check_place_is_used
from tooling.services.pieces import make_pieces
from tooling.services.purchases import check_order_open, close_now, lacking_of, line_key
from tooling.services.readings import CLOCKS_DIFFER
from tooling.services.touched import touch_kits_of
from tooling.services.write import writing

CERTIFICATE_TYPE = "application/pdf"


@dataclass(frozen=True)
class Papers:
    """What came with it: the heat lot, and its certificate as a file or as that of a receipt
    before."""

    heat_lot: str = ""
    certificate: Upload | None = None
    certificate_of: Receipt | None = None
    note: str = ""


NO_PAPERS = Papers()


def receive_piece(
    *,
    by: Person,
    at: datetime,
    line: PurchaseLine,
    place: Place,
    revision: DrawingRevision | None = None,
    mark: str | None = None,
    copy_letter: str | None = None,
    papers: Papers = NO_PAPERS,
    uuid: uuids.UUID | None = None,
    happened_at: datetime | None = None,
) -> Receipt:
    """One piece came: it gets its code, mark and place, is new, and is the order's owner's.

    ``revision``: what stands on the piece or its papers. It fills the first empty position of the
    line's copy. Raises NotAllowed, ``order_closed``, ``wrong_revision``, ``over_receipt``,
    ``received_twice``, ``comes_by_count``, ``place_not_used``, ``in_the_future``, and what the
    certificate raises: ``not_a_certificate``, ``empty_file``, ``file_too_large``.
    """
    check_can(by, Verb.RECEIVE_TOOLING)
    _check_asked(line, revision, by_count=False)
    check_place_is_used(place)
    kept = _certificate(papers, at)
    with writing():
        fresh = _take(line=line, quantity=1, uuid=uuid, happened_at=happened_at, at=at)
        letter = fresh.set_copy.letter if fresh.set_copy else ""
        piece = make_pieces(
            by=by,
            at=at,
            revision=fresh.revision,
            owner=fresh.purchase.owner,
            place=place,
            reason=line_key(fresh),
            condition=Condition.NEW,
            mark=_text(fresh.mark if mark is None else mark, 40),
            copy_letter=_text(letter if copy_letter is None else copy_letter, 4),
            heat_lot=_text(papers.heat_lot, 40),
            value_cents=fresh.price_cents,
        )[0]
        if fresh.set_copy is not None:
            allotments.fill_next(by=by, at=at, copy=fresh.set_copy, piece=piece)
        row = _receipt(
            by=by, at=at, line=fresh, uuid=uuid, happened_at=happened_at, papers=papers,
            kept=kept, piece=piece,
        )  # fmt: skip
        _close_when_all_came(by=by, at=at, purchase=fresh.purchase)
    return row


def receive_counted(
    *,
    by: Person,
    at: datetime,
    line: PurchaseLine,
    quantity: int,
    place: Place,
    revision: DrawingRevision | None = None,
    papers: Papers = NO_PAPERS,
    uuid: uuids.UUID | None = None,
    happened_at: datetime | None = None,
) -> Receipt:
    """So many came and lie in the bin at this place, which is made when there is none.

    Raises as ``receive_piece``, ``comes_one_by_one``, ``absurd_quantity``.
    """
    check_can(by, Verb.RECEIVE_TOOLING)
    _check_asked(line, revision, by_count=True)
    check_place_is_used(place)
    if quantity < 1:
        raise ToolingError(
            "absurd_quantity",
            _("{quantity} cannot be a number of pieces here. Write a whole number from 1 on."),
            quantity=quantity,
            in_field="quantity",
        )
    kept = _certificate(papers, at)
    with writing():
        fresh = _take(line=line, quantity=quantity, uuid=uuid, happened_at=happened_at, at=at)
        bin_there = _bin(by=by, at=at, line=fresh, place=place)
        stock.receive(by=by, at=at, line=bin_there, quantity=quantity, note=_note(fresh))
        row = _receipt(
            by=by, at=at, line=fresh, uuid=uuid, happened_at=happened_at, papers=papers,
            kept=kept, stock_line=bin_there, quantity=quantity,
        )  # fmt: skip
        _close_when_all_came(by=by, at=at, purchase=fresh.purchase)
    return row


def take_back(*, by: Person, at: datetime, receipt: Receipt, note: str = "") -> Receipt:
    """It was written down by mistake. A count goes back out of its bin; the piece that was made
    is held, fills no position any more, and its code is not used again.

    Raises NotAllowed, ``taken_back_already``, ``inspected_already``, and what taking a count out
    of its bin raises.
    """
    check_can(by, Verb.RECEIVE_TOOLING)
    with writing():
        Purchase.objects.select_for_update().get(pk=receipt.line.purchase_id)
        fresh = Receipt.objects.select_related(
            "line__purchase", "piece", "stock_line", "certificate"
        ).get(pk=receipt.pk)
        _check_may_go_back(fresh)
        row = Receipt.objects.create(
            line=fresh.line,
            piece=fresh.piece,
            stock_line=fresh.stock_line,
            quantity=fresh.quantity,
            happened_at=at,
            at=at,
            by=by,
            note=_text(note, 300),
            is_taken_back=True,
            corrects=fresh,
        )
        if fresh.piece is not None:
            _withdraw(by=by, at=at, piece=fresh.piece, line=fresh.line)
        else:
            corrections.undo(by=by, at=at, movement=_movement_of(fresh))
        if not fresh.line.purchase.is_open:
            apply_edit(
                by=by, at=at, row=fresh.line.purchase, key=fresh.line.purchase.number,
                fields={"is_open": True}, what="reopened",
            )  # fmt: skip
    return row


def _check_asked(line: PurchaseLine, revision: DrawingRevision | None, *, by_count: bool) -> None:
    if line.is_counted != by_count:
        raise Conflict(
            "comes_one_by_one" if by_count else "comes_by_count",
            _("{line} comes one piece at a time, each with its own code.")
            if by_count
            else _("{line} comes into a bin by count."),
            line=line_key(line),
        )
    if revision is not None and revision.pk != line.revision_id:
        raise Conflict(
            "wrong_revision",
            _("{drawing} revision {wanted} is on order; this is {got}. Set it aside and ask the "
              "engineer, who can order the other revision on a line of its own."),
            drawing=line.revision.drawing.number,
            wanted=line.revision.revision,
            got=revision.revision
            if revision.drawing_id == line.revision.drawing_id
            else f"{revision.drawing.number} {revision.revision}",
            in_field="revision",
        )  # fmt: skip


def _take(
    *,
    line: PurchaseLine,
    quantity: int,
    uuid: uuids.UUID | None,
    happened_at: datetime | None,
    at: datetime,
) -> PurchaseLine:
    """The line, its order held until the end of the write, if so many may still come."""
    Purchase.objects.select_for_update().get(pk=line.purchase_id)
    rows = PurchaseLine.objects.select_related(
        "purchase__owner", "revision__drawing", "set_copy__tool_set"
    )
    fresh = rows.get(pk=line.pk)
    _check_not_yet_received(uuid)
    check_order_open(fresh.purchase)
    if happened_at is not None and happened_at > at + CLOCKS_DIFFER:
        raise ToolingError(
            "in_the_future",
            _("{moment} is still to come. Write when it came."),
            moment=f"{timezone.localtime(happened_at):%Y-%m-%d %H:%M}",
            in_field="happened_at",
        )
    came = received_of([fresh.pk]).get(fresh.pk, 0)
    if came + quantity > fresh.quantity:
        raise Conflict(
            "over_receipt",
            _("{ordered} of {drawing} are on order and {came} came; {quantity} more are not "
              "expected. Count again, or have the order changed."),
            ordered=fresh.quantity,
            drawing=fresh.revision.drawing.number,
            came=came,
            quantity=quantity,
            in_field="quantity",
        )  # fmt: skip
    return fresh


def _check_not_yet_received(uuid: uuids.UUID | None) -> None:
    before = Receipt.objects.filter(uuid=uuid).first() if uuid is not None else None
    if before is not None:
        raise Conflict(
            "received_twice",
            _("That was received already, as {what}. Nothing was written down twice."),
            what=before.piece.code if before.piece else before.stock_line.code,  # type: ignore[union-attr]
        )


def _certificate(papers: Papers, at: datetime) -> tuple[StoredFile | None, str]:
    if papers.certificate is not None:
        upload = papers.certificate
        files.check_upload(upload)
        head = next(iter(upload.chunks(4096)), b"")
        if files.content_type(head) != CERTIFICATE_TYPE:
            raise ToolingError(
                "not_a_certificate",
                _("{name} is not a PDF inside. Save or scan the certificate as one."),
                name=_text(upload.name or "", 160),
                in_field="certificate",
            )
        return files.store_upload(upload=upload, at=at), _text(upload.name or "", 160)
    before = papers.certificate_of
    return (before.certificate, before.certificate_name) if before else (None, "")


def _receipt(
    *,
    by: Person,
    at: datetime,
    line: PurchaseLine,
    uuid: uuids.UUID | None,
    happened_at: datetime | None,
    papers: Papers,
    kept: tuple[StoredFile | None, str],
    **subject: Any,
) -> Receipt:
    return Receipt.objects.create(
        uuid=uuid or uuids.uuid4(),
        line=line,
        heat_lot=_text(papers.heat_lot, 40),
        certificate=kept[0],
        certificate_name=kept[1],
        happened_at=happened_at or at,
        at=at,
        by=by,
        note=_text(papers.note, 300),
        **subject,
    )


def _bin(*, by: Person, at: datetime, line: PurchaseLine, place: Place) -> StockLine:
    same = {
        "drawing": line.revision.drawing,
        "place": place,
        "owner": line.purchase.owner,
        "condition": Condition.SOUND,
    }
    there = StockLine.objects.filter(**same).first()
    return there or stock_lines.create_line(by=by, at=at, **same)  # type: ignore[arg-type]


def _close_when_all_came(*, by: Person, at: datetime, purchase: Purchase) -> None:
    if lacking_of(purchase) == 0:
        close_now(by=by, at=at, purchase=purchase, reason=str(_("all of it came")))


def _check_may_go_back(receipt: Receipt) -> None:
    if receipt.is_taken_back or hasattr(receipt, "corrected_by"):
        raise Conflict("taken_back_already", _("That receipt was taken back already."))
    if receipt.inspections.exists():
        raise Conflict(
            "inspected_already",
            _("{code} was measured to print since, so it did come. Reject it instead."),
            code=receipt.piece.code if receipt.piece else "",
        )


def _withdraw(*, by: Person, at: datetime, piece: Piece, line: PurchaseLine) -> None:
    allotments.take_away(by=by, at=at, piece=piece)
    why = str(_("written down by mistake for {line}; no such piece came")).format(
        line=line_key(line)
    )
    apply_edit(
        by=by, at=at, row=piece, key=piece.code, what="receipt taken back", reason=why,
        fields={"condition": Condition.HOLD, "hold_reason": why[:200]},
    )  # fmt: skip
    touch_kits_of(pieces=[piece.pk], drawings=[piece.drawing_id])


def _movement_of(receipt: Receipt) -> Movement:
    """The movement that put the count into its bin, written in the receipt's own transaction."""
    return Movement.objects.filter(
        stock=receipt.stock_line,
        what=What.RECEIVE,
        received_at=receipt.at,
        quantity=receipt.quantity,
        note=_note(receipt.line),
        corrected_by=None,
    ).latest("pk")


def _note(line: PurchaseLine) -> str:
    return str(_("order {line}")).format(line=line_key(line))[:200]


def _text(text: str, longest: int) -> str:
    return " ".join(text.split())[:longest]

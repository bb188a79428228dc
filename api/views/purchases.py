"""Orders for new tooling: made, changed, received against, measured to print."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.parsers import JSONParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.purchases import (
    CreatePurchaseIn,
    EditPurchaseIn,
    InspectIn,
    OrderLineIn,
    PurchaseOut,
    PurchaseRowOut,
    ReceiptDetailOut,
    ReceiveIn,
    TakeReceiptBackIn,
)
from tooling.models import DIMENSIONS, Piece, Receipt
from tooling.permissions import Verb
from tooling.queries.by_code import (
    copy_of,
    drawing_of,
    gauge_of,
    owner_of,
    place_of,
    revision_of,
    set_of,
)
from tooling.queries.print_limits import print_limits
from tooling.queries.purchases import find_line, find_purchase, purchase_list, purchase_page
from tooling.queries.receipts import find_receipt, receipt_page
from tooling.services import inspection, purchases, receiving
from tooling.services.inspection import Measured
from tooling.services.purchases import LineIn
from tooling.services.receiving import Papers


class Purchases(Door):
    """Open orders, the first due first; ``?closed=1``: the closed ones."""

    verbs = {"POST": Verb.ORDER_TOOLING}

    @extend_schema(responses=PurchaseRowOut(many=True))
    def get(self, request: Request) -> Response:
        closed = request.query_params.get("closed", "") in ("1", "true")
        rows = purchase_list(today=timezone.localdate(), closed=closed)
        return Response(PurchaseRowOut(rows, many=True).data)

    @extend_schema(request=CreatePurchaseIn, responses={201: PurchaseOut})
    def post(self, request: Request) -> Response:
        values = given(CreatePurchaseIn, request)
        values["owner"] = owner_of(values["owner"])
        values["lines"] = [_line(dict(line)) for line in values["lines"]]
        made = purchases.create_purchase(by=by(request), at=timezone.now(), **values)
        return _order(made.number, 201)


class OnePurchase(Door):
    """One order with its lines and what came against each."""

    verbs = {"PATCH": Verb.ORDER_TOOLING}

    @extend_schema(responses=PurchaseOut)
    def get(self, request: Request, number: str) -> Response:
        return _order(number)

    @extend_schema(request=EditPurchaseIn, responses=PurchaseOut)
    def patch(self, request: Request, number: str) -> Response:
        """Change it, close it, open it again."""
        row, values = find_purchase(number), given(EditPurchaseIn, request)
        way: dict[str, Any] = {"by": by(request), "at": timezone.now(), "purchase": row}
        is_open, reason = values.pop("is_open", None), values.pop("reason")
        if "owner" in values:
            values["owner"] = owner_of(values["owner"])
        if values:
            purchases.edit_purchase(**way, **values)
        if is_open is True:
            purchases.reopen(**way)
        elif is_open is False:
            purchases.close(**way, reason=reason)
        return _order(row.number)


class PurchaseLines(Door):
    """A further line."""

    verbs = {"POST": Verb.ORDER_TOOLING}

    @extend_schema(request=OrderLineIn, responses={201: PurchaseOut})
    def post(self, request: Request, number: str) -> Response:
        row, line = find_purchase(number), _line(given(OrderLineIn, request))
        purchases.add_line(by=by(request), at=timezone.now(), purchase=row, line=line)
        return _order(row.number, 201)


class OnePurchaseLine(Door):
    """Put a line right, or take it out."""

    verbs = {"PUT": Verb.ORDER_TOOLING, "DELETE": Verb.ORDER_TOOLING}

    @extend_schema(request=OrderLineIn, responses=PurchaseOut)
    def put(self, request: Request, number: str, line: int) -> Response:
        row = find_line(find_purchase(number), line)
        asked = _line(given(OrderLineIn, request))
        purchases.edit_line(by=by(request), at=timezone.now(), row=row, line=asked)
        return _order(row.purchase.number)

    @extend_schema(responses=PurchaseOut)
    def delete(self, request: Request, number: str, line: int) -> Response:
        row = find_line(find_purchase(number), line)
        purchases.remove_line(by=by(request), at=timezone.now(), row=row)
        return _order(row.purchase.number)


class ReceiveLine(Door):
    """One piece came, or so many of a count."""

    verbs = {"POST": Verb.RECEIVE_TOOLING}
    parser_classes = [JSONParser, MultiPartParser]

    @extend_schema(request=ReceiveIn, responses={201: ReceiptDetailOut})
    def post(self, request: Request, number: str, line: int) -> Response:
        row, values = find_line(find_purchase(number), line), given(ReceiveIn, request)
        before = values.pop("certificate_of", None)
        shared: dict[str, Any] = {
            "by": by(request),
            "at": timezone.now(),
            "line": row,
            "place": place_of(values["place"]),
            "uuid": values.get("id"),
            "happened_at": values.get("happened_at"),
            "papers": Papers(
                heat_lot=values["heat_lot"],
                certificate=values.get("certificate"),
                certificate_of=find_receipt(before) if before is not None else None,
                note=values["note"],
            ),
        }
        if "revision" in values:
            shared["revision"] = revision_of(row.revision.drawing, values["revision"])
        if "quantity" in values or row.is_counted:
            made = receiving.receive_counted(quantity=values.get("quantity", 0), **shared)
        else:
            mark, letter = values.get("mark"), values.get("copy_letter")
            made = receiving.receive_piece(mark=mark, copy_letter=letter, **shared)
        return _receipt(made, 201)


class OneReceipt(Door):
    """What came, and how it stands against the print."""

    @extend_schema(responses=ReceiptDetailOut)
    def get(self, request: Request, receipt: int) -> Response:
        return _receipt(find_receipt(receipt))


class TakeBackReceipt(Door):
    """It was written down by mistake."""

    verbs = {"POST": Verb.RECEIVE_TOOLING}

    @extend_schema(request=TakeReceiptBackIn, responses=ReceiptDetailOut)
    def post(self, request: Request, receipt: int) -> Response:
        row, values = find_receipt(receipt), given(TakeReceiptBackIn, request)
        receiving.take_back(by=by(request), at=timezone.now(), receipt=row, **values)
        return _receipt(row)


class InspectReceipt(Door):
    """Write down what it measures, with the verdict."""

    verbs = {"POST": Verb.RECEIVE_TOOLING}

    @extend_schema(request=InspectIn, responses={201: ReceiptDetailOut})
    def post(self, request: Request, receipt: int) -> Response:
        row, values = find_receipt(receipt), given(InspectIn, request)
        gauge = values.pop("gauge")
        sizes = {name: values.pop(f"{name}_nm", None) for name in DIMENSIONS}
        inspection.inspect(
            by=by(request),
            at=timezone.now(),
            receipt=row,
            measured={name: Measured(nm) for name, nm in sizes.items() if nm is not None},
            gauge=gauge_of(gauge) if gauge else None,
            **values,
        )
        return _receipt(row, 201)


def _line(values: dict[str, Any]) -> LineIn:
    """A line as it was sent, with its rows found."""
    copy = values.get("copy")
    if (copy is None) != (values.get("set") is None):
        raise serializers.ValidationError({"copy": ["Name both the set and its copy."]})
    return LineIn(
        revision=revision_of(drawing_of(values["drawing"]), values["revision"]),
        quantity=values["quantity"],
        is_counted=values["is_counted"],
        set_copy=copy_of(set_of(values["set"]), copy) if copy else None,
        mark=values["mark"],
        price_cents=purchases.read_price(values["price"]),
        reason=values["reason"],
    )


def _order(number: str, status: int = 200) -> Response:
    return answer(PurchaseOut, purchase_page(number, today=timezone.localdate()), status)


def _receipt(row: Receipt, status: int = 200) -> Response:
    page = receipt_page(row.pk)
    piece = Piece.objects.filter(pk=row.piece_id).first() if row.piece_id else None
    limits = print_limits(row.line.revision) if piece else ()
    sizes = [_size(limit, getattr(piece, f"now_{limit.name}_nm")) for limit in limits]
    record = {**vars(page.view), "order": page.order, "line": page.line, "sizes": sizes}
    return answer(ReceiptDetailOut, record, status)


def _size(limit: Any, now_nm: int | None) -> dict[str, Any]:
    known = now_nm is not None
    return {
        "limit": limit,
        "now_nm": now_nm,
        "deviation_nm": limit.deviation_of(now_nm) if known else None,
        "is_within": limit.holds(now_nm) if known else None,
    }

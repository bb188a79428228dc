"""Pooled stock: bins of spacers, shims, keys and nuts that are only counted."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, ListDoor, answer, by, given
from api.filters import StockFilter
from api.paging import Keyset
from api.serializers.stock import ChangeStockIn, CreateStockIn, EditStockIn, StockOut
from tooling.permissions import Verb, check_can
from tooling.queries.by_code import drawing_of, owner_of, place_of, stock_of
from tooling.queries.record_rows import stock_lines
from tooling.queries.scans import is_recorded
from tooling.services import stock, stock_hand
from tooling.services import stock_lines as services


class Stock(ListDoor):
    """Bins by code."""

    verbs = {"POST": Verb.COUNT_STOCK}
    queryset = stock_lines()
    filter_backends = [DjangoFilterBackend]
    filterset_class = StockFilter
    pagination_class = Keyset

    @extend_schema(responses=StockOut(many=True))
    def get(self, request: Request) -> Response:
        return self.page_of(StockOut)

    @extend_schema(request=CreateStockIn, responses={201: StockOut})
    def post(self, request: Request) -> Response:
        """A new bin; it gets a label code."""
        values = given(CreateStockIn, request)
        made = services.create_line(
            by=by(request),
            at=timezone.now(),
            drawing=drawing_of(values.pop("drawing")),
            place=place_of(values.pop("place")),
            owner=owner_of(values.pop("owner", "")),
            **values,
        )
        return _line(made.code, 201)


class OneStock(Door):
    """One bin."""

    verbs = {"PATCH": Verb.COUNT_STOCK}

    @extend_schema(responses=StockOut)
    def get(self, request: Request, code: str) -> Response:
        return _line(stock_of(code).code)

    @extend_schema(request=EditStockIn, responses=StockOut)
    def patch(self, request: Request, code: str) -> Response:
        """Below how many the bin is short. The count itself changes by what happens to it."""
        line, values = stock_of(code), given(EditStockIn, request)
        services.set_least(by=by(request), at=timezone.now(), line=line, **values)
        return _line(line.code)


class ChangeStock(Door):
    """Count, receive, make, use up, scrap or move some of a bin."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(request=ChangeStockIn, responses=StockOut)
    def post(self, request: Request, code: str) -> Response:
        line, values = stock_of(code), given(ChangeStockIn, request)
        _change(values, {"by": by(request), "at": timezone.now(), "line": line})
        return _line(line.code)


def _change(values: dict[str, Any], shared: dict[str, Any]) -> None:
    what, quantity, to = values["what"], values["quantity"], values.get("to")
    if what != "move":
        check_can(shared["by"], Verb.USE_STOCK if what == "use_up" else Verb.COUNT_STOCK)
    key = values.get("id")
    if key is not None and is_recorded(key):
        return
    shared = {**shared, "id": key}
    if what == "move":
        if not to:
            raise serializers.ValidationError({"to": [str(_("Say where it goes."))]})
        stock_hand.take(quantity=quantity, to=to, **shared)
        return
    shared["note"] = values["note"]
    if what == "count":
        stock.count(counted=quantity, **shared)
    else:
        getattr(stock, what)(quantity=quantity, **shared)


def _line(code: str, status: int = 200) -> Response:
    return answer(StockOut, stock_lines().get(code=code), status)

"""A bin by hand, for programs: what happened to it, putting a row right, counts back to their bins,
and what to make or buy."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, by, given
from api.serializers.stock import (
    CountsBackIn,
    MovedCountOut,
    NeedOut,
    PutBackIn,
    StockNewsOut,
    StockOut,
    UndoStockIn,
)
from tooling.permissions import Verb
from tooling.queries.by_code import place_of, stock_of
from tooling.queries.record_rows import stock_lines
from tooling.queries.stock_needs import stock_needs
from tooling.queries.stock_news import stock_news
from tooling.services import corrections, stock_hand
from tooling.services.movements import find_movement
from tooling.services.stock_home import put_counts_back


class StockHistory(Door):
    """The last rows of a bin, newest first."""

    @extend_schema(responses=StockNewsOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        return Response(StockNewsOut(stock_news(stock_of(code).code), many=True).data)


class UndoStock(Door):
    """Put one row right: as if it had not been."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(request=UndoStockIn, responses=StockOut)
    def post(self, request: Request, code: str) -> Response:
        line, key = stock_of(code), given(UndoStockIn, request)["movement"]
        corrections.undo(by=by(request), at=timezone.now(), movement=find_movement(key))
        return Response(StockOut(stock_lines().get(code=line.code)).data)


class PutBackStock(Door):
    """Put some of what lies elsewhere back into the bin; without a number all of it."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(request=PutBackIn, responses=StockOut)
    def post(self, request: Request, code: str) -> Response:
        line, values = stock_of(code), given(PutBackIn, request)
        source = stock_of(values.pop("from_code"))
        stock_hand.put_back(by=by(request), at=timezone.now(), line=line, source=source, **values)
        return Response(StockOut(stock_lines().get(code=line.code)).data)


class CountsBack(Door):
    """Everything counted in a place goes back to the bins that it was taken from."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(request=CountsBackIn, responses=MovedCountOut(many=True))
    def post(self, request: Request, code: str) -> Response:
        values = given(CountsBackIn, request)
        rows = put_counts_back(
            by=by(request), at=timezone.now(), source=place_of(code), act=values.get("id")
        )
        return Response(MovedCountOut(rows, many=True).data)


class StockNeeds(Door):
    """What to make or buy, the first needed first; ``all`` gives everything counted."""

    @extend_schema(
        responses=NeedOut(many=True), parameters=[OpenApiParameter("all", bool, required=False)]
    )
    def get(self, request: Request) -> Response:
        everything = request.query_params.get("all", "").lower() in ("1", "true")
        needs = stock_needs(at=timezone.now(), everything=everything)
        return Response(NeedOut(needs, many=True).data)

"""Filling the shafts of a kit: start, read, pin, swap, by hand, take out."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.kit_fill import (
    ByHandIn,
    ClearIn,
    FillPageOut,
    NotThereIn,
    PinFillIn,
    StartFillIn,
    SwapIn,
)
from api.serializers.kits import KitOut
from api.views.kits import FillKit
from tooling.models import KitPosition
from tooling.permissions import Verb
from tooling.queries.by_code import stock_of
from tooling.queries.fill_page import fill_page
from tooling.queries.kits import find_kit, position_at
from tooling.services import fill_acts, fills
from tooling.services.fill_bins import Really


class KitFill(FillKit):
    """How the shafts of a kit are filled. An empty POST has them filled: 202, read it again until
    the task is over. A POST that names a position chooses what fills that one."""

    @extend_schema(responses=FillPageOut)
    def get(self, request: Request, number: str) -> Response:
        return _page(number)

    @extend_schema(request=StartFillIn, responses={200: KitOut, 202: FillPageOut})
    def post(self, request: Request, number: str) -> Response:
        if isinstance(request.data, dict) and request.data:
            return super().post(request, number)
        kit = find_kit(number)
        fills.ask_fill(by=by(request), at=timezone.now(), kit=kit)
        return _page(kit.number, 202)


class ClearFills(Door):
    """Take the spacers out of one shaft, or of all that are not mounted."""

    verbs = {"POST": Verb.GATHER_KITS}

    @extend_schema(request=ClearIn, responses=FillPageOut)
    def post(self, request: Request, number: str) -> Response:
        values, kit = given(ClearIn, request), find_kit(number)
        fills.clear(**_signed(request), kit=kit, **values)
        return _page(kit.number)


class NotThere(Door):
    """A spacer is not where it should be: another stack is looked for, of that shaft alone."""

    verbs = {"POST": Verb.GATHER_KITS}

    @extend_schema(request=NotThereIn, responses={202: FillPageOut})
    def post(self, request: Request, number: str) -> Response:
        values = given(NotThereIn, request)
        row, really = _row(number, values), None
        if "bin" in values and "there" in values:
            really = Really(stock_of(values["bin"]), values["there"])
        fills.not_there(**_signed(request), kit=row.kit, position=row, really=really)
        return _page(row.kit.number, 202)


class PinFill(Door):
    """The fill of this spacer stays as it is when the rest is solved again, or may change."""

    verbs = {"POST": Verb.GATHER_KITS}

    @extend_schema(request=PinFillIn, responses=FillPageOut)
    def post(self, request: Request, number: str) -> Response:
        values = given(PinFillIn, request)
        row = _row(number, values)
        fill_acts.pin(**_signed(request), kit=row.kit, position=row, is_pinned=values["is_pinned"])
        return _page(row.kit.number)


class SwapSpacer(Door):
    """One spacer for another; the fill is pinned."""

    verbs = {"POST": Verb.GATHER_KITS}

    @extend_schema(request=SwapIn, responses=FillPageOut)
    def post(self, request: Request, number: str) -> Response:
        values = given(SwapIn, request)
        row = _row(number, values)
        fill_acts.swap(**_signed(request), kit=row.kit, position=row, code=values["code"])
        return _page(row.kit.number)


class FillByHand(Door):
    """A fill put together by a person, held to the same rules; it is pinned."""

    verbs = {"POST": Verb.GATHER_KITS}

    @extend_schema(request=ByHandIn, responses=FillPageOut)
    def post(self, request: Request, number: str) -> Response:
        values, kit = given(ByHandIn, request), find_kit(number)
        fill_acts.by_hand(**_signed(request), kit=kit, **values)
        return _page(kit.number)


def _signed(request: Request) -> dict[str, Any]:
    return {"by": by(request), "at": timezone.now()}


def _row(number: str, values: dict[str, Any]) -> KitPosition:
    """The kit's position. Raises Unknown ``unknown_kit``, ``unknown_position``."""
    kit = find_kit(number)
    row = position_at(kit, station=values["station"], shaft=values["shaft"], order=values["order"])
    row.kit = kit
    return row


def _page(number: str, status: int = 200) -> Response:
    return answer(FillPageOut, fill_page(number), status)

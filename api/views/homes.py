"""Where things belong, and putting them there."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.loans import (
    ActIn,
    BelongsOut,
    CountOut,
    HomeIn,
    PutAwayOut,
    PutStopIn,
    SaidOut,
)
from tooling.models import Piece, Place, StockLine
from tooling.permissions import Verb
from tooling.queries.by_code import copy_of, place_of, set_of
from tooling.queries.homes import belongs, home_of
from tooling.queries.piece_or_bin import piece_or_bin
from tooling.queries.put_away import put_away
from tooling.services import homes
from tooling.services.put_away import put_stop_away


class PieceHome(Door):
    """Where a piece, or what is in a bin, belongs. To put it there, scan it there."""

    verbs = {"PUT": Verb.EDIT_PLACES}

    @extend_schema(responses=BelongsOut)
    def get(self, request: Request, code: str) -> Response:
        piece, line = piece_or_bin(code)
        return _belongs(piece if piece is not None else line)

    @extend_schema(request=HomeIn, responses=SaidOut)
    def put(self, request: Request, code: str) -> Response:
        """Say where a piece belongs."""
        home = _place(given(HomeIn, request)["home"])
        piece = piece_of_code(code)
        said = homes.set_piece_home(by=by(request), at=timezone.now(), piece=piece, home=home)
        return answer(SaidOut, said)


def piece_of_code(code: str) -> Piece:
    """By label code; a bin has the home of its like and none of its own."""
    piece, _line = piece_or_bin(code)
    if piece is None:
        raise homes.no_home_of_a_bin(code)
    return piece


class PlaceHome(Door):
    """Where a cart or plate stands when nobody uses it."""

    verbs = {"PUT": Verb.EDIT_PLACES}

    @extend_schema(responses=BelongsOut)
    def get(self, request: Request, code: str) -> Response:
        return _belongs(place_of(code))

    @extend_schema(request=HomeIn, responses=SaidOut)
    def put(self, request: Request, code: str) -> Response:
        home, cart = _place(given(HomeIn, request)["home"]), place_of(code)
        said = homes.set_cart_home(by=by(request), at=timezone.now(), cart=cart, home=home)
        return answer(SaidOut, said)


class BelongsHere(Door):
    """What lies in the place now, or in places inside it, belongs where it lies."""

    verbs = {"POST": Verb.EDIT_PLACES}

    @extend_schema(request=None, responses=SaidOut)
    def post(self, request: Request, code: str) -> Response:
        said = homes.belongs_here(by=by(request), at=timezone.now(), place=place_of(code))
        return answer(SaidOut, said)


class CopyBelongsHere(Door):
    """Each piece of the copy belongs where it lies now."""

    verbs = {"POST": Verb.EDIT_PLACES}

    @extend_schema(request=None, responses=SaidOut)
    def post(self, request: Request, number: str, letter: str) -> Response:
        copy = copy_of(set_of(number), letter)
        said = homes.copy_belongs_here(by=by(request), at=timezone.now(), copy=copy)
        return answer(SaidOut, said)


class UndoHomes(Door):
    """What was said in one act is taken back, where nobody said otherwise since."""

    verbs = {"POST": Verb.EDIT_PLACES}

    @extend_schema(request=ActIn, responses=CountOut)
    def post(self, request: Request) -> Response:
        act = given(ActIn, request)["act"]
        return Response({"count": homes.take_back(by=by(request), at=timezone.now(), act=act)})


class PutAwayFrom(Door):
    """What lies on a cart or in a place, by where it belongs, in walking order."""

    verbs = {"POST": Verb.MOVE_PIECES}

    @extend_schema(responses=PutAwayOut)
    def get(self, request: Request, code: str) -> Response:
        return answer(PutAwayOut, put_away(place_of(code).code, at=timezone.now()))

    @extend_schema(request=PutStopIn, responses=PutAwayOut)
    def post(self, request: Request, code: str) -> Response:
        """All that belongs at one stop is there now; ``loans/{act}/undo/`` takes it back."""
        values, source = given(PutStopIn, request), place_of(code)
        act = put_stop_away(
            by=by(request),
            at=timezone.now(),
            source=source,
            stop=values["stop"],
            act=values.get("id"),
        )
        told: dict[str, Any] = dict(PutAwayOut(put_away(source.code, at=timezone.now())).data)
        return Response({**told, "act": str(act)})


def _place(code: str | None) -> Place | None:
    return place_of(code) if code else None


def _belongs(subject: Piece | StockLine | Place | None) -> Response:
    assert subject is not None
    return answer(BelongsOut, belongs(subject, home_of(subject)))

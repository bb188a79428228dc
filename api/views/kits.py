"""Jobs and their kits: plan, open, assemble, fill, close."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, confirm, given
from api.serializers.kits import (
    AssembleIn,
    CloseKitIn,
    EditKitIn,
    FillIn,
    KitOut,
    KitRowOut,
    OpenKitIn,
    ProveIn,
)
from tooling.models import Kit, KitPosition
from tooling.permissions import Verb
from tooling.queries.by_code import copy_of, place_of
from tooling.queries.jobs import job_of
from tooling.queries.kits import find_kit, kit_list, kit_page, position_at
from tooling.queries.piece_or_bin import piece_or_bin
from tooling.services import kits as services
from tooling.services import proving


class Kits(Door):
    """Open kits by the start of their jobs."""

    verbs = {"POST": Verb.GATHER_KITS}

    @extend_schema(responses=KitRowOut(many=True))
    def get(self, request: Request) -> Response:
        rows = [row for row in kit_list(at=timezone.now()) if row.number]
        return Response(KitRowOut(rows, many=True).data)

    @extend_schema(request=OpenKitIn, responses={201: KitOut})
    def post(self, request: Request) -> Response:
        """A kit for a planned job, with nothing chosen yet."""
        values, at = given(OpenKitIn, request), timezone.now()
        job = job_of(values["job"])
        place = place_of(values["place"]) if "place" in values else None
        kit = services.open_kit(by=by(request), at=at, job=job, place=place)
        return _kit(kit.number, 201)


class OneKit(Door):
    """One kit with every position."""

    verbs = {"PATCH": Verb.GATHER_KITS}

    @extend_schema(responses=KitOut)
    def get(self, request: Request, number: str) -> Response:
        return _kit(number)

    @extend_schema(request=EditKitIn, responses=KitOut)
    def patch(self, request: Request, number: str) -> Response:
        """Where it is gathered."""
        code = given(EditKitIn, request)["place"]
        kit, place = find_kit(number), place_of(code) if code else None
        services.set_gathering_place(by=by(request), at=timezone.now(), kit=kit, place=place)
        return _kit(kit.number)


class AssembleKit(Door):
    """Take one copy whole and fill what it lacks. Repeating it changes nothing."""

    verbs = {"POST": Verb.GATHER_KITS}

    @extend_schema(request=AssembleIn, responses=KitOut)
    def post(self, request: Request, number: str) -> Response:
        kit, letter = find_kit(number), given(AssembleIn, request).get("copy")
        copy = copy_of(kit.job.tool_set, letter) if letter else None
        services.assemble(by=by(request), at=timezone.now(), kit=kit, copy=copy)
        return _kit(kit.number)


class CloseKit(Door):
    """End the kit: complete, or short with a reason."""

    verbs = {"POST": Verb.GATHER_KITS}

    @extend_schema(request=CloseKitIn, responses=KitOut)
    def post(self, request: Request, number: str) -> Response:
        kit, values = find_kit(number), given(CloseKitIn, request)
        services.close(by=by(request), at=timezone.now(), kit=kit, **values)
        return _kit(kit.number)


class ProveKit(Door):
    """The closed kit's job ran good: its new pieces are sound, the set's chart is proved."""

    verbs = {"POST": Verb.PROVE_SETS}

    @extend_schema(request=ProveIn, responses=KitOut)
    def post(self, request: Request, number: str) -> Response:
        kit, values = find_kit(number), given(ProveIn, request)
        confirm(request)
        proving.prove_set(by=by(request), at=timezone.now(), kit=kit, **values)
        return _kit(kit.number)


class FillKit(Door):
    """Choose what fills one position, claim nothing for it, or let the kit fill it."""

    verbs = {"POST": Verb.GATHER_KITS}

    @extend_schema(request=FillIn, responses=KitOut)
    def post(self, request: Request, number: str) -> Response:
        kit, values = find_kit(number), given(FillIn, request)
        row = position_at(
            kit, station=values["station"], shaft=values["shaft"], order=values["order"]
        )
        _fill(kit, row, values, {"by": by(request), "at": timezone.now(), "kit": kit})
        return _kit(kit.number)


def _fill(kit: Kit, row: KitPosition, values: dict[str, Any], shared: dict[str, Any]) -> None:
    if "code" not in values:
        services.assemble(**shared)
        return
    shared = {**shared, "position": row, "reason": values["reason"]}
    if values["code"] is None:
        services.release(**shared)
        return
    piece, line = piece_or_bin(values["code"])
    services.choose(**shared, piece=piece, line=line)


def _kit(number: str, status: int = 200) -> Response:
    return answer(KitOut, kit_page(number, at=timezone.now()), status)

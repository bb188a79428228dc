"""Incidents; stopping pieces, saying their condition, lifting holds."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.paging import Keyset, asked_after, paged
from api.serializers.pictures import (
    ConditionIn,
    ConditionOut,
    IncidentDetailOut,
    IncidentIn,
    IncidentOut,
    IncidentsAsked,
    StopIn,
    UndoConditionIn,
)
from tooling.permissions import Verb
from tooling.queries.by_code import mill_of, piece_of
from tooling.queries.holds import change_row
from tooling.queries.incidents import incident_list, incident_page, incident_row
from tooling.queries.kits import find_kit
from tooling.services import holds, incidents
from tooling.services.incidents import Touched, Where


class Incidents(Door):
    """Incidents as they now stand, the newest first."""

    verbs = {"POST": Verb.STOP_PIECES}
    pagination_class = Keyset

    @extend_schema(parameters=[IncidentsAsked], responses=IncidentOut(many=True))
    def get(self, request: Request) -> Response:
        asked = IncidentsAsked(data=request.query_params)
        asked.is_valid(raise_exception=True)
        found = incident_list(**asked.validated_data, after=asked_after(request))
        return paged(request, IncidentOut(found.rows, many=True).data, found.after)

    @extend_schema(request=IncidentIn, responses={201: IncidentDetailOut})
    def post(self, request: Request) -> Response:
        """Write one down, with the condition of what it touched; or put one right."""
        values, at = given(IncidentIn, request), timezone.now()
        corrects = values.pop("corrects", None)
        made = incidents.report(
            by=by(request),
            at=at,
            kind=values["kind"],
            happened_at=values.get("happened_at") or at,
            touched=[Touched(piece_of(e["piece"]), e["condition"]) for e in values["pieces"]],
            where=_where(values),
            note=values["note"],
            uuid=values.get("uuid"),
            corrects=incident_row(corrects) if corrects else None,
        )
        return incident_answer(made.pk, 201)


class OneIncident(Door):
    """One incident with what it touched and its pictures."""

    @extend_schema(responses=IncidentDetailOut)
    def get(self, request: Request, number: int) -> Response:
        return incident_answer(number)


class UndoStop(Door):
    """The wrong piece was stopped: whoever did it takes it back within ten minutes."""

    verbs = {"POST": Verb.STOP_PIECES}

    @extend_schema(request=None, responses=IncidentDetailOut)
    def post(self, request: Request, number: int) -> Response:
        row = incident_row(number)
        made = holds.undo_stop(by=by(request), at=timezone.now(), incident=row)
        return incident_answer(made.pk)


class StopPiece(Door):
    """Hold a piece at once; the answer is the incident to put pictures with."""

    verbs = {"POST": Verb.STOP_PIECES}

    @extend_schema(request=StopIn, responses={201: IncidentDetailOut})
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(StopIn, request)
        made = holds.stop(by=by(request), at=timezone.now(), piece=piece, **values)
        return incident_answer(made.pk, 201)


class SayCondition(Door):
    """Say in which condition a piece is; a hold has its own address."""

    verbs = {"POST": Verb.STOP_PIECES}

    @extend_schema(request=ConditionIn, responses=ConditionOut)
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(ConditionIn, request)
        change = holds.say_condition(by=by(request), at=timezone.now(), piece=piece, **values)
        told = {"code": piece.code, "condition": values["condition"]}
        return answer(ConditionOut, {**told, "change": change.pk if change else None})


class UndoCondition(Door):
    """Back to the condition before the newest change, which is named."""

    verbs = {"POST": Verb.STOP_PIECES}

    @extend_schema(request=UndoConditionIn, responses=ConditionOut)
    def post(self, request: Request, code: str) -> Response:
        piece, values = piece_of(code), given(UndoConditionIn, request)
        change = change_row(piece.code, str(values["change"]))
        row = holds.undo_condition(by=by(request), at=timezone.now(), piece=piece, change=change)
        told = {"code": row.code, "condition": row.condition, "change": None}
        return answer(ConditionOut, told)


def incident_answer(number: int, status: int = 200) -> Response:
    """One incident out."""
    page = incident_page(number)
    told = {
        **{name: getattr(page.row, name) for name in page.row.__dataclass_fields__},
        "uuid": page.uuid,
        "at": page.at,
        "corrects": page.corrects,
        "corrected_by": page.newer,
        "touched": page.touched,
        "pictures": page.pictures,
    }
    return answer(IncidentDetailOut, told, status)


def _where(values: dict[str, Any]) -> Where:
    mill, kit = values["mill"], values["kit"]
    return Where(
        mill=mill_of(mill) if mill else None,
        kit=find_kit(kit) if kit else None,
        station=values.get("station"),
        set_pass=values.get("set_pass"),
    )

"""Places: racks, shelves, bins, pegs, carts, plates, and who has pieces away."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, ListDoor, answer, by, given
from api.filters import PlaceFilter
from api.paging import Keyset
from api.serializers.places import CreatePlacesIn, EditPlaceIn, PlaceOut
from tooling.permissions import Verb
from tooling.queries.by_code import owner_of, place_of
from tooling.queries.record_rows import places
from tooling.services import places as services


class Places(ListDoor):
    """Places by code."""

    verbs = {"POST": Verb.EDIT_PLACES}
    queryset = places()
    filter_backends = [DjangoFilterBackend]
    filterset_class = PlaceFilter
    pagination_class = Keyset

    @extend_schema(responses=PlaceOut(many=True))
    def get(self, request: Request) -> Response:
        return self.page_of(PlaceOut)

    @extend_schema(request=CreatePlacesIn, responses={201: PlaceOut(many=True)})
    def post(self, request: Request) -> Response:
        """Make one place or a row of them; each gets a label code."""
        values = _with_rows(given(CreatePlacesIn, request))
        name = values.pop("name")
        made = services.create_places(by=by(request), at=timezone.now(), first_name=name, **values)
        return Response(PlaceOut(made, many=True).data, status=201)


class OnePlace(Door):
    """One place."""

    verbs = {"PATCH": Verb.EDIT_PLACES}

    @extend_schema(responses=PlaceOut)
    def get(self, request: Request, code: str) -> Response:
        return answer(PlaceOut, place_of(code))

    @extend_schema(request=EditPlaceIn, responses=PlaceOut)
    def patch(self, request: Request, code: str) -> Response:
        place, values = place_of(code), _with_rows(given(EditPlaceIn, request))
        services.edit_place(by=by(request), at=timezone.now(), place=place, **values)
        return answer(PlaceOut, place_of(place.code))


def _with_rows(values: dict[str, Any]) -> dict[str, Any]:
    """Codes as the rows they name."""
    if "inside" in values:
        outer = values.pop("inside")
        values["parent"] = place_of(outer) if outer else None
    if "owner" in values:
        values["owner"] = owner_of(values["owner"]) if values["owner"] else None
    return values

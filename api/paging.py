"""Lists in pages by key: the next page begins after the last key shown, whatever was added."""

from __future__ import annotations

from typing import Any

from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param
from rest_framework.views import APIView

SIZE = 100


class Keyset(BasePagination):
    """``?after=KEY``; the answer is ``{"results": […], "next": address or null}``.

    A view says by which field its rows are keyed as ``key``.
    """

    def paginate_queryset(
        self, queryset: Any, request: Request, view: APIView | None = None
    ) -> list[Any]:
        """One page of rows in the order of their keys; one query."""
        key = str(getattr(view, "key", "code"))
        rows = list(
            queryset.order_by(key).filter(**{f"{key}__gt": asked_after(request)})[: SIZE + 1]
        )
        self.request = request
        self.after = str(getattr(rows[SIZE - 1], key)) if len(rows) > SIZE else ""
        return rows[:SIZE]

    def get_paginated_response(self, data: Any) -> Response:
        return paged(self.request, data, self.after)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {
            "type": "object",
            "required": ["results", "next"],
            "properties": {
                "results": schema,
                "next": {"type": "string", "format": "uri", "nullable": True},
            },
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        return [
            {
                "name": "after",
                "in": "query",
                "required": False,
                "schema": {"type": "string"},
                "description": "The key after which the page begins; take it from `next`.",
            }
        ]


def asked_after(request: Request) -> str:
    """The key after which the page begins."""
    return request.query_params.get("after", "").replace("\x00", "")


def paged(request: Request, results: Any, after: str) -> Response:
    """A page with the address of the next one."""
    address = request.build_absolute_uri()
    following = replace_query_param(address, "after", after) if after else None
    return Response({"results": results, "next": following})

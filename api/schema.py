"""The schema of the API: every endpoint also says how it answers when something is wrong."""

from __future__ import annotations

from typing import Any, Literal

from drf_spectacular.openapi import AutoSchema
from rest_framework import serializers


class ErrorOut(serializers.Serializer[Any]):
    """What was wrong: a stable code, a sentence for people, and the values in it."""

    code = serializers.CharField()
    message = serializers.CharField()
    detail = serializers.DictField(allow_empty=True)


SAID = {
    "400": "The request is wrong; nothing was saved.",
    "401": "Nobody is logged in.",
    "403": "The person may not do this.",
    "404": "There is no such record.",
    "405": "The address does not do this; a number with a slash in it may lead to another one.",
    "409": "The present state forbids it; nothing was saved.",
    "415": "The body is of a kind that is not read.",
    "507": "There is no room on the server's disk; nothing was saved.",
}
READS = ("400", "401", "403", "404", "405")


class HouseSchema(AutoSchema):
    """Adds the answers that every endpoint may give."""

    def _get_paginator(self) -> Any:
        """Only what is read comes in pages; several things made are a plain list."""
        return super()._get_paginator() if self.method == "GET" else None

    def _get_response_bodies(
        self, direction: Literal["request", "response"] = "response"
    ) -> dict[str, Any]:
        bodies = super()._get_response_bodies(direction)
        codes = READS if self.method == "GET" else tuple(SAID)
        for code in codes:
            if code not in bodies:
                bodies[code] = {
                    **self._get_response_for_code(ErrorOut, code, direction=direction),
                    "description": SAID[code],
                }
        return dict(sorted(bodies.items()))

"""Every error leaves as ``{"code", "message", "detail"}``."""

from __future__ import annotations

import logging
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions
from rest_framework.decorators import api_view
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import set_rollback

from tooling.errors import ToolingError, Unknown

LOG = logging.getLogger(__name__)
CODES = {
    401: "not_logged_in",
    403: "not_allowed",
    404: "unknown",
    405: "wrong_method",
    415: "wrong_content_type",
}


def answer(error: Exception, context: dict[str, Any]) -> Response:
    """DRF's exception handler: rolls a half-done write back, then says what was wrong. What
    nobody expected is logged and answered as 500 ``failed``."""
    set_rollback()
    if isinstance(error, ToolingError):
        return _response(error.status, error.code, error.message, _values(error))
    if isinstance(error, Http404):
        error = exceptions.NotFound()
    elif isinstance(error, PermissionDenied):
        error = exceptions.PermissionDenied()
    if isinstance(error, exceptions.ValidationError):
        return _response(400, "invalid", _sentence(error.detail), error.detail)
    if isinstance(error, exceptions.APIException):
        code = CODES.get(error.status_code, str(error.default_code))
        response = _response(error.status_code, code, _sentence(error.detail), {})
        header = getattr(error, "auth_header", None)
        if header:
            response["WWW-Authenticate"] = header
        return response
    LOG.error("%s failed", getattr(context.get("request"), "path", ""), exc_info=error)
    return _response(500, "failed", _("This failed; nothing was saved. The log has details."), {})


@extend_schema(exclude=True)
@api_view(["GET", "POST", "PUT", "PATCH", "DELETE"])
def no_such_address(request: Request) -> Response:
    """Whatever is not under ``/api/v1/``."""
    raise Unknown(
        "unknown",
        _("There is no {path}. Every address ends with a slash; the schema lists them."),
        path=request.path[:200],
    )


def _values(error: ToolingError) -> dict[str, str]:
    """The values of the sentence; a field by its name in the body."""
    detail = {key: str(value) for key, value in error.values.items()}
    field = detail.get("in_field", "")
    if field.endswith("_nm"):
        detail["in_field"] = f"{field.removeprefix('made_').removesuffix('_nm')}_mm"
    return detail


def _sentence(detail: Any) -> str:
    if isinstance(detail, dict):
        return "; ".join(f"{key}: {_sentence(value)}" for key, value in detail.items())
    if isinstance(detail, (list, tuple)):
        return " ".join(_sentence(value) for value in detail)
    return str(detail)


def _response(status: int, code: str, message: str, detail: Any) -> Response:
    told = detail if isinstance(detail, dict) else {"non_field_errors": detail}
    return Response({"code": code, "message": message, "detail": told}, status=status)

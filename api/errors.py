"""Every error leaves as ``{"code", "message", "detail"}``."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from tooling.errors import ToolingError

CODES = {401: "not_logged_in", 403: "not_allowed", 404: "unknown", 405: "wrong_method"}


def answer(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler: rolls a half-done write back, then says what was wrong."""
    set_rollback()
    if isinstance(error, ToolingError):
        detail = {key: str(value) for key, value in error.values.items()}
        return _response(error.status, error.code, error.message, detail)
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
    return None


def _sentence(detail: Any) -> str:
    if isinstance(detail, dict):
        return "; ".join(f"{key}: {_sentence(value)}" for key, value in detail.items())
    if isinstance(detail, (list, tuple)):
        return " ".join(_sentence(value) for value in detail)
    return str(detail)


def _response(status: int, code: str, message: str, detail: Any) -> Response:
    return Response({"code": code, "message": message, "detail": detail}, status=status)

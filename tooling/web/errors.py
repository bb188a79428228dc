"""A stated problem becomes a page that says it, with the status it deserves."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from tooling.errors import ToolingError


class ToolingErrorMiddleware:
    """Catches the problems that a page did not show in place."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, ToolingError):
            return None
        context = {"code": error.code, "message": error.message}
        return render(request, "problem.html", context, status=error.status)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The form was open too long or came from elsewhere: nothing was saved."""
    message = _("This page was open too long. Nothing was saved: go back, load it again, repeat.")
    return render(request, "problem.html", {"code": "stale_form", "message": message}, status=403)

"""Logging in and out, and the answer that says the service is up."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView
from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET

from tooling.errors import NotAllowed
from tooling.models import Person
from tooling.web.shared import begin_watch, shared_device


def person_of(request: HttpRequest) -> Person:
    """Who asks; every page but a few needs a login, so there is always somebody."""
    if not isinstance(request.user, Person):
        raise NotAllowed(_("Log in first."))
    return request.user


class Login(LoginView):
    """By name and password; on a shared tablet by badge too (``web/badges.py``)."""

    http_method_names = ["get", "post", "head", "options"]
    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        answer = super().form_valid(form)
        begin_watch(self.request, shared_device(self.request))
        return answer

    def get_context_data(self, **more: Any) -> dict[str, Any]:
        return super().get_context_data(shared=shared_device(self.request), **more)


class Logout(LogoutView):
    http_method_names = ["post", "options"]


@require_GET
@login_not_required
def healthz(request: HttpRequest) -> HttpResponse:
    """200 when the database answers."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return JsonResponse({"status": "ok"})

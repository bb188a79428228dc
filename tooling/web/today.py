"""Today: what waits for the person who looks."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from tooling.queries.today import today_page
from tooling.web.doors import rights
from tooling.web.sessions import person_of


@require_GET
def show_today(request: HttpRequest) -> HttpResponse:
    page = today_page(person_of(request), at=timezone.now())
    return render(request, "today/today.html", {"today": page, **rights(request)})


@require_GET
def go_today(request: HttpRequest) -> HttpResponse:
    """The house's front door."""
    return redirect("today")

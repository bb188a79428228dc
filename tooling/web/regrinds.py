"""Regrinds: what is planned, what is ordered, when to send what."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from tooling.queries.regrinds import regrinds_page
from tooling.web.doors import rights


@require_GET
def show_regrinds(request: HttpRequest) -> HttpResponse:
    """Plans and open orders."""
    page = regrinds_page(at=timezone.now(), today=timezone.localdate())
    context = {"page": page, **rights(request)}
    return render(request, "regrinds/index.html", context)

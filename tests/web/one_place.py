"""Addresses of a house in which one place has a page."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import path


def _page(request: HttpRequest) -> HttpResponse:
    return HttpResponse()


urlpatterns = [path("kits/", _page, name="kits")]

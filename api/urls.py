"""Every address under ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from api.views import scans

urlpatterns: list[URLPattern | URLResolver] = [
    path("scans/", scans.record, name="api-scans"),
]

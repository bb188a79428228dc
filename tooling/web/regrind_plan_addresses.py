"""The addresses of the Regrinds place: plans, and when to send what."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import regrinds

REGRIND_PLANS: list[URLPattern] = [
    path("regrinds/", regrinds.show_regrinds, name="regrinds"),
]

"""Every address of the house."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from tooling.web import sessions

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", sessions.healthz, name="healthz"),
    path("login/", sessions.Login.as_view(), name="login"),
    path("logout/", sessions.Logout.as_view(), name="logout"),
    path("api/v1/", include("api.urls")),
]

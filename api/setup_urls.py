"""The addresses of setups under ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, path

from api.views import setups

SETUPS: list[URLPattern] = [
    path("setups/", setups.Setups.as_view(), name="api-setups"),
    path("setups/<str:number>/", setups.OneSetup.as_view(), name="api-setup"),
    path(
        "setups/<str:number>/stations/<int:station>/",
        setups.OneSetupStation.as_view(),
        name="api-setup-station",
    ),
    path("setups/<str:number>/mounts/", setups.Mounts.as_view(), name="api-setup-mounts"),
    path("setups/<str:number>/gaps/", setups.Gaps.as_view(), name="api-setup-gaps"),
    path("setups/<str:number>/checks/", setups.Checks.as_view(), name="api-setup-checks"),
    path("setups/<str:number>/prove/", setups.ProveSetup.as_view(), name="api-setup-prove"),
    path("setups/<str:number>/handover/", setups.Handover.as_view(), name="api-setup-handover"),
    path("setups/<str:number>/strip/", setups.Strip.as_view(), name="api-setup-strip"),
    path(
        "setups/<str:number>/against/<str:other>/",
        setups.AgainstSetup.as_view(),
        name="api-setup-against",
    ),
    path("setups/<str:number>/dock/", setups.Dock.as_view(), name="api-setup-dock"),
]

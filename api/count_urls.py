"""The addresses of counts under ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, path

from api.views import counts

COUNTS: list[URLPattern] = [
    path("counts/", counts.Counts.as_view(), name="api-counts"),
    path("counts/plan/", counts.CountPlanDoor.as_view(), name="api-counts-plan"),
    path("counts/accuracy/", counts.CountAccuracy.as_view(), name="api-counts-accuracy"),
    path("counts/<int:number>/", counts.OneCount.as_view(), name="api-count"),
    path("counts/<int:number>/entries/", counts.CountEntries.as_view(), name="api-count-entries"),
    path("counts/<int:number>/row/", counts.CountTickRow.as_view(), name="api-count-row"),
    path("counts/<int:number>/missing/", counts.CountMissing.as_view(), name="api-count-missing"),
    path("counts/<int:number>/close/", counts.CloseCount.as_view(), name="api-count-close"),
    path("counts/<int:number>/drop/", counts.DropCount.as_view(), name="api-count-drop"),
]

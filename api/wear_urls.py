"""The addresses of runs, readings and wear under ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, path

from api.views import runs

WEAR: list[URLPattern] = [
    path("runs/", runs.Runs.as_view(), name="api-runs"),
    path("runs/<int:number>/", runs.OneRun.as_view(), name="api-run"),
    path("runs/<int:number>/correct/", runs.CorrectRun.as_view(), name="api-run-correct"),
    path("runs/<int:number>/take-back/", runs.TakeRunBack.as_view(), name="api-run-take-back"),
    path("mills/<path:number>/counter/", runs.MillCounter.as_view(), name="api-mill-counter"),
]

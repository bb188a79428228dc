"""The addresses of runs, readings and wear under ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, path

from api.views import runs, wear

WEAR: list[URLPattern] = [
    path("runs/", runs.Runs.as_view(), name="api-runs"),
    path("runs/<int:number>/", runs.OneRun.as_view(), name="api-run"),
    path("runs/<int:number>/correct/", runs.CorrectRun.as_view(), name="api-run-correct"),
    path("runs/<int:number>/take-back/", runs.TakeRunBack.as_view(), name="api-run-take-back"),
    path("mills/<path:number>/counter/", runs.MillCounter.as_view(), name="api-mill-counter"),
    path("gauges/", wear.Gauges.as_view(), name="api-gauges"),
    path("gauges/<path:number>/", wear.OneGauge.as_view(), name="api-gauge"),
    path(
        "drawings/<path:number>/gauge-points/<str:name>/",
        wear.OneGaugePoint.as_view(),
        name="api-gauge-point",
    ),
    path(
        "drawings/<path:number>/gauge-points/",
        wear.GaugePoints.as_view(),
        name="api-gauge-points",
    ),
    path("readings/", wear.Readings.as_view(), name="api-readings"),
    path("wear/", wear.Wear.as_view(), name="api-wear"),
    path("wear/pools/", wear.Pools.as_view(), name="api-wear-pools"),
    path("wear/life/", wear.Life.as_view(), name="api-life"),
    path("wear/life/sums/", wear.LifeSums.as_view(), name="api-life-sums"),
    path("wear/<str:code>/", wear.WearOfPiece.as_view(), name="api-piece-wear"),
]

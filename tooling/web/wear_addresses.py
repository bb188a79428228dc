"""The addresses of runs, readings and wear."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import gauge_points, readings, runs, wear

RUNS: list[URLPattern] = [
    path("setups/<slug:number>/runs/", runs.setup_run, name="setup-runs"),
    path("runs/", runs.show_runs, name="runs"),
    path("runs.csv", runs.runs_csv, name="runs-csv"),
    path("runs/<int:number>/", runs.show_run, name="run"),
    path("runs/<int:number>/correct/", runs.correct, name="run-correct"),
    path("runs/<int:number>/take-back/", runs.take_back, name="run-take-back"),
]

_POINT = "sets/drawings/<path:number>/gauge-point/"
POINTS: list[URLPattern] = [
    path(_POINT, gauge_points.save_point, name="point-save"),
    path(
        "sets/drawings/<path:number>/gauge-point/stop/", gauge_points.stop_point, name="point-stop"
    ),
]

WEAR: list[URLPattern] = [
    path("wear/", wear.show_wear, name="wear"),
    path("wear/pools/", wear.show_pools, name="wear-pools"),
    path("wear/pools/learn/", wear.learn, name="wear-learn"),
    path("wear/life/", wear.show_life, name="life"),
    path("wear/life.csv", wear.life_csv, name="life-csv"),
    path("wear/readings/", readings.sheet, name="reading-sheet"),
    path("wear/readings/keep/", readings.keep, name="reading-keep"),
    path("wear/readings.pdf", readings.sheet_pdf, name="reading-sheet-pdf"),
    path("wear/<slug:code>/", wear.show_piece_wear, name="piece-wear"),
]

"""The addresses of runs, readings and wear."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import runs

RUNS: list[URLPattern] = [
    path("setups/<slug:number>/runs/", runs.setup_run, name="setup-runs"),
    path("runs/", runs.show_runs, name="runs"),
    path("runs.csv", runs.runs_csv, name="runs-csv"),
    path("runs/<int:number>/", runs.show_run, name="run"),
    path("runs/<int:number>/correct/", runs.correct, name="run-correct"),
    path("runs/<int:number>/take-back/", runs.take_back, name="run-take-back"),
]

"""The addresses of counts: what is due, one count, its close, the record of accuracy."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import count_acts, count_close, count_plan, counts

COUNTS: list[URLPattern] = [
    path("pieces/counts/", count_plan.show_plan, name="counts"),
    path("pieces/counts/plan.csv", count_plan.plan_csv, name="counts-plan-csv"),
    path("pieces/counts/accuracy/", count_plan.show_accuracy, name="counts-accuracy"),
    path("pieces/counts/accuracy.csv", count_plan.accuracy_csv, name="counts-accuracy-csv"),
    path("pieces/counts/open/", count_acts.open_count, name="count-open"),
    path("pieces/counts/<int:number>/", counts.show_count, name="count"),
    path("pieces/counts/<int:number>/live/", counts.show_live, name="count-live"),
    path("pieces/counts/<int:number>/read/", counts.read, name="count-read"),
    path("pieces/counts/<int:number>.csv", counts.count_csv, name="count-csv"),
    path("pieces/counts/<int:number>/enter/", count_acts.enter, name="count-enter"),
    path("pieces/counts/<int:number>/tick/", count_acts.tick, name="count-tick"),
    path("pieces/counts/<int:number>/row/", count_acts.tick_row, name="count-row"),
    path("pieces/counts/<int:number>/undo/", count_acts.undo, name="count-undo"),
    path("pieces/counts/<int:number>/close/", count_close.close, name="count-close"),
    path("pieces/counts/<int:number>/drop/", count_acts.drop, name="count-drop"),
]

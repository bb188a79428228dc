"""The addresses of setup sheets."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import setup_sheet

SHEETS: list[URLPattern] = [
    path("setups/<slug:number>/sheet.pdf", setup_sheet.sheet_file, name="setup-sheet-pdf"),
    path("setups/<slug:number>/chart/", setup_sheet.show_chart, name="setup-chart"),
    path("setups/<slug:number>/chart/live/", setup_sheet.show_chart_live, name="setup-chart-live"),
]

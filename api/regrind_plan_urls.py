"""The addresses of regrind plans under ``/api/v1/``."""

from __future__ import annotations

from django.urls import URLPattern, path

from api.views import regrind_plans as views

PLAN = "regrind-plans/<str:number>/"

REGRIND_PLANS: list[URLPattern] = [
    path("regrind-plans/", views.RegrindPlans.as_view(), name="api-regrind-plans"),
    path(PLAN, views.OneRegrindPlan.as_view(), name="api-regrind-plan"),
    path(PLAN + "pieces/<str:code>/", views.RegrindPlanPiece.as_view(), name="api-plan-piece"),
    path(PLAN + "solve/", views.SolveRegrindPlan.as_view(), name="api-plan-solve"),
    path(PLAN + "drop/", views.DropRegrindPlan.as_view(), name="api-plan-drop"),
    path("regrind-windows/", views.RegrindWindows.as_view(), name="api-regrind-windows"),
]

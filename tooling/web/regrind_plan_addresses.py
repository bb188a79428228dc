"""The addresses of the Regrinds place: plans, and when to send what."""

from __future__ import annotations

from django.urls import URLPattern, path

from tooling.web import regrind_plans, regrind_when, regrinds

PLAN = "regrinds/plans/<slug:number>/"

REGRIND_PLANS: list[URLPattern] = [
    path("regrinds/", regrinds.show_regrinds, name="regrinds"),
    path("regrinds/when/", regrind_when.show_when, name="regrinds-when"),
    path("regrinds/plans/new/", regrind_plans.new_plan, name="regrind-plan-new"),
    path(PLAN, regrind_plans.show_plan, name="regrind-plan"),
    path(PLAN + "part/", regrind_plans.plan_part, name="regrind-plan-part"),
    path(PLAN + "change/", regrind_plans.change_plan, name="regrind-plan-change"),
    path(PLAN + "pin/", regrind_plans.pin_piece, name="regrind-plan-pin"),
    path(PLAN + "solve/", regrind_plans.solve_plan, name="regrind-plan-solve"),
    path(PLAN + "stop/", regrind_plans.stop_plan, name="regrind-plan-stop"),
    path(PLAN + "drop/", regrind_plans.drop_plan, name="regrind-plan-drop"),
]

"""Regrind plans: begun for copies, shown, changed, settled piece by piece, dropped."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.engineering.lengths import Unit, say_length
from tooling.errors import NotAllowed, ToolingError
from tooling.models import RegrindPlan
from tooling.permissions import Verb
from tooling.pictures.diameters import DiameterPoint, diameters_chart
from tooling.pictures.svg import paint_svg
from tooling.queries.regrind_plan_page import plan_page
from tooling.queries.regrind_plan_views import LineView, PlanPage
from tooling.queries.regrind_plans import copy_choices, find_plan, running_plan
from tooling.services import regrind_plans, tasks
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import RecordForm, unit_of
from tooling.web.forms.regrind_plans import PINS, NewPlanForm, PinForm, PlanSettingsForm
from tooling.web.show_whole import show_whole

GRAINS = {"mm": 1_000, "in": 2_540}
CHOSEN: dict[str, Unit] = {"mm": "mm", "in": "in"}


@require_http_methods(["GET", "POST"])
def new_plan(request: HttpRequest) -> HttpResponse:
    """Which copies; it is worked out at once."""
    require(request, Verb.PLAN_REGRINDS)
    choices = copy_choices()
    named = request.GET.get("copy", "")
    initial = {"copies": [str(each.id) for each in choices if each.name == named]}
    form = NewPlanForm(data_of(request), choices=choices, initial=initial)
    return fill_in(
        request, form, template="regrinds/plan_new.html", choices=choices,
        save=lambda cleaned: regrind_plans.start_plan(
            **signed(request), copies=form.chosen(), name=cleaned["name"]
        ),
        done=lambda plan: (reverse("regrind-plan", args=[plan.number]),
                           _("Plan {plan} is being worked out.").format(plan=plan.number)),
    )  # fmt: skip


@require_GET
def show_plan(request: HttpRequest, number: str) -> HttpResponse:
    return _page(request, find_plan(number))


@require_GET
def plan_part(request: HttpRequest, number: str) -> HttpResponse:
    """Polled while it is worked out: how far it is, then the whole page once."""
    plan = find_plan(number)
    running = running_plan(plan)
    if running is not None:
        return render(request, "regrinds/plan_running.html", {"page": running, **rights(request)})
    url = reverse("regrind-plan", args=[plan.number])
    return show_whole(request, url, _("It is worked out: show the plan"))


def _read(request: HttpRequest, plan: RegrindPlan) -> PlanPage:
    """In the unit that the person chose, else each piece and set in its own."""
    return plan_page(plan, at=timezone.now(), unit=CHOSEN.get(unit_of(request.user, "drawn")))


def _page(
    request: HttpRequest, plan: RegrindPlan, *, error: ToolingError | None = None,
    form: RecordForm | None = None, pin_form: PinForm | None = None,
) -> HttpResponse:  # fmt: skip
    page = _read(request, plan)
    unit = unit_of(request.user, page.unit)
    context: dict[str, Any] = {
        "page": page,
        "form": form or PlanSettingsForm(page=page, unit=unit),
        "form_open": form is not None,
        "pin_form": pin_form,
        "pins": PINS,
        "pictures": [
            (line, _picture(line, n, unit_of(request.user, line.unit)))
            for n, line in enumerate(page.lines)
        ],
        "error": error,
        **rights(request),
    }
    bad = pin_form if pin_form is not None else form
    status = error.status if error else 400 if bad is not None and bad.errors else 200
    return render(request, "regrinds/plan.html", context, status=status)


def _picture(line: LineView, n: int, unit: Any) -> str:
    points = [
        DiameterPoint(
            each.number,
            each.top.speed_before_nm if each.top else None,
            each.top.speed_after_nm if each.top else None,
            each.bottom.speed_before_nm if each.bottom else None,
            each.bottom.speed_after_nm if each.bottom else None,
        )
        for each in line.passes
    ]
    title = _("Drive diameters of {set} on {mill} along the passes, before and after")
    chart = diameters_chart(
        points, title=title.format(set=line.set_name, mill=line.mill),
        say=lambda nm: say_length(nm, unit), grain_nm=GRAINS[unit],
    )  # fmt: skip
    return paint_svg(chart, key=f"diameters-{n}")


@require_POST
def change_plan(request: HttpRequest, number: str) -> HttpResponse:
    """Other settings, prices or requirements; worked out anew."""
    require(request, Verb.PLAN_REGRINDS)
    plan = find_plan(number)
    page = _read(request, plan)
    form = PlanSettingsForm(request.POST, page=page, unit=unit_of(request.user, page.unit))
    if form.is_valid():
        try:
            regrind_plans.change_plan(**signed(request), plan=plan, asks=form.asked())
        except NotAllowed:
            raise
        except ToolingError as error:
            return _page(request, plan, error=error, form=form)
        return redirect("regrind-plan", number=plan.number)
    return _page(request, plan, form=form)


@require_POST
def pin_piece(request: HttpRequest, number: str) -> HttpResponse:
    """Settle what becomes of one piece, or leave it open again; worked out anew."""
    require(request, Verb.PLAN_REGRINDS)
    plan = find_plan(number)
    drawn_in = _read(request, plan).unit_of_piece(request.POST.get("piece", "").upper())
    form = PinForm(request.POST, unit=unit_of(request.user, drawn_in))
    if form.is_valid():
        try:
            regrind_plans.pin_piece(
                **signed(request), plan=plan, code=form.cleaned_data["piece"], pin=form.pin()
            )
        except NotAllowed:
            raise
        except ToolingError as error:
            return _page(request, plan, error=error, pin_form=form)
        return redirect("regrind-plan", number=plan.number)
    return _page(request, plan, pin_form=form)


@require_POST
def solve_plan(request: HttpRequest, number: str) -> HttpResponse:
    """From what is known now."""
    require(request, Verb.PLAN_REGRINDS)
    plan = find_plan(number)
    try:
        regrind_plans.ask_plan(**signed(request), plan=plan)
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, plan, error=error)
    return redirect("regrind-plan", number=plan.number)


@require_POST
def stop_plan(request: HttpRequest, number: str) -> HttpResponse:
    """Stop working it out."""
    require(request, Verb.PLAN_REGRINDS)
    plan = find_plan(number)
    try:
        if plan.task is not None:
            tasks.cancel(**signed(request), task=plan.task)
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, plan, error=error)
    return redirect("regrind-plan", number=plan.number)


@require_POST
def drop_plan(request: HttpRequest, number: str) -> HttpResponse:
    """Put it aside; it is kept."""
    require(request, Verb.PLAN_REGRINDS)
    plan = find_plan(number)
    try:
        regrind_plans.drop_plan(**signed(request), plan=plan)
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, plan, error=error)
    messages.success(request, _("Plan {plan} is put aside.").format(plan=plan.number))
    return redirect("regrinds")

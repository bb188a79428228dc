"""The times of a changeover: the next step and a delay, one tap each, and the way back."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Delay, DelayCause, Setup, SetupStep, StepKind
from tooling.permissions import Verb, can
from tooling.queries.setup_times import IN_ORDER, times_page
from tooling.queries.setups import find_setup
from tooling.queries.strip_down import act_id
from tooling.services import setup_times as services
from tooling.web.doors import require, signed
from tooling.web.rows import get_row

MINUTES = (5, 10, 15, 30, 60)
"""Lost minutes that one tap says; any other is written."""

Way = dict[str, Any]


@require_GET
def show(request: HttpRequest, number: str) -> HttpResponse:
    return _page(request, number)


def _page(request: HttpRequest, number: str, error: ToolingError | None = None) -> HttpResponse:
    page = times_page(number)
    said = {step.what for step in page.times.steps}
    left = [each for each in IN_ORDER if each not in said]
    context = {
        "page": page,
        "error": error,
        "next_step": StepKind(page.times.next_step) if page.times.next_step else None,
        "others": [each for each in left if each != page.times.next_step],
        "causes": DelayCause.choices,
        "minutes": MINUTES,
        "typed": request.POST,
        "step_id": uuid.uuid4(),
        "delay_id": uuid.uuid4(),
        "may_mount": can(request.user, Verb.MOUNT_SETUPS) and not page.is_over,
    }
    return render(request, "setups/times.html", context, status=error.status if error else 200)


def _do(request: HttpRequest, number: str, act: Callable[[Setup, Way], str]) -> HttpResponse:
    require(request, Verb.MOUNT_SETUPS)
    setup = find_setup(number)
    try:
        said = act(setup, signed(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, number, error)
    messages.success(request, said)
    return redirect("setup-times", setup.kit.number)


@require_POST
def step(request: HttpRequest, number: str) -> HttpResponse:
    """A step of the changeover is reached."""

    def act(setup: Setup, way: Way) -> str:
        what, key = request.POST.get("what", ""), act_id(request.POST.get("id", ""))
        services.say_step(setup=setup, what=what, uuid=key, **way)
        return _("Written down: {step}.").format(step=StepKind(what).label)

    return _do(request, number, act)


@require_POST
def undo_step(request: HttpRequest, number: str, row: int) -> HttpResponse:
    def act(setup: Setup, way: Way) -> str:
        services.undo_step(step=get_row(SetupStep.objects.filter(setup=setup), said=str(row),
                                        pk=row), **way)  # fmt: skip
        return _("Undone.")

    return _do(request, number, act)


@require_POST
def delay(request: HttpRequest, number: str) -> HttpResponse:
    """Minutes lost, and to what."""

    def act(setup: Setup, way: Way) -> str:
        minutes = _minutes(request.POST.get("other", "") or request.POST.get("minutes", ""))
        station = request.POST.get("station", "")
        services.say_delay(
            setup=setup,
            cause=request.POST.get("cause", ""),
            minutes=minutes,
            station=int(station) if station.isdecimal() else None,
            uuid=act_id(request.POST.get("id", "")),
            **way,
        )
        return _("Delay of {minutes} min written down.").format(minutes=f"{minutes:g}")

    return _do(request, number, act)


def _minutes(text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = float("nan")
    if value != value:
        raise ToolingError(
            "improbable_value",
            _("“{text}” is no number of minutes. Write one, such as 12."),
            text=text[:20],
            in_field="minutes",
        )
    return value


@require_POST
def undo_delay(request: HttpRequest, number: str, row: int) -> HttpResponse:
    def act(setup: Setup, way: Way) -> str:
        services.undo_delay(delay=get_row(Delay.objects.filter(setup=setup), said=str(row),
                                          pk=row), **way)  # fmt: skip
        return _("Undone.")

    return _do(request, number, act)

"""Setups as the crew reads them: the list, one setup, one station, two setups compared."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from tooling.errors import ToolingError
from tooling.models import Person
from tooling.queries.setup_against import against
from tooling.queries.setup_station import station_answer
from tooling.queries.setup_views import SetupPage, StationAnswer
from tooling.queries.setups import handover_to, setup_list, setup_page, setup_version
from tooling.web.doors import rights
from tooling.web.forms.fields import unit_of
from tooling.web.forms.setups import NoteForm
from tooling.web.setup_scans import scanned


@require_GET
def show_setups(request: HttpRequest) -> HttpResponse:
    """What is being mounted, what runs, and what was struck down last."""
    return render(request, "setups/list.html", {"rows": setup_list()})


@require_GET
def show_setup(request: HttpRequest, number: str) -> HttpResponse:
    """One setup: the strip of its stations, what is to do next, the handover."""
    return setup_answer(request, number)


def setup_answer(
    request: HttpRequest, number: str, *, error: ToolingError | None = None, **more: Any
) -> HttpResponse:
    """The setup's page, with a refusal shown in place."""
    page = setup_page(number)
    context = {
        **live_context(request, page),
        "note_form": NoteForm(),
        "error": error,
        "next_id": uuid.uuid4(),
        **more,
    }
    return render(request, "setups/setup.html", context, status=error.status if error else 200)


def live_context(request: HttpRequest, page: SetupPage) -> dict[str, Any]:
    me = request.user.pk if isinstance(request.user, Person) else None
    return {
        "page": page,
        "head": page.head,
        "is_mine": page.handover is not None and page.handover.by_id == me,
        "unit": unit_of(request.user, page.head.unit),
        **rights(request),
    }


@require_GET
def show_live(request: HttpRequest, number: str) -> HttpResponse:
    """What moves on a setup's page; 204 while the screen's version is the setup's own."""
    if request.GET.get("v") == str(setup_version(number)):
        return HttpResponse(status=204)
    page = setup_page(number)
    return render(request, "setups/live.html", live_context(request, page))


@require_GET
def show_station(request: HttpRequest, number: str, station: int) -> HttpResponse:
    """Both shafts' stacks, large, and one tap for each. ``shaft``: for which one scans count;
    ``at``: the station's label, where that was scanned to come here."""
    return station_page(request, number, station)


def station_page(
    request: HttpRequest, number: str, station: int, *, error: ToolingError | None = None
) -> HttpResponse:
    """A station's page, with a refusal shown in place."""
    read = {code for codes in scanned(request, number, station).values() for code in codes}
    answer = station_answer(number, station, scanned=read)
    me = request.user.pk if isinstance(request.user, Person) else None
    told = {"error": error, "handover": handover_to(answer.head.number, me)}
    context = station_context(request, answer) | told
    return render(request, "setups/station.html", context, status=error.status if error else 200)


def station_context(request: HttpRequest, answer: StationAnswer) -> dict[str, Any]:
    waiting = [each.shaft for each in answer.shafts if not each.mark.is_done]
    asked = request.GET.get("shaft") or request.POST.get("shaft", "")
    arrived = request.GET.get("at") or request.POST.get("at", "")
    return {
        "answer": answer,
        "head": answer.head,
        "arrived": answer.code if arrived == answer.code else "",
        "shaft_to_scan": asked if asked in waiting else next(iter(waiting), ""),
        "ids": {each.shaft: uuid.uuid4() for each in answer.shafts},
        "number_id": uuid.uuid4(),
        **rights(request),
    }


@require_GET
def show_station_live(request: HttpRequest, number: str, station: int) -> HttpResponse:
    """The same part of a station's page; 204 when nothing moved."""
    if request.GET.get("v") == str(setup_version(number)):
        return HttpResponse(status=204)
    read = {code for codes in scanned(request, number, station).values() for code in codes}
    answer = station_answer(number, station, scanned=read)
    return render(request, "setups/station_live.html", station_context(request, answer))


@require_GET
def show_against(request: HttpRequest, number: str, other: str) -> HttpResponse:
    """Two setups of one set beside each other."""
    found = against(number, other, at=timezone.now())
    unit = unit_of(request.user, found.ours.head.unit)
    sides = (found.ours, found.theirs)
    context = {"against": found, "sides": sides, "unit": unit}
    return render(request, "setups/against.html", context)

"""Kits as people read them: the list, one kit with its ribbon, one shaft large, the pull list."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET

from tooling.errors import Unknown
from tooling.permissions import Verb, can
from tooling.pictures.state_marks import TROUBLE, gravest, summarise
from tooling.queries.fill_page import fill_page, fill_summary
from tooling.queries.incidents import incidents_of_kit
from tooling.queries.kit_positions import troubles_of
from tooling.queries.kit_stations import line_station
from tooling.queries.kit_views import KitPage, KitRow, ShaftView, StationView
from tooling.queries.kits import kit_list, kit_page, kit_version
from tooling.queries.mill_fit import FitLine, fit_page
from tooling.queries.pull_list import pull_list
from tooling.web.doors import rights
from tooling.web.forms.fields import unit_of
from tooling.web.forms.kits import CloseForm, PlaceForm, ProveForm
from tooling.web.kit_ribbon import kit_ribbon, line_tools, shaft_picture

MOST_PROBLEMS = 12


@dataclass(frozen=True)
class DayRow:
    """A job under the day on which it starts."""

    day: Any
    row: KitRow


@dataclass(frozen=True)
class ShaftAt:
    """A shaft to step to."""

    station: int
    which: str


@dataclass(frozen=True)
class FitGroup:
    """Checks with the same outcome."""

    code: str
    lines: tuple[FitLine, ...]

    @property
    def more(self) -> tuple[FitLine, ...]:
        return self.lines[1:]


@dataclass(frozen=True)
class FitPart:
    """All checks of one level."""

    level: str
    head: Any
    groups: tuple[FitGroup, ...]


@require_GET
def show_kits(request: HttpRequest) -> HttpResponse:
    """Jobs by date with how complete each kit is; ``closed`` in the address: those that were."""
    closed = bool(request.GET.get("closed"))
    rows = kit_list(at=timezone.now(), closed=closed)
    context = {
        "closed": closed,
        "rows": rows
        if closed
        else [
            DayRow(timezone.localtime(row.job.starts_at).date(), row)
            for row in rows
            if not row.has_setup
        ],
        "mounted": [row for row in rows if row.has_setup],
        **rights(request),
    }
    return render(request, "kits/list.html", context)


@require_GET
def show_kit(request: HttpRequest, number: str) -> HttpResponse:
    return kit_answer(request, number)


def kit_answer(
    request: HttpRequest, number: str, *, status: int = 200, **forms: Any
) -> HttpResponse:
    """A kit's page, with a form that was refused in the place of an empty one."""
    page = kit_page(number, at=timezone.now())
    context = {
        **live_context(request, page),
        "place_form": PlaceForm(initial={"place": page.place}),
        "close_form": CloseForm(),
        "prove_form": ProveForm(),
        "may_scan": page.is_open and can(request.user, Verb.MOVE_PIECES),
        "may_stop_pieces": can(request.user, Verb.STOP_PIECES),
        "may_mount": can(request.user, Verb.MOUNT_SETUPS),
        "incidents": incidents_of_kit(number),
        "fills": fill_summary(page.number),
        "next_id": uuid.uuid4(),
        "guard_s": page.guard_s,
        **forms,
    }
    return render(request, "kits/kit.html", context, status=status)


@require_GET
def show_live(request: HttpRequest, number: str) -> HttpResponse:
    """What moves on a kit's page; 204 while the version that the screen has is the kit's own."""
    if request.GET.get("v") == str(kit_version(number)):
        return HttpResponse(status=204)
    page = kit_page(number, at=timezone.now())
    context = {**live_context(request, page), "fills": fill_summary(page.number)}
    return render(request, "kits/live_and_fills.html", context)


def live_context(request: HttpRequest, page: KitPage) -> dict[str, Any]:
    """What ``kits/live.html`` is filled from."""
    troubles = troubles_of(page.positions)
    line_states = [str(each.state) for each in page.line]
    return {
        "kit": page,
        "ribbon": kit_ribbon(page),
        "line_tools": line_tools(page),
        "line_state": gravest(line_states),
        "line_trouble": gravest(line_states) in TROUBLE,
        "line_summary": summarise(line_states),
        "problems": troubles[:MOST_PROBLEMS],
        "more_problems": sum(each.more + 1 for each in troubles[MOST_PROBLEMS:]),
        "may_gather": can(request.user, Verb.GATHER_KITS),
        "may_plan": can(request.user, Verb.PLAN_JOBS),
        "may_measure": can(request.user, Verb.RECORD_READINGS),
        "may_edit_records": can(request.user, Verb.EDIT_RECORDS),
        "may_prove_sets": can(request.user, Verb.PROVE_SETS),
    }


@require_GET
def show_shaft(request: HttpRequest, number: str, station: int, which: str) -> HttpResponse:
    return shaft_answer(request, number, station, which)


def shaft_answer(
    request: HttpRequest, number: str, station: int, which: str, *, status: int = 200, **more: Any
) -> HttpResponse:
    """One shaft large, with what to do about each of its pieces, and with what was refused."""
    page = kit_page(number, at=timezone.now())
    column, shaft = _find_shaft(page, station, which)
    before, after = _neighbours(page, station, which)
    fill = fill_page(number) if which in ("top", "bottom") and shaft.positions else None
    told = fill.shaft(station, which) if fill else None
    drawn_in = fill.unit if fill and told and told.spacers else page.job.unit
    unit = unit_of(request.user, drawn_in)
    picture = ""
    if which != "line":
        picture = shaft_picture(page, column, shaft, unit=unit, told=told)
    context = {
        **live_context(request, page),
        "station": column,
        "shaft": shaft,
        "may_stop_pieces": can(request.user, Verb.STOP_PIECES),
        "picture": picture,
        "summary": summarise([str(each.state) for each in shaft.positions]),
        "before": before,
        "after": after,
        "fill": fill,
        "fills": fill.summary if fill else None,
        "told": told,
        **more,
    }
    return render(request, "kits/shaft.html", context, status=status)


def _find_shaft(page: KitPage, station: int, which: str) -> tuple[StationView, ShaftView]:
    if which == "line":
        tools = tuple(each for each in page.line if each.station == station)
        if tools:
            return line_station(tools), ShaftView(which, None, None, tools)
    for column in page.stations if which != "line" else ():
        if column.number == station:
            shafts = {"top": column.top, "bottom": column.bottom, "side": column.side}
            return column, shafts[which]
    raise Unknown(
        "unknown_station",
        _("{mill} has no station {station}. Go back to kit {kit} and tap a shaft of its ribbon."),
        mill=page.job.mill,
        station=station,
        kit=page.number,
    )


def _neighbours(page: KitPage, station: int, which: str) -> tuple[ShaftAt | None, ShaftAt | None]:
    """The shafts with pieces before and after this one, as the strip meets them."""
    order = [
        ShaftAt(column.number, shaft.which)
        for column in page.stations
        for shaft in (column.top, column.bottom, column.side)
        if shaft.positions
    ]
    order += [ShaftAt(n, "line") for n in dict.fromkeys(each.station for each in page.line)]
    here = ShaftAt(station, which)
    if here not in order:
        return None, None
    index = order.index(here)
    before = order[index - 1] if index else None
    return before, order[index + 1] if index + 1 < len(order) else None


@require_GET
def show_pull_list(request: HttpRequest, number: str) -> HttpResponse:
    """What is still to be fetched, in walking order, with boxes to tick."""
    context = {
        "pull": pull_list(number, at=timezone.now()),
        "may_gather": can(request.user, Verb.GATHER_KITS),
    }
    return render(request, "kits/pull_list.html", context)


@require_GET
def show_fit(request: HttpRequest, number: str) -> HttpResponse:
    """Every check of the kit's set against its mill, the gravest first."""
    page = kit_page(number, at=timezone.now())
    unit = unit_of(request.user, page.job.unit)
    fit = fit_page(page.job.set_number, page.job.mill_number, unit=unit)
    parts = (
        FitPart("no", _("Does not fit"), _alike(fit.refused)),
        FitPart("warn", _("To mind"), _alike(fit.warned)),
        FitPart("ok", _("In order"), _alike(fit.fine)),
    )
    return render(request, "kits/fit.html", {"kit": page, "fit": fit, "parts": parts})


def _alike(lines: Iterable[FitLine]) -> tuple[FitGroup, ...]:
    """Lines that say the same of different pieces stand together."""
    groups: dict[str, list[FitLine]] = {}
    for line in lines:
        groups.setdefault(line.code, []).append(line)
    return tuple(FitGroup(code, tuple(alike)) for code, alike in groups.items())

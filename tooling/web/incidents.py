"""Incidents: the list, one with what it touched, writing one down, putting one right."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from tooling.models import Incident, IncidentKind, Kit, Mill
from tooling.permissions import Verb
from tooling.queries.at_work import (
    PieceAtWork,
    kit_on,
    kits_at_work,
    pieces_at_work,
    pieces_named,
    stations_at_work,
)
from tooling.queries.incidents import incident_list, incident_page, incident_row
from tooling.services import incidents
from tooling.services.incidents import Where
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.incidents import IncidentForm
from tooling.web.rows import get_mill, get_piece, get_row


@require_GET
def show_incidents(request: HttpRequest) -> HttpResponse:
    """The newest first; ``kind``, ``mill``, ``kit`` and ``piece`` narrow."""
    narrow = {name: request.GET.get(name, "") for name in ("kind", "mill", "kit", "piece")}
    context = {
        "found": incident_list(
            kind=narrow["kind"],
            mill=narrow["mill"],
            kit=narrow["kit"],
            piece=narrow["piece"],
            after=request.GET.get("after", ""),
        ),
        "narrow": narrow,
        "is_narrowed": any(narrow.values()),
        "kinds": IncidentKind.choices,
        "mills": Mill.objects.filter(is_active=True).order_by("number"),
    }
    return render(request, "incidents/list.html", {**context, **rights(request)})


@require_GET
def show_incident(request: HttpRequest, number: int) -> HttpResponse:
    context = {"incident": incident_page(number)}
    return render(request, "incidents/incident.html", {**context, **rights(request)})


@require_http_methods(["GET", "POST"])
def new_incident(request: HttpRequest) -> HttpResponse:
    """Where, then what: ``mill`` (and ``kit``, ``station``) in the address, or ``toolroom``."""
    require(request, Verb.STOP_PIECES)
    where = _asked(request)
    if where.mill is None and "toolroom" not in request.GET and "piece" not in request.GET:
        rows = Mill.objects.filter(is_active=True).order_by("number")
        return render(request, "incidents/where.html", {"mills": rows})
    if where.mill is not None and where.station is None and "whole" not in request.GET:
        return _choose_station(request, where)
    return _write(request, where, _proposed(request, where))


@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, number: int) -> HttpResponse:
    """Put an incident right by a further one; what was said of it is filled in."""
    require(request, Verb.STOP_PIECES)
    wrong = incident_row(number)
    touched = list(wrong.pieces.select_related("piece").order_by("piece__code"))
    where = Where(wrong.mill, wrong.kit, wrong.station_number, wrong.pass_number)
    at_station = _proposed(request, where)
    known = {each.code for each in at_station}
    named = pieces_named(each.piece.code for each in touched if each.piece.code not in known)
    initial = {
        "kind": wrong.kind,
        "pieces": [each.piece.code for each in touched],
        "condition": touched[0].condition_after if touched else "hold",
        "happened_at": timezone.localtime(wrong.happened_at),
        "note": wrong.note,
    }
    return _write(request, where, (*at_station, *named), wrong=wrong, initial=initial)


def _asked(request: HttpRequest) -> Where:
    """Mill, kit and station as the address names them; the kit that is on the mill by default."""
    number, station = request.GET.get("mill", ""), request.GET.get("station", "")
    if not number:
        return Where()
    mill = get_mill(number)
    kit = _kit(request.GET["kit"]) if "kit" in request.GET else kit_on(mill)
    if not station.isascii() or not station.isdigit() or len(station) > 4:
        return Where(mill, kit)
    passes = {each.number: each.set_pass for each in stations_at_work(mill, kit)}
    return Where(mill, kit, int(station), passes.get(int(station)))


def _kit(number: str) -> Kit | None:
    if not number:
        return None
    found: Kit = get_row(Kit.objects.select_related("job__mill"), said=number, number=number)
    return found


def _choose_station(request: HttpRequest, where: Where) -> HttpResponse:
    assert where.mill is not None
    context = {
        "mill": where.mill,
        "kit": where.kit,
        "kits": kits_at_work(where.mill),
        "stations": stations_at_work(where.mill, where.kit),
    }
    return render(request, "incidents/station.html", context)


def _proposed(request: HttpRequest, where: Where) -> tuple[PieceAtWork, ...]:
    if where.mill is not None and where.station is not None:
        return pieces_at_work(where.mill, where.kit, where.station)
    if request.GET.get("piece"):
        return pieces_named([get_piece(request.GET["piece"]).code])
    return ()


def _write(
    request: HttpRequest,
    where: Where,
    proposed: tuple[PieceAtWork, ...],
    *,
    wrong: Incident | None = None,
    initial: dict[str, Any] | None = None,
) -> HttpResponse:
    at = timezone.now()
    first = {"id": uuid.uuid4(), "pieces": _only(proposed, request)} | (initial or {})
    form = IncidentForm(data_of(request), proposed=proposed, at=at, initial=first)

    def save(values: dict[str, Any]) -> Incident:
        return incidents.report(
            **signed(request),
            kind=values["kind"],
            happened_at=values["happened_at"] or at,
            touched=form.touched(),
            where=where,
            note=values["note"],
            uuid=values["id"],
            corrects=wrong,
        )

    return fill_in(
        request,
        form,
        template="incidents/form.html",
        save=save,
        done=lambda row: (reverse("incident", args=[row.pk]), _("Written down.")),
        where=where,
        wrong=wrong,
    )


def _only(proposed: tuple[PieceAtWork, ...], request: HttpRequest) -> list[str]:
    """The piece that somebody came from is ticked already."""
    return [each.code for each in proposed] if request.GET.get("piece") else []

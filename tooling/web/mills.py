"""Mills: what stands on each, one mill, and its stations and shafts put right one by one."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from tooling.models import Mill, MillShaft, Station
from tooling.permissions import Verb
from tooling.queries.incidents import incidents_of_mill
from tooling.queries.mill_care import mill_care
from tooling.queries.mills import mill_page
from tooling.services import mills as services
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.mills import (
    MILL_LENGTHS,
    SHAFT_LENGTHS,
    STATION_LENGTHS,
    EditMill,
    GroupForm,
    NewMill,
    ShaftForm,
    StationForm,
)
from tooling.web.mill_live import live_context, mills_context
from tooling.web.rows import get_mill, get_row

MILL_FIELDS = ("name", "datum", "hand", "operator_side", "closing", "max_speed_m_min", "is_active")


@require_GET
def show_mills(request: HttpRequest) -> HttpResponse:
    return render(request, "mills/list.html", {**mills_context(), **rights(request)})


@require_GET
def show_mill(request: HttpRequest, number: str) -> HttpResponse:
    page = mill_page(number)
    context = {
        "mill": page,
        "incidents": incidents_of_mill(number),
        "care": mill_care(get_mill(number), today=timezone.localdate()),
        **live_context(page.number),
    }
    return render(request, "mills/mill.html", {**context, **rights(request)})


@require_http_methods(["GET", "POST"])
def new_mill(request: HttpRequest) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    form = NewMill(data_of(request))

    def save(values: dict[str, Any]) -> Mill:
        mill, station, shaft = form.parts()
        return services.create_mill(**signed(request), station=station, shaft=shaft, **mill)

    return fill_in(
        request,
        form,
        template="mills/form.html",
        save=save,
        done=lambda row: (_url(row), _("{name} is entered. Put right what differs by station.")
                          .format(name=row.name)),
        head=_("New mill"),
        back=reverse("mills"),
    )  # fmt: skip


@require_http_methods(["GET", "POST"])
def edit_mill(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    mill = get_mill(number)
    form = EditMill(
        data_of(request),
        unit=unit_of(request.user, mill.unit),
        initial={name: getattr(mill, name) for name in MILL_FIELDS},
        lengths={name: getattr(mill, name) for name in MILL_LENGTHS},
    )
    return fill_in(
        request,
        form,
        template="mills/form.html",
        save=lambda values: services.edit_mill(**signed(request), mill=mill, **values),
        done=lambda row: (_url(mill), _("Saved.")),
        head=mill.name,
        back=_url(mill),
    )


@require_http_methods(["GET", "POST"])
def edit_station(request: HttpRequest, number: str, station: int) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    mill = get_mill(number)
    row = get_row(Station.objects.all(), said=f"{number} {station}", mill=mill, number=station)
    names = ("gear_ratio", "bottom_adjustable", "side_roll_mounting", "aligned_on")
    form = StationForm(
        data_of(request),
        unit=unit_of(request.user, mill.unit),
        initial={name: getattr(row, name) for name in names},
        lengths={name: getattr(row, name) for name in STATION_LENGTHS},
    )
    return fill_in(
        request,
        form,
        template="mills/form.html",
        save=lambda values: services.edit_station(**signed(request), station=row, **values),
        done=lambda saved: (_url(mill), _("Station {n} saved.").format(n=station)),
        head=_("{mill}, station {n}").format(mill=mill.name, n=station),
        back=_url(mill),
    )


@require_http_methods(["GET", "POST"])
def edit_shaft(request: HttpRequest, number: str, station: int, shaft: int) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    mill = get_mill(number)
    rows = MillShaft.objects.filter(station__mill=mill, station__number=station)
    row = get_row(rows, said=f"{number} {station}", pk=shaft)
    names = ("key_style", "shoulder_measured_on", "end_play_measured_on", "drive", "drive_group",
             "joint_most_degrees")  # fmt: skip
    form = ShaftForm(
        data_of(request),
        mill=mill,
        unit=unit_of(request.user, mill.unit),
        initial={name: getattr(row, name) for name in names},
        lengths={name: getattr(row, name) for name in SHAFT_LENGTHS},
    )
    return fill_in(
        request,
        form,
        template="mills/form.html",
        save=lambda values: services.edit_shaft(**signed(request), shaft=row, **values),
        done=lambda saved: (_url(mill), _("Station {n} saved.").format(n=station)),
        head=_("{mill}, station {n}, {shaft} shaft").format(
            mill=mill.name, n=station, shaft=row.get_which_display()
        ),
        back=_url(mill),
    )


@require_http_methods(["GET", "POST"])
def drive_group(request: HttpRequest, number: str) -> HttpResponse:
    """A new group, or another factor for the one of that name."""
    require(request, Verb.EDIT_RECORDS)
    mill = get_mill(number)
    return fill_in(
        request,
        GroupForm(data_of(request)),
        template="mills/form.html",
        save=lambda values: services.save_drive_group(**signed(request), mill=mill, **values),
        done=lambda row: (_url(mill), _("Drive group {name} saved.").format(name=row.name)),
        head=_("{mill}, drive group").format(mill=mill.name),
        back=_url(mill),
    )


def _url(mill: Mill) -> str:
    return reverse("mill", args=[mill.number])

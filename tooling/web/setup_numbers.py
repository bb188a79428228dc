"""What was set at a station, and what the first piece had."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST

from tooling.engineering.lengths import say_length
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Setup
from tooling.permissions import Verb, can
from tooling.queries.part_checks import checks_of
from tooling.queries.setup_gaps import gaps_of
from tooling.queries.setups import find_setup, head_of
from tooling.queries.strip_measures import strip_of
from tooling.services import as_set, part_checks, strip_measures
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.setups import ChecksForm, GapsForm, StripForm


@require_http_methods(["GET", "POST"])
def gaps(request: HttpRequest, number: str, station: int) -> HttpResponse:
    """Both ends and the other axes of a station; ``as_target``: all of it in one tap."""
    setup = find_setup(number)
    form, error = None, None
    if request.method == "POST":
        require(request, Verb.MOUNT_SETUPS)
        if "as_target" in request.POST:
            error = _as_target(request, setup, station)
        else:
            form, error = _save(request, setup, station)
        if error is None and (form is None or form.is_valid()):
            return redirect("setup-gaps", setup.kit.number, station)
    page = gaps_of(setup, station)
    unit = unit_of(request.user, setup.mill.unit)
    context = {
        "page": page,
        "head": page.head,
        "form": form or GapsForm(page=page, unit=unit),
        "error": error if form is None else None,
        "unit": unit,
        "next_id": uuid.uuid4(),
        "may_set": can(request.user, Verb.MOUNT_SETUPS) and page.head.is_up,
        **rights(request),
    }
    status = error.status if error else 400 if form is not None else 200
    return render(request, "setups/gaps.html", context, status=status)


def _as_target(request: HttpRequest, setup: Setup, station: int) -> ToolingError | None:
    try:
        as_set.set_as_target(setup=setup, station=station, id=_uuid(request), **signed(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return error
    return None


def _save(request: HttpRequest, setup: Setup, station: int) -> tuple[GapsForm, ToolingError | None]:
    unit = unit_of(request.user, setup.mill.unit)
    form = GapsForm(request.POST, page=gaps_of(setup, station), unit=unit)
    if not form.is_valid():
        return form, None
    values = form.cleaned_data
    try:
        as_set.set_numbers(
            setup=setup,
            station=station,
            numbers=values["numbers"],
            method=values["method"],
            is_loaded=values["is_loaded"],
            sure=values["sure"],
            id=_uuid(request),
            **signed(request),
        )
    except NotAllowed:
        raise
    except ToolingError as error:
        form.refuse(error)
        return form, error
    return form, None


@require_POST
def gaps_back(request: HttpRequest, number: str, station: int) -> HttpResponse:
    """What was last written down at the station does not hold."""
    require(request, Verb.MOUNT_SETUPS)
    setup = find_setup(number)
    as_set.take_back(setup=setup, station=station, **signed(request))
    return redirect("setup-gaps", setup.kit.number, station)


@require_http_methods(["GET", "POST"])
def strip(request: HttpRequest, number: str) -> HttpResponse:
    """How thick the strip on the mill is; targets follow it."""
    require(request, Verb.MOUNT_SETUPS)
    setup = find_setup(number)
    unit = unit_of(request.user, setup.kit.job.unit)
    form = StripForm(data_of(request), unit=unit)
    key = _uuid(request)

    def save(values: dict[str, Any]) -> Any:
        return strip_measures.measure_strip(
            setup=setup, unit=unit, id=key, **values, **signed(request)
        )

    def done(row: Any) -> tuple[str, str]:
        said = _("Strip of {strip}: targets follow it.").format(
            strip=say_length(row.thickness_nm, unit)
        )
        return _back(request, setup), said

    return fill_in(
        request, form, template="setups/strip.html", save=save, done=done, head=head_of(setup),
        strip=strip_of(setup), unit=unit, next_id=uuid.uuid4(),
        station=request.POST.get("station") or request.GET.get("station", ""),
    )  # fmt: skip


@require_POST
def strip_back(request: HttpRequest, number: str) -> HttpResponse:
    """The newest measure of the strip does not hold."""
    require(request, Verb.MOUNT_SETUPS)
    setup = find_setup(number)
    strip_measures.take_measure_back(setup=setup, **signed(request))
    return redirect(_back(request, setup))


def _back(request: HttpRequest, setup: Setup) -> str:
    """To the gaps of the station that was left to measure, else to the setup."""
    station = request.POST.get("station", "")
    if station.isascii() and station.isdigit() and len(station) < 4:
        return reverse("setup-gaps", args=[setup.kit.number, int(station)])
    return reverse("setup", args=[setup.kit.number])


@require_http_methods(["GET", "POST"])
def checks(request: HttpRequest, number: str) -> HttpResponse:
    """The first piece, characteristic by characteristic."""
    require(request, Verb.MOUNT_SETUPS)
    setup = find_setup(number)
    found = checks_of(setup)
    unit = unit_of(request.user, setup.kit.job.tool_set.unit)
    form = ChecksForm(data_of(request), checks=found, unit=unit)
    key = _uuid(request)

    def save(values: dict[str, Any]) -> Any:
        return part_checks.check_part(
            setup=setup, checks=values["checks"], id=key, **signed(request)
        )

    def done(rows: Any) -> tuple[str, str]:
        bad = [str(row.characteristic) for row in rows if not row.is_good]
        said = _("Not good: {names}.").format(names=", ".join(bad)) if bad else str(_("All good."))
        return reverse("setup", args=[setup.kit.number]), said

    return fill_in(
        request, form, template="setups/checks.html", save=save, done=done,
        head=head_of(setup), next_id=uuid.uuid4(), unit=unit,
    )  # fmt: skip


def _uuid(request: HttpRequest) -> uuid.UUID | None:
    try:
        return uuid.UUID(request.POST.get("id", ""))
    except ValueError:
        return None

"""What the crew does with a setup: start, scan, mount, leave out, take back, dock, hand over."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError, Unknown
from tooling.models import Piece, Setup
from tooling.permissions import Verb
from tooling.queries.find import find_filler
from tooling.queries.kits import find_kit
from tooling.queries.scan_lookup import look_up
from tooling.queries.setup_station import station_answer
from tooling.queries.setups import find_setup, mounted_at, number_of_kit
from tooling.services import mounting, mounting_instead, proving, setups
from tooling.services.mounting_judge import shaft_of
from tooling.web.doors import data_of, fill_in, require, signed
from tooling.web.forms.setups import StartForm
from tooling.web.pins import confirm
from tooling.web.setup_scans import codes_for, forget, keep
from tooling.web.setups import setup_answer, station_page

Act = Callable[[Setup, dict[str, Any]], Any]


@require_http_methods(["GET", "POST"])
def start(request: HttpRequest, number: str) -> HttpResponse:
    """Begin to mount a kit, on its mill or on a plate."""
    require(request, Verb.MOUNT_SETUPS)
    kit = find_kit(number)
    form = StartForm(data_of(request))

    def save(values: dict[str, Any]) -> Setup:
        return setups.start_setup(
            kit=kit,
            plate=values["plate"],
            check_level=values["check_level"],
            is_turned=form.turned,
            **signed(request),
        )

    def done(setup: Setup) -> tuple[str, str]:
        said = _("Mounting has begun on {place}.").format(place=setup.plate or setup.mill)
        return reverse("setup", args=[kit.number]), said

    return fill_in(request, form, template="setups/start.html", save=save, done=done, kit=kit)


@require_POST
def scan(request: HttpRequest, number: str) -> HttpResponse:
    """One scan beside the mill: a station's label leads there, the code of a setup sheet to its
    setup; a roll is judged for the shaft that is being mounted, or leads to where it goes."""
    require(request, Verb.MOUNT_SETUPS)
    setup, code = find_setup(number), request.POST.get("code", "").strip()[:60]
    station = _number(request.POST.get("station", ""))
    try:
        if (there := mounted_at(code)) is not None and there[0] == setup.kit.number:
            read = look_up([], [code]).code_of(code)
            return redirect(_station_url(there[0], there[1], at=read))
        if other := number_of_kit(code):
            return redirect("setup", other)
        if station:
            return _scan_at(request, setup, station, code)
        return redirect("setup-station", setup.kit.number, _where(setup, code))
    except NotAllowed:
        raise
    except ToolingError as error:
        if station:
            return station_page(request, setup.kit.number, station, error=error)
        return setup_answer(request, setup.kit.number, error=error)


def _scan_at(request: HttpRequest, setup: Setup, station: int, code: str) -> HttpResponse:
    number, shaft = setup.kit.number, request.POST.get("shaft", "")
    known = codes_for(request, number, station, shaft)
    mounting.check_scan(
        setup=setup, station=station, shaft=shaft, codes=[*known, code], at=timezone.now()
    )
    piece = look_up([code], [code]).subject(code, kit=setup.kit)
    kept = Piece.objects.get(pk=piece).code if isinstance(piece, int) else code
    keep(request, number, station, shaft, kept)
    return redirect(_station_url(number, station, at=request.POST.get("at", ""), shaft=shaft))


def _station_url(number: str, station: int, **said: str) -> str:
    words = {name: text for name, text in said.items() if text}
    url = reverse("setup-station", args=[number, station])
    return f"{url}?{urlencode(words)}" if words else url


def _where(setup: Setup, code: str) -> int:
    """The station to which the kit sends what was scanned. Raises ``wrong_position``."""
    subject = look_up([code], [code]).subject(code, kit=setup.kit)
    found = shaft_of(setup, subject) if isinstance(subject, int) else None
    if found is None:
        raise Unknown(
            "wrong_position",
            _("{code} has no place in kit {kit}. Scan the label of a station, or a roll of this "
              "kit."),
            code=code,
            kit=setup.kit.number,
        )  # fmt: skip
    return found[0]


@require_POST
def mount(request: HttpRequest, number: str, station: int, which: str) -> HttpResponse:
    """One tap: the shaft is on."""

    def act(setup: Setup, way: dict[str, Any]) -> None:
        mounting.mount(
            setup=setup,
            station=station,
            shaft=which,
            codes=codes_for(request, setup.kit.number, station, which),
            id=_uuid(request),
            **way,
        )
        forget(request, setup.kit.number, station, which)

    return _at_station(request, number, station, act)


@require_POST
def take_back(request: HttpRequest, number: str, station: int, which: str) -> HttpResponse:
    """The shaft is not on after all, or not left out."""

    def act(setup: Setup, way: dict[str, Any]) -> None:
        mounting.take_back(setup=setup, station=station, shaft=which, **way)
        forget(request, setup.kit.number, station, which)

    return _at_station(request, number, station, act)


@require_http_methods(["GET", "POST"])
def without(request: HttpRequest, number: str, station: int, which: str) -> HttpResponse:
    """What to do where something is not here: leave it out, take another, leave all of it out."""
    require(request, Verb.MOUNT_SETUPS)
    setup, error = find_setup(number), None
    if request.method == "POST":
        try:
            _without(request, setup, station, which)
            at = request.POST.get("at", "")
            return redirect(_station_url(setup.kit.number, station, at=at))
        except NotAllowed:
            raise
        except ToolingError as refused:
            error = refused
    answer = station_answer(number, station)
    shaft = next((each for each in answer.shafts if each.shaft == which), None)
    if shaft is None:
        raise Unknown("no_such_shaft", _("This kit puts nothing there."))
    context = {
        "answer": answer,
        "head": answer.head,
        "shaft": shaft,
        "error": error,
        "typed": request.POST,
        "arrived": request.POST.get("at") or request.GET.get("at", ""),
        "next_id": uuid.uuid4(),
    }
    status = error.status if error else 200
    return render(request, "setups/without.html", context, status=status)


def _without(request: HttpRequest, setup: Setup, station: int, which: str) -> None:
    at = {"setup": setup, "station": station, "shaft": which, **signed(request)}
    what, reason = request.POST.get("what", ""), request.POST.get("reason", "")
    if what == "all":
        mounting.leave_out(reason=reason, id=_uuid(request), **at)
    elif what == "other":
        filler = find_filler(request.POST.get("code", "").strip())
        other = {"piece": filler} if isinstance(filler, Piece) else {"line": filler}
        order = _number(request.POST.get("order", ""))
        mounting_instead.substitute(order=order, reason=reason, **other, **at)
    else:
        orders = [_number(text) for text in request.POST.getlist("off")]
        mounting.mount(
            left_out=dict.fromkeys(orders, reason),
            codes=codes_for(request, setup.kit.number, station, which),
            id=_uuid(request),
            **at,
        )
        forget(request, setup.kit.number, station, which)


@require_POST
def dock(request: HttpRequest, number: str) -> HttpResponse:
    """The plate is on the mill."""
    return _at_setup(request, number, lambda setup, way: setups.dock(setup=setup, **way))


@require_POST
def good(request: HttpRequest, number: str) -> HttpResponse:
    """The first good part."""
    return _at_setup(request, number, lambda setup, way: setups.say_good(setup=setup, **way))


@require_POST
def hand_over(request: HttpRequest, number: str) -> HttpResponse:
    """To the next shift, with what they must know."""
    note = request.POST.get("note", "")
    return _at_setup(
        request, number, lambda setup, way: setups.hand_over(setup=setup, note=note, **way)
    )


@require_POST
def hand_back(request: HttpRequest, number: str) -> HttpResponse:
    """It was not handed over after all."""
    return _at_setup(
        request, number, lambda setup, way: setups.take_handover_back(setup=setup, **way)
    )


@require_POST
def prove(request: HttpRequest, number: str) -> HttpResponse:
    """The set is proved by this setup."""

    def act(setup: Setup, way: dict[str, Any]) -> None:
        confirm(request)
        n = proving.prove_setup(setup=setup, note=request.POST.get("note", ""), **way)
        said = ngettext(
            "Proved: the chart holds, {n} new piece is sound.",
            "Proved: the chart holds, {n} new pieces are sound.",
            n,
        )
        messages.success(request, said.format(n=n))

    return _at_setup(request, number, act, verb=Verb.PROVE_SETS)


def _at_setup(
    request: HttpRequest, number: str, act: Act, *, verb: Verb = Verb.MOUNT_SETUPS
) -> HttpResponse:
    require(request, verb)
    setup = find_setup(number)
    try:
        act(setup, signed(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return setup_answer(request, setup.kit.number, error=error)
    return redirect("setup", setup.kit.number)


def _at_station(request: HttpRequest, number: str, station: int, act: Act) -> HttpResponse:
    require(request, Verb.MOUNT_SETUPS)
    setup = find_setup(number)
    try:
        act(setup, signed(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return station_page(request, setup.kit.number, station, error=error)
    return redirect(_station_url(setup.kit.number, station, at=request.POST.get("at", "")))


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0


def _uuid(request: HttpRequest) -> uuid.UUID | None:
    try:
        return uuid.UUID(request.POST.get("id", ""))
    except ValueError:
        return None

"""Striking a setup down: rows of full pegs, counts to their bins, the look over, the end."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Setup
from tooling.permissions import Verb, can
from tooling.queries.setups import find_setup
from tooling.queries.strip_down import act_id, strip_down
from tooling.services import strip_down as services
from tooling.services.holds import StopFor
from tooling.web.doors import require, signed

Way = dict[str, Any]


@require_GET
def show(request: HttpRequest, number: str) -> HttpResponse:
    """What is still on, row by row, and what is not home."""
    return _page(request, number)


def _page(request: HttpRequest, number: str, error: ToolingError | None = None) -> HttpResponse:
    takes_all = bool(request.GET.get("all") or request.POST.get("all"))
    page = strip_down(number, at=timezone.now(), takes_all=takes_all)
    context = {
        "takes_all": takes_all,
        "page": page,
        "error": error,
        "act": uuid.uuid4(),
        "may_mount": can(request.user, Verb.MOUNT_SETUPS),
        "may_stop": can(request.user, Verb.STOP_PIECES),
        "reasons": StopFor.choices,
        "gaps": request.POST.getlist("gap"),
        "reason": request.POST.get("reason", ""),
    }
    return render(request, "setups/strip_down.html", context, status=error.status if error else 200)


def _do(
    request: HttpRequest,
    number: str,
    act: Callable[[Setup, Way], str],
    *,
    verb: Verb = Verb.MOUNT_SETUPS,
) -> HttpResponse:
    """One act on the setup; refused, its page says why and keeps what was ticked."""
    require(request, verb)
    setup = find_setup(number)
    try:
        said = act(setup, signed(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, number, error)
    messages.success(request, said)
    url = reverse("strip-down", args=[setup.kit.number])
    return redirect(f"{url}?all=1" if request.POST.get("all") else url)


@require_POST
def take_off(request: HttpRequest, number: str) -> HttpResponse:
    """The pegs of these stations are full but for the gaps."""

    def act(setup: Setup, way: Way) -> str:
        stations = [int(each) for each in request.POST.getlist("station") if each.isdecimal()]
        gaps = request.POST.getlist("gap")
        key = act_id(request.POST.get("act", ""))
        everything = bool(request.POST.get("all"))
        services.take_off(
            setup=setup, stations=stations, gaps=gaps, takes_all=everything, act=key, **way
        )
        said = ngettext("{n} row is off.", "{n} rows are off.", len(stations))
        return said.format(n=len(stations))

    return _do(request, number, act)


@require_POST
def spacers(request: HttpRequest, number: str) -> HttpResponse:
    """Loose spacers are in their bins again, by count."""

    def act(setup: Setup, way: Way) -> str:
        key = act_id(request.POST.get("act", ""))
        services.send_counts_back(setup=setup, act=key, **way)
        return _("The spacers are in their bins.")

    return _do(request, number, act)


@require_POST
def undo(request: HttpRequest, number: str) -> HttpResponse:
    """What one tap did is as it was."""

    def act(setup: Setup, way: Way) -> str:
        key = act_id(request.POST.get("act", ""))
        if key is None:
            raise ToolingError("unknown_scan", _("That is not known here. Load the page again."))
        services.undo_act(setup=setup, act=key, **way)
        return _("Undone.")

    return _do(request, number, act)


@require_POST
def clean(request: HttpRequest, number: str) -> HttpResponse:
    """Everything was looked at: all clean and sound."""

    def act(setup: Setup, way: Way) -> str:
        services.look_over(setup=setup, id=act_id(request.POST.get("act", "")), **way)
        return _("Looked over: all clean and sound.")

    return _do(request, number, act)


@require_POST
def not_clean(request: HttpRequest, number: str) -> HttpResponse:
    """It was not looked over after all."""

    def act(setup: Setup, way: Way) -> str:
        services.undo_look(setup=setup, **way)
        return _("Undone.")

    return _do(request, number, act)


@require_POST
def flag(request: HttpRequest, number: str) -> HttpResponse:
    """A roll is not as it should be: it is stopped, and scanned by itself."""

    def act(setup: Setup, way: Way) -> str:
        code = request.POST.get("code", "").strip()
        key = act_id(request.POST.get("act", ""))
        what = request.POST.get("what", "")
        services.flag(setup=setup, code=code, what=what, id=key, **way)
        return _("{code} is held. Scan it to where you put it.").format(code=code)

    return _do(request, number, act, verb=Verb.STOP_PIECES)


@require_POST
def strike(request: HttpRequest, number: str) -> HttpResponse:
    """The setup is struck, its kit closed."""

    def act(setup: Setup, way: Way) -> str:
        services.strike(setup=setup, reason=request.POST.get("reason", ""), **way)
        return _("Kit {kit} is struck down.").format(kit=setup.kit.number)

    return _do(request, number, act)

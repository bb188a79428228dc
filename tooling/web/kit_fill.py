"""Filling the shafts of a kit: asked for, watched, read, and changed by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Kit
from tooling.permissions import Verb, can
from tooling.queries.fill_page import fill_page, fill_summary
from tooling.queries.kits import find_kit, kit_page, kit_version
from tooling.services import fill_acts, fills
from tooling.services.fill_bins import Really
from tooling.services.kit_choices import find_position
from tooling.web.doors import require, signed
from tooling.web.kits import kit_answer, shaft_answer
from tooling.web.rows import get_line
from tooling.web.show_whole import show_whole

BACKS = {"kit": "kit", "fill": "kit-fill"}


@require_GET
def show_fill(request: HttpRequest, number: str) -> HttpResponse:
    return fill_answer(request, number)


def fill_answer(
    request: HttpRequest, number: str, *, status: int = 200, **more: Any
) -> HttpResponse:
    """Every shaft with what fills it, what cannot be met, and what to make."""
    context = {**_context(request, number), "fill_back": "fill", **more}
    return render(request, "kits/fill.html", context, status=status)


def _context(request: HttpRequest, number: str) -> dict[str, Any]:
    page = fill_page(number)
    return {
        "fill": page,
        "fills": page.summary,
        "kit": kit_page(page.kit, at=timezone.now()),
        "may_gather": can(request.user, Verb.GATHER_KITS),
        "may_edit_records": can(request.user, Verb.EDIT_RECORDS),
    }


@require_GET
def fill_part(request: HttpRequest, number: str) -> HttpResponse:
    """How far it is, polled while it is worked out; a page that shows the stacks themselves comes
    whole when they are there. ``v``: the version on a screen where nothing is worked out; 204
    while it is the kit's own, else it is said that the kit moved: somebody may be typing."""
    seen = request.GET.get("v")
    if seen is not None and seen == str(kit_version(number)):
        return HttpResponse(status=204)
    summary = fill_summary(number)
    back = request.GET.get("back", "kit")
    is_over = summary.task is None or summary.task.is_over
    where = _where(request.GET) if back == "shaft" and _is_shaft(request.GET) else None
    if back != "kit" and is_over and seen is None:
        return show_whole(request, _back_to(number, where), _("It is done: show the stacks"))
    context = {
        "fills": summary, "kit": kit_page(number, at=timezone.now()), "fill_back": back,
        "may_gather": can(request.user, Verb.GATHER_KITS), "is_moved": seen is not None and is_over,
    }  # fmt: skip
    if where:
        context |= {"station": {"number": where["station"]}, "shaft": {"which": where["shaft"]}}
    return render(request, "kits/fill_part.html", context)


def _back_to(number: str, where: dict[str, Any] | None) -> str:
    """The page from which somebody asked: of one shaft, else of all stacks."""
    if where is None:
        return reverse("kit-fill", args=[number])
    return reverse("kit-shaft", args=[number, where["station"], where["shaft"]])


@require_GET
def make_list(request: HttpRequest, number: str) -> HttpResponse:
    """What to make so that every shaft can be filled, to print."""
    return render(request, "kits/make_list.html", _context(request, number))


@require_POST
def ask(request: HttpRequest, number: str) -> HttpResponse:
    """Have the shafts filled; the page shows how far it is."""
    return _act(request, number, lambda kit, way: fills.ask_fill(kit=kit, **way))


@require_POST
def stop(request: HttpRequest, number: str) -> HttpResponse:
    """Stop working it out."""
    return _act(request, number, lambda kit, way: fills.stop_fill(kit=kit, **way))


@require_POST
def clear(request: HttpRequest, number: str) -> HttpResponse:
    """Take the spacers out of one shaft, or of all."""
    one = {} if request.POST.get("all") else _where(request.POST)

    def act(kit: Kit, way: dict[str, Any]) -> None:
        n = fills.clear(kit=kit, **way, **one)
        said = ngettext("{n} spacer taken out.", "{n} spacers taken out.", n)
        messages.success(request, said.format(n=n))

    return _act(request, number, act)


@require_POST
def not_there(request: HttpRequest, number: str) -> HttpResponse:
    """A spacer is not where it should be: another stack is looked for, of that shaft alone."""

    def act(kit: Kit, way: dict[str, Any]) -> None:
        position = find_position(kit=kit, position=_number(request.POST, "position"))
        fills.not_there(kit=kit, position=position, really=_really(request), **way)

    return _act(request, number, act)


def _really(request: HttpRequest) -> Really | None:
    """What the bin holds, where the form says it."""
    code, there = request.POST.get("bin", ""), request.POST.get("there", "").strip()
    if not code or not there:
        return None
    if not (there.isascii() and there.isdigit() and len(there) < 8):
        raise ToolingError("not_a_number", _("“{text}” is no number of spacers."), text=there[:20])
    return Really(get_line(code), int(there))


@require_POST
def pin(request: HttpRequest, number: str) -> HttpResponse:
    """A fill stays as it is when the rest is solved again, or may change."""
    is_pinned = request.POST.get("pinned") == "1"

    def act(kit: Kit, way: dict[str, Any]) -> None:
        position = find_position(kit=kit, position=_number(request.POST, "position"))
        fill_acts.pin(kit=kit, position=position, is_pinned=is_pinned, **way)

    return _act(request, number, act)


@require_POST
def swap(request: HttpRequest, number: str) -> HttpResponse:
    """One spacer for another."""
    code = request.POST.get("code", "").strip()

    def act(kit: Kit, way: dict[str, Any]) -> None:
        position = find_position(kit=kit, position=_number(request.POST, "position"))
        fill_acts.swap(kit=kit, position=position, code=code, **way)
        messages.success(request, _("Swapped, and pinned."))

    return _act(request, number, act)


@require_POST
def by_hand(request: HttpRequest, number: str) -> HttpResponse:
    """A fill put together by length marks."""
    given = {
        **_where(request.POST),
        "fill": request.POST.get("fill", ""),
        "after": _number(request.POST, "after"),
        "text": request.POST.get("text", "")[:400],
    }

    def act(kit: Kit, way: dict[str, Any]) -> None:
        fill_acts.by_hand(kit=kit, **given, **way)
        messages.success(request, _("The fill stands as you wrote it, and is pinned."))

    return _act(request, number, act)


def _where(given: QueryDict) -> dict[str, Any]:
    return {"station": _number(given, "station"), "shaft": given.get("shaft", "")}


def _number(given: QueryDict, name: str) -> int:
    text = given.get(name, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0


def _act(
    request: HttpRequest, number: str, act: Callable[[Kit, dict[str, Any]], Any]
) -> HttpResponse:
    """Do it and go back to the page from which it was asked; what is refused stands there."""
    require(request, Verb.GATHER_KITS)
    kit = find_kit(number)
    try:
        act(kit, signed(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return _refused(request, kit, error)
    back = request.POST.get("back", "")
    if back == "shaft" and _is_shaft(request.POST):
        return redirect(_back_to(kit.number, _where(request.POST)))
    return redirect(reverse(BACKS.get(back, "kit-fill"), args=[kit.number]) + "#fill")


def _is_shaft(given: QueryDict) -> bool:
    return _number(given, "station") > 0 and given.get("shaft") in ("top", "bottom")


def _refused(request: HttpRequest, kit: Kit, error: ToolingError) -> HttpResponse:
    """The same page with the problem and what was typed."""
    more: dict[str, Any] = {"error": error, "typed": request.POST}
    back = request.POST.get("back", "")
    if back == "shaft" and _is_shaft(request.POST):
        where = _where(request.POST)
        return shaft_answer(
            request, kit.number, where["station"], where["shaft"], status=error.status, **more
        )
    if back == "kit":
        return kit_answer(request, kit.number, status=error.status, **more)
    return fill_answer(request, kit.number, status=error.status, **more)

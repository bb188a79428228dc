"""Handing out on one page: where to, until when, what is scanned, one tap when it goes.

Nothing is written before that tap: what leaves the building is asked about once.
"""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Place
from tooling.permissions import Verb, check_can
from tooling.queries.hand_outs import OutLine, out_lines
from tooling.queries.out import AwayPlace, away_place, away_places
from tooling.services import loans as services
from tooling.services.loans import Thing
from tooling.services.owner_gate import check_may_leave
from tooling.web.doors import rights, signed
from tooling.web.forms.loans import a_day, uuids, whole

LONGEST = 60


@require_GET
def show_hand_out(request: HttpRequest) -> HttpResponse:
    """``to`` (a label code or name) says where; ``code`` begins the list."""
    check_can(request.user, Verb.MOVE_PIECES)
    to, error = _to(request.GET.get("to", ""))
    codes = [code[:LONGEST] for code in request.GET.getlist("code")[:100] if code]
    if to is None:
        context = {"choices": away_places(), "codes": codes, "error": error}
        status = error.status if error else 200
        return render(request, "loans/where.html", {**context, **rights(request)}, status=status)
    return _page(request, to, [Thing(code) for code in codes], error)


@require_POST
def add(request: HttpRequest) -> HttpResponse:
    """One more on the list, or one less; the page's script asks for the list alone."""
    check_can(request.user, Verb.MOVE_PIECES)
    to, error = _to(request.POST.get("to", ""))
    if to is None:
        return redirect("hand-out")
    things = _things(request)
    try:
        if code := request.POST.get("code", "").strip()[:LONGEST]:
            known = {thing.code for thing in things}
            more = [c for c in services.codes_of(code, to=to.place) if c not in known]
            out_lines([(c, None) for c in more])
            things += [Thing(c) for c in more]
    except ToolingError as problem:
        error = problem
    return _page(request, to, things, error)


@require_POST
def send(request: HttpRequest) -> HttpResponse:
    """They go now, all of them or none."""
    check_can(request.user, Verb.MOVE_PIECES)
    to, _unknown = _to(request.POST.get("to", ""))
    if to is None:
        return redirect("hand-out")
    things = _things(request)
    acts = uuids(request.POST.getlist("act"))
    try:
        act = services.hand_out(
            **signed(request),
            to=to.place,
            things=things,
            due_on=a_day(request.POST.get("due_on", "")),
            reason=request.POST.get("reason", ""),
            act=acts[0] if acts else None,
        )
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, to, things, error)
    return redirect(f"{reverse('loans')}?act={act}")


def _to(text: str) -> tuple[AwayPlace | None, ToolingError | None]:
    if not text.strip():
        return None, None
    try:
        return away_place(text.strip()[:200], at=timezone.now()), None
    except ToolingError as error:
        return None, error


def _things(request: HttpRequest) -> list[Thing]:
    post = request.POST
    dropped = post.get("drop", "")
    codes = dict.fromkeys(code[:LONGEST] for code in post.getlist("thing") if code != dropped)
    return [Thing(code, whole(post.get(f"quantity-{code}"))) for code in codes]


def _page(
    request: HttpRequest, to: AwayPlace, things: list[Thing], error: ToolingError | None
) -> HttpResponse:
    lines, trouble = _lines(things)
    kept = _kept(lines, to.place)
    said = request.POST if request.method == "POST" else {}
    context: dict[str, Any] = {
        "to": to,
        "lines": lines,
        "kept": kept,
        "count": sum(line.quantity if line.kind == "bin" else 1 for line in lines),
        "kg": sum(line.mass_kg or 0.0 for line in lines),
        "due_on": said.get("due_on", to.due_on.isoformat() if to.due_on else ""),
        "reason": said.get("reason", ""),
        "act": said.get("act") or uuid.uuid4(),
        "error": error or trouble,
    }
    part = request.headers.get("X-Part") == "list"
    template = "loans/going.html" if part else "loans/hand_out.html"
    shown = context["error"]
    status = shown.status if shown and not part else 200
    return render(request, template, {**context, **rights(request)}, status=status)


def _lines(things: list[Thing]) -> tuple[list[OutLine], ToolingError | None]:
    """The list as far as it can be read; a code that is void by now is left out and told."""
    try:
        return out_lines([(thing.code, thing.quantity) for thing in things]), None
    except ToolingError as error:
        good = []
        for thing in things:
            try:
                good += out_lines([(thing.code, thing.quantity)])
            except ToolingError:
                continue
        return good, error


def _kept(lines: list[OutLine], to: Place) -> dict[str, ToolingError]:
    """Code → why its owner keeps it here."""
    pieces = {line.piece_id: line.code for line in lines if line.piece_id is not None}
    bins = {line.line_id: line.code for line in lines if line.line_id is not None}
    of_pieces, of_bins = check_may_leave(pieces=pieces, lines=bins, to=to, at=timezone.now())
    found = {pieces[pk]: error for pk, error in of_pieces.items()}
    return found | {bins[pk]: error for pk, error in of_bins.items()}

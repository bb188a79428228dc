"""By hand at a bin: what is offered there, and what somebody did. Each act also works as a plain
form; a script asks for the answer as JSON and stays where it is."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Movement, StockLine
from tooling.permissions import Verb, can, check_can
from tooling.queries.scans import is_recorded
from tooling.queries.shop import stock_line
from tooling.queries.stock_hand import Hand, hand
from tooling.queries.stock_news import said_of, stock_news
from tooling.services import corrections, stock_hand
from tooling.services.movements import find_movement
from tooling.services.stock_home import put_counts_back
from tooling.web.doors import rights, signed
from tooling.web.forms.loans import whole
from tooling.web.rows import get_line, get_place
from tooling.web.sessions import person_of


@require_GET
def panel(request: HttpRequest) -> HttpResponse:
    """What a bin that was scanned offers, for the Scan page to show in place."""
    check_can(request.user, Verb.MOVE_PIECES)
    try:
        bin_ = hand(_said(request.GET.get("code")), person=person_of(request),
                    to=_said(request.GET.get("to")))  # fmt: skip
    except ToolingError as error:
        return JsonResponse({"code": error.code, "message": error.message}, status=error.status)
    return render(request, "stock/panel.html", {**panel_of(request, bin_), "in_place": True})


def panel_of(request: HttpRequest, bin_: Hand) -> dict[str, Any]:
    """What ``stock/panel.html`` is filled from; ``chosen`` is what was refused, else what one
    most likely does."""
    chosen = request.POST.get("verb") or ("back" if "from" in request.POST else "")
    if not chosen:
        may_count = can(request.user, Verb.COUNT_STOCK)
        chosen = "count" if may_count and not bin_.count and "to" not in request.POST else "take"
    return {
        "bin": bin_,
        "next_id": uuid.uuid4(),
        "chosen": chosen,
        "typed": request.POST.get("quantity", ""),
        "other": request.POST.get("other", ""),
        "named": request.POST.get("named", ""),
        **rights(request),
    }


@require_POST
def take(request: HttpRequest, code: str) -> HttpResponse:
    """Take some of the bin to where the button says, or to the place that was written."""
    check_can(request.user, Verb.MOVE_PIECES)
    line = get_line(code)

    def act() -> Movement:
        named = _said(request.POST.get("named")) or _said(request.POST.get("other"))
        to = _said(request.POST.get("to")) or named
        number = _number(request, to)
        return stock_hand.take(
            **signed(request), line=line, to=to, quantity=number, id=key_of(request)
        )

    return done(request, line, act)


@require_POST
def put_back(request: HttpRequest, code: str) -> HttpResponse:
    """Put some of what lies elsewhere back into the bin."""
    check_can(request.user, Verb.MOVE_PIECES)
    line = get_line(code)

    def act() -> Movement:
        source = _said(request.POST.get("from"))
        return stock_hand.put_back(
            **signed(request),
            line=line,
            source=get_line(source),
            quantity=_number(request, source),
            id=key_of(request),
        )

    return done(request, line, act)


@require_POST
def undo(request: HttpRequest, code: str) -> HttpResponse:
    """Put one of the bin's rows right: as if it had not been."""
    check_can(request.user, Verb.MOVE_PIECES)
    line = get_line(code)

    def act() -> Movement:
        try:
            key = uuid.UUID(request.POST.get("movement", ""))
        except ValueError:
            raise ToolingError(
                "unknown_scan", _("That entry is not known here. Load the page again.")
            ) from None
        return corrections.undo(**signed(request), movement=find_movement(key))[0]

    return done(request, line, act, said=_now("Put right."))


@require_POST
def put_all_back(request: HttpRequest, code: str) -> HttpResponse:
    """Everything counted in a place goes back to the bins that it was taken from."""
    check_can(request.user, Verb.MOVE_PIECES)
    place = get_place(code)
    rows = put_counts_back(**signed(request), source=place, act=key_of(request))
    total = sum(row.quantity for row in rows)
    messages.success(request, _now("{n} went back to their bins.").format(n=total))
    return redirect("place", place.code)


def done(
    request: HttpRequest, line: StockLine, act: Callable[[], Movement], *, said: str = ""
) -> HttpResponse:
    """Do it once and say what was done; a refusal shows the bin again with its sentence."""
    as_json = wants_json(request)
    if (key := key_of(request)) is not None and is_recorded(key):
        return JsonResponse({"code": "", "message": ""}) if as_json else _back(line)
    try:
        row = act()
    except NotAllowed:
        raise
    except ToolingError as error:
        if as_json:
            told = {"code": error.code, "message": error.message}
            return JsonResponse(told, status=error.status)
        return line_page(request, line.code, status=error.status, error=error)
    line.refresh_from_db()
    said = said or said_of(row, left=line.count)
    if as_json:
        source = row.stock.code if row.stock else line.code
        told = {"id": str(row.uuid), "code": "", "message": said, "subject": source}
        return JsonResponse({**told, "count": line.count})
    messages.success(request, said)
    return _back(line)


def line_page(request: HttpRequest, code: str, *, status: int = 200, **more: Any) -> HttpResponse:
    """One bin with what may be done and what happened."""
    row = stock_line(code)
    bin_ = hand(code, person=person_of(request), to=_said(request.GET.get("to")))
    context = {
        "line": row,
        "news": stock_news(code.upper()),
        **panel_of(request, bin_),
        **more,
    }
    return render(request, "stock/line.html", context, status=status)


def wants_json(request: HttpRequest) -> bool:
    """Whether a page's script asks, which shows the answer itself."""
    return request.headers.get("Accept", "") == "application/json"


def key_of(request: HttpRequest) -> uuid.UUID | None:
    """The id that the form carries, so that it counts once."""
    try:
        return uuid.UUID(request.POST.get("id", ""))
    except ValueError:
        return None


def _back(line: StockLine) -> HttpResponse:
    return redirect("stock-line", line.code)


def _said(text: str | None) -> str:
    return "".join(each for each in (text or "") if each.isprintable()).strip()[:80]


def _number(request: HttpRequest, target: str) -> int | None:
    """How many: as typed, else as the button of this target said. Raises ``absurd_quantity``."""
    typed = request.POST.get("quantity", "").strip()
    offered = request.POST.get(f"n-{target}") or request.POST.get("n", "")
    text = typed or offered.strip()
    if not text:
        return None
    number = whole(text)
    if number is None or number < 1:
        raise ToolingError(
            "absurd_quantity",
            _("“{quantity}” is no number of pieces. Write a whole number."),
            quantity=text[:20],
            in_field="quantity",
        )
    return number

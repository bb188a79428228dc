"""What to make or buy: the list, as a file, and what somebody made or ordered."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from tooling.engineering.lengths import format_length
from tooling.errors import NotAllowed, ToolingError
from tooling.permissions import Verb, check_can
from tooling.queries.find import find_drawing
from tooling.queries.stock_needs import Need, stock_needs
from tooling.services import stock
from tooling.services.stock_orders import order_counted
from tooling.web.count_sheets import sheet_answer
from tooling.web.doors import rights, signed
from tooling.web.forms.loans import a_day, whole
from tooling.web.rows import get_line

HEADINGS = ("Drawing", "Title", "Kind", "Unit", "Width or thickness", "Bore", "Have", "With kits",
            "Least", "Wanted at once", "Wanted from", "Jobs", "Short by", "Ordered", "Due",
            "To make or order")  # fmt: skip


@require_GET
def show_needs(request: HttpRequest) -> HttpResponse:
    return _page(request)


def _page(request: HttpRequest, *, status: int = 200, **more: Any) -> HttpResponse:
    everything = bool(request.GET.get("all"))
    needs = stock_needs(at=timezone.now(), everything=everything)
    context = {
        "needs": needs,
        "everything": everything,
        "today": timezone.localdate(),
        **rights(request),
        **more,
    }
    return render(request, "stock/needs.html", context, status=status)


@require_GET
def needs_csv(request: HttpRequest) -> HttpResponse:
    """The same as a file."""
    needs = stock_needs(at=timezone.now(), everything=bool(request.GET.get("all")))
    return sheet_answer("make-or-buy.csv", HEADINGS, [_row(need) for need in needs])


def _row(need: Need) -> list[Any]:
    return [
        need.drawing, need.title, need.kind, need.unit, _size(need.face_width_nm, need.unit),
        _size(need.bore_nm, need.unit), need.have, need.with_kits, need.least, need.wanted,
        need.wanted_at, " ".join(need.jobs), need.short_by, need.ordered, need.due_on, need.to_get,
    ]  # fmt: skip


def _size(value_nm: int | None, unit: str) -> str:
    return "" if value_nm is None else format_length(value_nm, "in" if unit == "in" else "mm")


@require_POST
def made(request: HttpRequest) -> HttpResponse:
    """The shop made some; they lie in this bin now."""
    check_can(request.user, Verb.COUNT_STOCK)

    def act() -> str:
        line, number = get_line(request.POST.get("bin", "").strip()), _number(request)
        stock.make(**signed(request), line=line, quantity=number)
        words = _("{n} of {drawing} made, now in bin {bin}.")
        return words.format(n=number, drawing=line.drawing.number, bin=line.code)

    return _done(request, act)


@require_POST
def ordered(request: HttpRequest) -> HttpResponse:
    """Some were ordered; the order comes in as every other."""
    check_can(request.user, Verb.ORDER_TOOLING)

    def act() -> str:
        drawing, number = find_drawing(request.POST.get("drawing", "")), _number(request)
        purchase = order_counted(
            **signed(request),
            drawing=drawing,
            quantity=number,
            number=request.POST.get("order", ""),
            vendor=request.POST.get("vendor", ""),
            ordered_on=timezone.localdate(),
            due_on=_due(request),
        )
        words = _("{n} of {drawing} ordered: order {order}.")
        return words.format(n=number, drawing=drawing.number, order=purchase.number)

    return _done(request, act)


def _due(request: HttpRequest) -> date | None:
    return a_day(request.POST.get("due_on", ""))


def _number(request: HttpRequest) -> int:
    text = request.POST.get("quantity", "")
    number = whole(text)
    if number is None or number < 1:
        raise ToolingError(
            "absurd_quantity",
            gettext_lazy("“{quantity}” is no number of pieces. Write a whole number."),
            quantity=text[:20],
        )
    return number


def _done(request: HttpRequest, act: Callable[[], str]) -> HttpResponse:
    """Back to the list; a refusal shows it with what was typed."""
    try:
        said = act()
    except NotAllowed:
        raise
    except ToolingError as error:
        typed = {**request.POST.dict(), "drawing": request.POST.get("drawing", "")}
        return _page(request, status=error.status, error=error, typed=typed)
    messages.success(request, said)
    return redirect("stock-needs")

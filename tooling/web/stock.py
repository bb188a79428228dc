"""Stock bins: the list, one bin, and what changes its count."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.models import Movement, Owner, StockLine
from tooling.permissions import Verb
from tooling.queries.shop import stock_line, stock_list
from tooling.queries.stock_news import stock_news
from tooling.services import stock, stock_lines
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.pieces import StockForm, StockLineForm
from tooling.web.rows import get_line
from tooling.web.sessions import person_of


@require_GET
def show_stock(request: HttpRequest) -> HttpResponse:
    """Every bin by bore and width, or those below their least."""
    text, short = request.GET.get("q", "").strip(), bool(request.GET.get("short"))
    context = {"rows": stock_list(text=text, short_only=short), "text": text, "short": short}
    return render(request, "stock/list.html", {**context, **rights(request)})


@require_GET
def show_line(request: HttpRequest, code: str) -> HttpResponse:
    context = {"line": stock_line(code), "news": stock_news(code.upper()), "form": StockForm()}
    return render(request, "stock/line.html", {**context, **rights(request)})


@require_http_methods(["GET", "POST"])
def new_line(request: HttpRequest) -> HttpResponse:
    require(request, Verb.COUNT_STOCK)
    initial = {
        "owner": Owner.objects.filter(is_shop=True).first(),
        "drawing": request.GET.get("drawing", ""),
        "place": request.GET.get("place", ""),
    }

    def save(values: dict[str, Any]) -> StockLine:
        values["least_count"] = values["least_count"] or 0
        return stock_lines.create_line(**signed(request), **values)

    return fill_in(
        request,
        StockLineForm(data_of(request), initial=initial),
        template="stock/new.html",
        save=save,
        done=lambda row: (
            reverse("stock-line", args=[row.code]),
            _("Bin {code} made.").format(code=row.code),
        ),
    )


@require_POST
def change_line(request: HttpRequest, code: str) -> HttpResponse:
    """One change of the count: counted, received, made, used up, scrapped, moved."""
    require(request, Verb.MOVE_PIECES)
    line = get_line(code)

    def save(values: dict[str, Any]) -> Movement:
        verb, to, n = values["verb"], values["to"], values["quantity"]
        shared = {
            "by": person_of(request),
            "at": timezone.now(),
            "line": line,
            "note": values["note"],
        }
        if verb == "count":
            return stock.count(counted=n, **shared)
        if verb == "move":
            return stock.move(quantity=n, to=to, **shared)
        act = {"receive": stock.receive, "make": stock.make, "use_up": stock.use_up}
        return act.get(verb, stock.scrap)(quantity=n, **shared)

    return fill_in(
        request,
        StockForm(request.POST),
        template="stock/change.html",
        save=save,
        done=lambda row: (reverse("stock-line", args=[line.code]), _("Written down.")),
        line=line,
    )

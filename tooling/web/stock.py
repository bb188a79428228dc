"""Stock bins: the list, one bin, and what changes its count."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Movement, Owner, StockLine
from tooling.permissions import Verb
from tooling.queries.shop import stock_list
from tooling.services import stock, stock_lines
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.loans import whole
from tooling.web.forms.pieces import StockForm, StockLineForm
from tooling.web.rows import get_line
from tooling.web.stock_hand import done, key_of, line_page, wants_json


@require_GET
def show_stock(request: HttpRequest) -> HttpResponse:
    """Every bin by bore and width, or those below their least."""
    text, short = request.GET.get("q", "").strip(), bool(request.GET.get("short"))
    context = {"rows": stock_list(text=text, short_only=short), "text": text, "short": short}
    return render(request, "stock/list.html", {**context, **rights(request)})


@require_GET
def show_line(request: HttpRequest, code: str) -> HttpResponse:
    """One bin; ``to`` in the address says where somebody was going with some of it."""
    return line_page(request, code)


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
        shared = {**signed(request), "line": line, "note": values["note"], "id": key_of(request)}
        if verb == "count":
            return stock.count(counted=n, **shared)
        if verb == "move":
            return stock.move(quantity=n, to=to, **shared)
        act = {"receive": stock.receive, "make": stock.make, "use_up": stock.use_up}
        return act.get(verb, stock.scrap)(quantity=n, **shared)

    form = StockForm(request.POST)
    if form.is_valid():
        return done(request, line, lambda: save(form.cleaned_data))
    if wants_json(request):
        error = next(iter(form.errors.as_data().values()))[0]
        return JsonResponse({"code": error.code, "message": error.messages[0]}, status=400)
    context = {"form": form, "line": line, **rights(request)}
    return render(request, "stock/change.html", context, status=400)


@require_POST
def set_least(request: HttpRequest, code: str) -> HttpResponse:
    """How many the bin is to hold at least."""
    require(request, Verb.COUNT_STOCK)
    line = get_line(code)
    least = whole(request.POST.get("least_count"))
    try:
        if least is None:
            raise ToolingError(
                "absurd_quantity",
                gettext_lazy("“{quantity}” is no number of pieces. Write a whole number."),
                quantity=request.POST.get("least_count", "")[:20],
            )
        stock_lines.set_least(**signed(request), line=line, least_count=least)
    except NotAllowed:
        raise
    except ToolingError as error:
        return line_page(request, line.code, status=error.status, error=error)
    return redirect("stock-line", line.code)

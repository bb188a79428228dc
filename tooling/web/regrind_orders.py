"""Orders for work on pieces: the lists, one order, its head and its lines, its packing list."""

from __future__ import annotations

from typing import Any, get_args

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import RegrindOrder, Shop
from tooling.paper.packing_list import packing_list_pdf
from tooling.paper.pages import PaperName
from tooling.permissions import Verb
from tooling.queries.by_code import place_of
from tooling.queries.lead_times import lead_times
from tooling.queries.regrind_order_page import order_page
from tooling.queries.regrind_order_views import OrderLineView, OrderPage
from tooling.queries.regrind_orders import (
    ended_orders,
    find_order,
    find_order_line,
    order_lists,
    vendors,
)
from tooling.services import regrind_orders
from tooling.services.regrind_asked import asked_lines
from tooling.services.regrind_targets import OrderLineIn
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.regrind_orders import (
    AddPieceForm,
    DropForm,
    ForJobForm,
    LineForm,
    NewOrderForm,
    OrderHeadForm,
    ReleaseForm,
)
from tooling.web.sessions import person_of


@require_GET
def show_orders(request: HttpRequest) -> HttpResponse:
    """Open orders by what is to be done next; ``ended`` in the address: those that are over."""
    today, ended = timezone.localdate(), bool(request.GET.get("ended"))
    context: dict[str, Any] = {"ended": ended, **rights(request)}
    if ended:
        context["rows"] = ended_orders(today=today)
    else:
        context |= {"lists": order_lists(today=today), "lead_times": lead_times()}
    return render(request, "regrinds/orders.html", context)


@require_GET
def show_order(request: HttpRequest, number: str) -> HttpResponse:
    return order_answer(request, number)


def read_page(request: HttpRequest, number: str) -> OrderPage:
    """An order in the person's unit; *as drawn* is that of its pieces."""
    chosen = unit_of(request.user, "drawn")
    unit = chosen if chosen in ("mm", "in") else None
    return order_page(number, at=timezone.now(), unit=unit)


def order_answer(
    request: HttpRequest, number: str, *, template: str = "regrinds/order.html", status: int = 200,
    page: OrderPage | None = None, **more: Any,
) -> HttpResponse:  # fmt: skip
    """An order's page, with what was refused in its place."""
    page = page or read_page(request, number)
    context = {
        "order": page,
        "release_form": ReleaseForm(initial={"version": page.version}),
        "part_form": ReleaseForm(auto_id="part_%s", initial={"version": page.version}),
        "job_form": ForJobForm(jobs=page.jobs),
        "drop_form": DropForm(),
        **rights(request),
        **more,
    }
    return render(request, template, context, status=status)


@require_http_methods(["GET", "POST"])
def new_order(request: HttpRequest) -> HttpResponse:
    """Pieces by code, those of a set, or those of a plan; the address may name them already."""
    require(request, Verb.ORDER_REGRINDS)
    asked = {name: request.GET.get(name, "")[:40] for name in ("codes", "copy", "plan")}
    form = NewOrderForm(
        data_of(request), vendors=vendors(), initial=asked, unit=unit_of(request.user, "mm")
    )
    return fill_in(
        request,
        form,
        template="regrinds/order_form.html",
        save=lambda values: _request(request, values),
        done=lambda row: (_url(row.number), _asked_for(row)),
        head=_("Order work on pieces"),
        back=reverse("regrind-orders"),
    )


def _request(request: HttpRequest, values: dict[str, Any]) -> RegrindOrder:
    asked = asked_lines(
        codes=values["codes"], copy=values["copy"], plan_number=values["plan"],
        kinds=values["kinds"], take_off_nm=values["take_off"], tolerance_nm=values["tolerance"],
    )  # fmt: skip
    return regrind_orders.request_order(
        **signed(request), lines=asked.lines, plan=asked.plan, leave_out=values["leave_out"],
        **_head(values),
    )  # fmt: skip


def _asked_for(row: RegrindOrder) -> str:
    said = row.events.values_list("said", flat=True).first() or {}
    left = said.get("left_out", 0)
    if not left:
        return _("Order {n} is asked for.").format(n=row.number)
    words = ngettext(
        "Order {n} is asked for; {left} piece was left out.",
        "Order {n} is asked for; {left} pieces were left out.",
        left,
    )
    return words.format(n=row.number, left=left)


def _head(values: dict[str, Any]) -> dict[str, Any]:
    return {
        "vendor": place_of(values["vendor"]) if values["vendor"] else None,
        "due_on": values["due_on"],
        "price_cents": values["price_cents"],
        "note": values["note"],
    }


@require_http_methods(["GET", "POST"])
def edit_order(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.ORDER_REGRINDS)
    row = find_order(number)
    initial = {
        "vendor": row.vendor.code if row.vendor else "",
        "due_on": row.due_on,
        "price_cents": row.price_cents,
        "note": row.note,
    }
    return fill_in(
        request,
        OrderHeadForm(data_of(request), vendors=vendors(), initial=initial),
        template="regrinds/order_form.html",
        save=lambda values: regrind_orders.edit_order(
            **signed(request), order=row, **_head(values)
        ),
        done=lambda _saved: (_url(row.number), _("Saved.")),
        head=_("Order {n}").format(n=row.number),
        back=_url(row.number),
    )


@require_http_methods(["GET", "POST"])
def add_piece(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.ORDER_REGRINDS)
    row = find_order(number)

    def save(values: dict[str, Any]) -> Any:
        line = OrderLineIn(
            values["piece"], kinds=values["kinds"], take_off_nm=values["take_off"],
            tolerance_nm=values["tolerance"], note=values["note"],
        )  # fmt: skip
        return regrind_orders.add_line(**signed(request), order=row, line=line)

    return fill_in(
        request,
        AddPieceForm(data_of(request), unit=unit_of(request.user, "mm")),
        template="regrinds/order_form.html",
        save=save,
        done=lambda saved: (_url(row.number), _("{piece} is on it.").format(piece=saved.piece)),
        head=_("Another piece for order {n}").format(n=row.number),
        back=_url(row.number),
    )


@require_http_methods(["GET", "POST"])
def change_line(request: HttpRequest, number: str, code: str) -> HttpResponse:
    """Work, targets and tolerances of one piece."""
    require(request, Verb.ORDER_REGRINDS)
    row = find_order_line(find_order(number), code)
    page = read_page(request, number)
    view = next(line for line in page.lines if line.code == row.piece.code)
    form = _line_form(request, view, sent=row.sent_at is not None)

    def save(values: dict[str, Any]) -> Any:
        line = OrderLineIn(
            row.piece, kinds=values["kinds"], targets=form.targets(),
            mark_to_restore=values["mark_to_restore"], note=values["note"],
        )  # fmt: skip
        return regrind_orders.change_line(
            **signed(request), row=row, line=line, reason=values["reason"]
        )

    return fill_in(
        request,
        form,
        template="regrinds/order_line.html",
        save=save,
        done=lambda _saved: (_url(row.order.number), _("Saved.")),
        order=page,
        line=view,
        back=_url(row.order.number),
    )


def _line_form(request: HttpRequest, view: OrderLineView, *, sent: bool) -> LineForm:
    names = [size.name for size in view.sizes] or ["drive_diameter"]
    lengths: dict[str, int | None] = {}
    for size in view.sizes:
        if size.target_nm is not None:
            lengths |= {f"target_{size.name}": size.target_nm, f"minus_{size.name}": size.minus_nm,
                        f"plus_{size.name}": size.plus_nm}  # fmt: skip
    initial = {"kinds": view.kinds, "mark_to_restore": view.mark_to_restore, "note": view.note}
    return LineForm(
        data_of(request), names=names, unit=unit_of(request.user, view.unit), lengths=lengths,
        initial=initial, asks_reason=sent,
    )  # fmt: skip


@require_POST
def remove_line(request: HttpRequest, number: str, code: str) -> HttpResponse:
    require(request, Verb.ORDER_REGRINDS)
    row = find_order_line(find_order(number), code)
    try:
        regrind_orders.remove_line(**signed(request), row=row)
    except NotAllowed:
        raise
    except ToolingError as error:
        return order_answer(request, number, status=error.status, error=error)
    messages.success(request, _("{piece} is off the order.").format(piece=row.piece))
    return redirect("regrind-order", number)


@require_GET
def packing_list(request: HttpRequest, number: str) -> HttpResponse:
    """What goes with the pieces: codes, targets, tolerances; ``paper``: a4 or letter."""
    papers: dict[str, PaperName] = {each: each for each in get_args(PaperName)}
    paper = papers.get(request.GET.get("paper", ""), "a4")
    page, at = read_page(request, number), timezone.now()
    shop = Shop.objects.filter(pk=1).values_list("name", flat=True).first() or ""
    chosen = getattr(person_of(request), "length_unit", "drawn")
    data = packing_list_pdf(page, shop=shop, printed_at=at, paper=paper, unit=chosen)
    headers = {"Content-Disposition": f'inline; filename="packing-list-{page.number}.pdf"'}
    return HttpResponse(data, content_type="application/pdf", headers=headers)


def _url(number: str) -> str:
    return reverse("regrind-order", args=[number])

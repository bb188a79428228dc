"""Orders for new tooling: the list, one order, its lines."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Owner, PurchaseLine
from tooling.permissions import Verb
from tooling.queries.by_code import revision_of
from tooling.queries.purchases import find_line, find_purchase, purchase_list, purchase_page
from tooling.services import purchases
from tooling.services.purchases import LineIn
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.purchases import CloseOrderForm, EditPurchase, LineForm, PurchaseForm

FACTS = ("vendor", "owner", "ordered_on", "due_on", "note")


@require_GET
def show_purchases(request: HttpRequest) -> HttpResponse:
    """Open orders, the first due first; ``closed`` in the address: the closed ones."""
    closed = bool(request.GET.get("closed"))
    rows = purchase_list(today=timezone.localdate(), closed=closed)
    context = {"rows": rows, "closed": closed, **rights(request)}
    return render(request, "purchases/list.html", context)


@require_GET
def show_purchase(request: HttpRequest, number: str) -> HttpResponse:
    return purchase_answer(request, number)


def purchase_answer(
    request: HttpRequest, number: str, *, status: int = 200, **forms: Any
) -> HttpResponse:
    """An order's page, with what was refused in its place."""
    page = purchase_page(number, today=timezone.localdate())
    context = {"order": page, "close_form": CloseOrderForm(), **rights(request), **forms}
    return render(request, "purchases/purchase.html", context, status=status)


@require_http_methods(["GET", "POST"])
def new_purchase(request: HttpRequest) -> HttpResponse:
    require(request, Verb.ORDER_TOOLING)
    initial = {
        "owner": Owner.objects.filter(is_shop=True).first(),
        "ordered_on": timezone.localdate(),
    }
    return fill_in(
        request,
        PurchaseForm(data_of(request), initial=initial),
        template="purchases/form.html",
        save=lambda values: purchases.create_purchase(**signed(request), **values),
        done=lambda row: (_line_url(row.number), _("Order made. Now its first line.")),
        head=_("Order new tooling"),
        back=reverse("purchases"),
    )


@require_http_methods(["GET", "POST"])
def edit_purchase(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.ORDER_TOOLING)
    row = find_purchase(number)
    form = EditPurchase(data_of(request), initial={name: getattr(row, name) for name in FACTS})
    return fill_in(
        request,
        form,
        template="purchases/form.html",
        save=lambda values: purchases.edit_purchase(**signed(request), purchase=row, **values),
        done=lambda saved: (_url(row.number), _("Saved.")),
        head=_("Order {number}").format(number=row.number),
        back=_url(row.number),
    )


@require_http_methods(["GET", "POST"])
def save_line(request: HttpRequest, number: str) -> HttpResponse:
    """A further line; ``?line=`` changes the one of that number."""
    require(request, Verb.ORDER_TOOLING)
    purchase, asked = find_purchase(number), request.GET.get("line", "")
    old = find_line(purchase, int(asked)) if asked.isdecimal() else None

    def save(values: dict[str, Any]) -> PurchaseLine:
        line = _line_in(values)
        if old is not None:
            return purchases.edit_line(**signed(request), row=old, line=line)
        return purchases.add_line(**signed(request), purchase=purchase, line=line)

    return fill_in(
        request,
        LineForm(data_of(request), initial=_initial(old)),
        template="purchases/line.html",
        save=save,
        done=lambda row: (_url(number), _("Line {n} kept.").format(n=row.line)),
        head=_("Order {number}, line").format(number=number),
        back=_url(number),
        order_number=number,
        old=old,
    )


@require_POST
def remove_line(request: HttpRequest, number: str, line: int) -> HttpResponse:
    return _act(
        request,
        number,
        lambda purchase: purchases.remove_line(**signed(request), row=find_line(purchase, line)),
    )


@require_POST
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Nothing more comes; short of the order, a reason is asked for."""
    require(request, Verb.ORDER_TOOLING)
    form = CloseOrderForm(request.POST)
    form.is_valid()
    try:
        reason = form.cleaned_data.get("reason", "")
        purchases.close(**signed(request), purchase=find_purchase(number), reason=reason)
    except NotAllowed:
        raise
    except ToolingError as error:
        form.refuse(error)
        return purchase_answer(request, number, status=400, close_form=form)
    return redirect("purchase", number)


@require_POST
def reopen(request: HttpRequest, number: str) -> HttpResponse:
    return _act(
        request,
        number,
        lambda purchase: purchases.reopen(**signed(request), purchase=purchase),
    )


def _act(request: HttpRequest, number: str, act: Any) -> HttpResponse:
    require(request, Verb.ORDER_TOOLING)
    purchase = find_purchase(number)
    try:
        act(purchase)
    except NotAllowed:
        raise
    except ToolingError as error:
        return purchase_answer(request, number, status=error.status, error=error)
    messages.success(request, _("Saved."))
    return redirect("purchase", purchase.number)


def _line_in(values: dict[str, Any]) -> LineIn:
    return LineIn(
        revision=revision_of(values["drawing"], values["revision"].strip()),
        quantity=values["quantity"],
        is_counted=values["is_counted"],
        set_copy=values["set_copy"],
        mark=values["mark"],
        price_cents=purchases.read_price(values["price"]),
        reason=values["reason"],
    )


def _initial(old: PurchaseLine | None) -> dict[str, Any]:
    if old is None:
        return {}
    copy = old.set_copy
    return {
        "drawing": old.revision.drawing,
        "revision": old.revision.revision,
        "quantity": old.quantity,
        "is_counted": old.is_counted,
        "set_copy": f"{copy.tool_set.number}-{copy.letter}" if copy else "",
        "mark": old.mark,
        "price": purchases.write_price(old.price_cents),
    }


def _url(number: str) -> str:
    return reverse("purchase", args=[number])


def _line_url(number: str) -> str:
    return reverse("purchase-line", args=[number])

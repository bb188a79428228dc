"""Checking new tooling in: one piece at a time, its papers, and what it measures to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.engineering.lengths import parse_length
from tooling.errors import NotAllowed, ToolingError, Unknown
from tooling.models import Inspection, Place, PurchaseLine, Receipt, Verdict
from tooling.permissions import Verb
from tooling.queries.print_limits import Limit, print_limits
from tooling.queries.purchases import find_line, find_purchase
from tooling.queries.receipts import files_of, find_receipt, last_receipt, receipt_page
from tooling.services import inspection, receiving
from tooling.services.inspection import Measured
from tooling.services.receiving import Papers
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.purchases import InspectForm, ReceiveForm
from tooling.web.pictures import sent


@require_http_methods(["GET", "POST"])
def receive(request: HttpRequest, number: str, line: int) -> HttpResponse:
    """One piece, or a count, of a line; what came last fills the form."""
    require(request, Verb.RECEIVE_TOOLING)
    row = find_line(find_purchase(number), line)
    before = last_receipt(row)
    form = ReceiveForm(
        data_of(request),
        request.FILES or None,
        line=row,
        certificate=before.certificate_name if before and before.certificate_id else "",
        initial=_start(row, before),
    )
    return fill_in(
        request,
        form,
        template="purchases/receive.html",
        save=lambda values: _receive(request, row, before, values),
        done=lambda receipt: (reverse("receipt", args=[receipt.pk]), _("Received.")),
        line=row,
        order_number=row.purchase.number,
        files=files_of(row.revision_id),
        **rights(request),
    )


def _start(row: PurchaseLine, before: Receipt | None) -> dict[str, Any]:
    copy = row.set_copy
    initial: dict[str, Any] = {
        "mark": row.mark,
        "copy_letter": copy.letter if copy else "",
        "revision": row.revision,
    }
    if before is not None:
        initial["place"] = _place_of(before)
        initial |= {"heat_lot": before.heat_lot, "same_certificate": True}
    return initial


def _place_of(receipt: Receipt) -> Place | None:
    subject = receipt.piece or receipt.stock_line
    return subject.place if subject else None


def _receive(
    request: HttpRequest, row: PurchaseLine, before: Receipt | None, values: dict[str, Any]
) -> Receipt:
    same = values.get("same_certificate") and not values["certificate"]
    papers = Papers(
        heat_lot=values["heat_lot"],
        certificate=values["certificate"],
        certificate_of=before if same else None,
        note=values["note"],
    )
    shared = {**signed(request), "line": row, "place": values["place"], "uuid": values["id"],
              "revision": values["revision"], "papers": papers}  # fmt: skip
    if row.is_counted:
        return receiving.receive_counted(quantity=values["quantity"], **shared)
    return receiving.receive_piece(mark=values["mark"], copy_letter=values["copy_letter"], **shared)


@require_GET
def show_receipt(request: HttpRequest, receipt: int) -> HttpResponse:
    """What came, and what to do next: its label, measuring it, the next piece."""
    context = {"receipt": receipt_page(receipt), **rights(request)}
    return render(request, "purchases/receipt.html", context)


@require_POST
def take_back(request: HttpRequest, receipt: int) -> HttpResponse:
    """It was written down by mistake."""
    require(request, Verb.RECEIVE_TOOLING)
    row = find_receipt(receipt)
    try:
        receiving.take_back(**signed(request), receipt=row)
    except NotAllowed:
        raise
    except ToolingError as error:
        context = {"receipt": receipt_page(receipt), "error": error, **rights(request)}
        return render(request, "purchases/receipt.html", context, status=error.status)
    messages.success(request, _("Taken back."))
    return redirect("purchase", row.line.purchase.number)


@require_GET
def certificate(request: HttpRequest, receipt: int) -> HttpResponseBase:
    """The certificate that came with it."""
    row = find_receipt(receipt)
    if row.certificate is None:
        raise Unknown("unknown_file", _("No certificate came with it."))
    return sent(row.certificate, name=row.certificate_name)


@require_http_methods(["GET", "POST"])
def inspect(request: HttpRequest, receipt: int) -> HttpResponse:
    """A form of the drawn dimensions, each with what it may be; the verdict is the button."""
    require(request, Verb.RECEIVE_TOOLING)
    row = find_receipt(receipt)
    page, limits = receipt_page(receipt), print_limits(row.line.revision)
    unit = unit_of(request.user, row.line.revision.unit)
    form = InspectForm(data_of(request), limits=limits, unit=unit)

    def save(values: dict[str, Any]) -> Inspection:
        return inspection.inspect(
            **signed(request),
            receipt=row,
            measured={
                name: Measured(nm, str(form.data.get(name, ""))[:40])
                for name, nm in form.measured().items()
            },
            unit=unit,
            verdict=request.POST.get("verdict", Verdict.ACCEPTED),
            reason=values["reason"],
            gauge=values["gauge"],
            sure=values["sure"],
        )

    return fill_in(
        request,
        form,
        template="purchases/inspect.html",
        save=save,
        done=lambda saved: (_after(page.order, page.next_waiting), _said(saved, page.view.piece)),
        receipt=page,
        rows=(rows := _rows(form, limits)),
        focus=next((row for row in rows if row.is_off), rows[0] if rows else None),
        unit=unit,
        drawn_in=row.line.revision.unit,
        **rights(request),
    )


@dataclass(frozen=True)
class InspectRow:
    """One drawn dimension with its field and, once filled in, how it stands."""

    field: Any
    limit: Limit
    value_nm: int | None = None

    @property
    def is_off(self) -> bool:
        return self.value_nm is not None and not self.limit.holds(self.value_nm)

    @property
    def deviation_nm(self) -> int:
        return 0 if self.value_nm is None else self.limit.deviation_of(self.value_nm)


def _rows(form: InspectForm, limits: tuple[Limit, ...]) -> list[InspectRow]:
    known = form.measured() if form.is_bound and form.is_valid() else {}
    return [InspectRow(form[limit.name], limit, known.get(limit.name)) for limit in limits]


@require_GET
def check(request: HttpRequest, receipt: int, dimension: str) -> HttpResponse:
    """How one value stands against its limits, while the others are still being measured."""
    row = find_receipt(receipt)
    unit = unit_of(request.user, row.line.revision.unit)
    text = request.GET.get(dimension, "").strip()
    found = [each for each in print_limits(row.line.revision) if each.name == dimension]
    context: dict[str, Any] = {"unit": unit, "drawn_in": row.line.revision.unit}
    if found and text:
        try:
            signed_ = dimension == "guide_offset"
            value = parse_length(text, unit=unit, field=str(found[0].label), signed=signed_).nm
            context["row"] = InspectRow(None, found[0], value)
        except ToolingError as error:
            context["error"] = error
    return render(request, "purchases/outcome.html", context)


def _after(order: str, next_waiting: int | None) -> str:
    """To the next piece of the order that waits to be measured, else to the order."""
    if next_waiting is not None:
        return reverse("receipt-inspect", args=[next_waiting])
    return reverse("purchase", args=[order])


def _said(row: Inspection, piece: str) -> str:
    return f"{piece}: {row.get_verdict_display()}."

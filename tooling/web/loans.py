"""What is out: the list, another day, the slip, the list as a sheet."""

from __future__ import annotations

import csv
import io
from typing import Any, get_args
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError, Unknown
from tooling.models import Shop
from tooling.paper.pages import PaperName
from tooling.paper.slip import slip_pdf
from tooling.permissions import Verb
from tooling.queries.hand_outs import Slip, slip_of_act, slip_of_place
from tooling.queries.loans import Loan, LoanPage, Which, loan_page
from tooling.services import loans as services
from tooling.spreadsheets.cells import guard
from tooling.web.doors import data_of, require, rights, signed
from tooling.web.forms.loans import DueForm, uuids


@require_GET
def show_loans(request: HttpRequest) -> HttpResponse:
    """What is out, the most urgent first; ``which`` and ``place`` narrow, ``act`` was just done."""
    return _page(request, DueForm(), _just_done(request))


def _page(
    request: HttpRequest, form: DueForm, done: Slip | None = None, chosen: tuple[UUID, ...] = ()
) -> HttpResponse:
    page = _asked(request)
    context = {
        "page": page,
        "which": request.GET.get("which", "all"),
        "place": request.GET.get("place", ""),
        "form": form,
        "chosen": chosen,
        "done": done,
        "changed": uuids(request.GET.getlist("changed")),
    }
    status = 400 if form.is_bound and form.errors else 200
    return render(request, "loans/list.html", {**context, **rights(request)}, status=status)


def _asked(request: HttpRequest) -> LoanPage:
    which: dict[str, Which] = {each: each for each in get_args(Which)}
    asked = which.get(request.GET.get("which", ""), "all")
    return loan_page(at=timezone.now(), which=asked, place=request.GET.get("place", "")[:20])


def _just_done(request: HttpRequest) -> Slip | None:
    """The hand-out that led here, for its slip and its undo."""
    acts = uuids(request.GET.getlist("act"))
    if not acts:
        return None
    try:
        return slip_of_act(acts[0], at=timezone.now())
    except Unknown:
        return None


@require_POST
def set_due(request: HttpRequest) -> HttpResponse:
    """Another day for what is ticked, or for all that one holder has."""
    require(request, Verb.MOVE_PIECES)
    form = DueForm(data_of(request))
    ids = tuple(_ticked(request))
    if not form.is_valid():
        return _page(request, form, chosen=ids)
    try:
        services.set_due(**signed(request), ids=ids, **form.cleaned_data)
    except NotAllowed:
        raise
    except ToolingError as error:
        form.refuse(error)
        return _page(request, form, chosen=ids)
    back = [("changed", str(key)) for key in ids[:50]]
    return redirect(f"{reverse('loans')}?{urlencode(back)}")


def _ticked(request: HttpRequest) -> list[UUID]:
    holder = request.POST.get("holder", "")
    if not holder:
        return list(dict.fromkeys(uuids(request.POST.getlist("loan"))))
    page = loan_page(at=timezone.now(), place=holder[:20])
    return list(dict.fromkeys(loan.id for each in page.holders for loan in each.loans))


@require_POST
def undo_due(request: HttpRequest) -> HttpResponse:
    """The day before the last change stands again."""
    require(request, Verb.MOVE_PIECES)
    try:
        services.take_back_due(**signed(request), ids=uuids(request.POST.getlist("loan")))
    except NotAllowed:
        raise
    except ToolingError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("The day before stands again."))
    return redirect("loans")


@require_POST
def undo_hand_out(request: HttpRequest) -> HttpResponse:
    """Everything of one hand-out is back where it was."""
    require(request, Verb.MOVE_PIECES)
    acts = uuids(request.POST.getlist("act"))
    try:
        if not acts:
            raise ToolingError("unknown_scan", _("That is not known here. Load the page again."))
        count = services.take_back(**signed(request), act=acts[0])
    except NotAllowed:
        raise
    except ToolingError as error:
        form = DueForm({})
        form.is_valid()
        form.refuse(error)
        return _page(request, form)
    said = ngettext(
        "{n} thing is back where it was.", "{n} things are back where they were.", count
    )
    messages.success(request, said.format(n=count))
    return redirect("loans")


@require_GET
def slip_file(request: HttpRequest) -> HttpResponse:
    """The slip of one hand-out (``act``) or of all that a place has (``place``), as a PDF."""
    acts, at = uuids(request.GET.getlist("act")), timezone.now()
    if acts:
        slip = slip_of_act(acts[0], at=at)
    else:
        slip = slip_of_place(request.GET.get("place", "")[:20], at=at)
    papers: dict[str, PaperName] = {each: each for each in get_args(PaperName)}
    paper = papers.get(request.GET.get("paper", ""), "a4")
    shop = Shop.objects.filter(pk=1).values_list("name", flat=True).first() or ""
    data = slip_pdf(slip, shop=shop, printed_at=at, paper=paper)
    headers = {"Content-Disposition": f'inline; filename="slip-{slip.place_code}.pdf"'}
    return HttpResponse(data, content_type="application/pdf", headers=headers)


@require_GET
def loans_csv(request: HttpRequest) -> HttpResponse:
    """The same list as a sheet."""
    require(request, Verb.EXPORT)
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow([str(heading) for heading in HEADINGS])
    for holder in _asked(request).holders:
        writer.writerows([guard(str(cell)) for cell in _cells(loan)] for loan in holder.loans)
    return HttpResponse(
        b"\xef\xbb\xbf" + stream.getvalue().encode(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="out.csv"'},
    )


HEADINGS = ("Kind", "Code", "Mark", "Drawing", "Owner", "Quantity", "Where", "Place code",
            "Kind of place", "On", "Out since", "Due back", "Days overdue", "Reason",
            "Handed out by", "Wanted by kit", "Gathered")  # fmt: skip


def _cells(loan: Loan) -> list[Any]:
    wanted = loan.wanted
    return [
        loan.kind, loan.code, loan.mark, loan.drawing, loan.owner, loan.quantity, loan.place,
        loan.place_code, loan.place_kind, loan.on_cart,
        timezone.localtime(loan.since).strftime("%Y-%m-%d %H:%M"),
        loan.due_on.isoformat() if loan.due_on else "", loan.days_over or "", loan.reason, loan.by,
        wanted.kit if wanted else "",
        timezone.localtime(wanted.gathers_at).strftime("%Y-%m-%d %H:%M") if wanted else "",
    ]  # fmt: skip

"""What passes with owners: questions and answers, reports, the owner's mark on pieces."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.models import Answer, Approval, OwnerReport, ReportNote, StockLine
from tooling.permissions import Verb
from tooling.queries.owner_marks import WHICH, mark_row, mark_walk
from tooling.queries.owner_reports import report_page
from tooling.queries.owners import find_owner
from tooling.services import approvals, owner_marks, owner_reports
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.owners import ApprovalForm, MarkForm, NoteForm, ReportForm
from tooling.web.owners import owner_url
from tooling.web.pictures import sent
from tooling.web.pins import confirm
from tooling.web.rows import get_piece, get_row


@require_http_methods(["GET", "POST"])
def new_approval(request: HttpRequest, code: str) -> HttpResponse:
    """Write down that an owner was asked, or the answer; ``?pieces=`` and ``?kind=`` fill it, and
    ``?about=`` names the question that is answered."""
    require(request, Verb.DEAL_WITH_OWNERS)
    owner, get = find_owner(code), request.GET.get
    initial = {
        "pieces": get("pieces", ""),
        "kind": get("kind", ""),
        "answer": get("answer", "asked"),
        "about": get("about", ""),
        "dated_on": timezone.localdate(),
    }
    files = request.FILES or None

    def save(values: dict[str, Any]) -> Approval:
        if values["answer"] != Answer.ASKED:
            confirm(request)
        return approvals.record_approval(**signed(request), owner=owner, **values)

    return fill_in(
        request,
        ApprovalForm(data_of(request), files, owner=owner, initial=initial),
        template="owners/form.html",
        save=save,
        done=lambda row: (owner_url(owner), _("Written down.")),
        head=_("Asked or answered: {owner}").format(owner=owner.name),
        said=_("Ask first; write the answer down when it comes. The newest answer counts."),
        save_word=_("Write down"),
        back=owner_url(owner),
        files=True,
        proves_it=True,
    )


@require_GET
def letter(request: HttpRequest, number: int) -> HttpResponseBase:
    """The letter beside a question or an answer."""
    rows = Approval.objects.select_related("file").filter(file__isnull=False)
    row: Approval = get_row(rows, said=_("such letter"), pk=number)
    assert row.file is not None
    shown = row.file.content_type in ("application/pdf", "image/png", "image/jpeg")
    return sent(row.file, name=row.file_name or "letter", in_place=shown)


@require_http_methods(["GET", "POST"])
def new_report(request: HttpRequest) -> HttpResponse:
    """A report by hand; ``?what=`` names the piece or the bin."""
    require(request, Verb.RECORD_READINGS)
    initial = {"what": request.GET.get("what", ""), "kind": request.GET.get("kind", "")}

    def save(values: dict[str, Any]) -> OwnerReport:
        what = values.pop("what")
        subject = "stock_line" if isinstance(what, StockLine) else "piece"
        return owner_reports.report(**signed(request), **{subject: what}, **values)

    return fill_in(
        request,
        ReportForm(data_of(request), initial=initial),
        template="owners/form.html",
        save=save,
        done=lambda row: (reverse("owner-report", args=[row.pk]), _("The report is open.")),
        head=_("Report to an owner"),
        said=_("For a customer's tooling that was lost, damaged or found unsuitable."),
        save_word=_("Open the report"),
        back=reverse("owner-reports"),
    )


@require_GET
def show_report(request: HttpRequest, number: int) -> HttpResponse:
    """One report with what became of it."""
    return _report(request, number, NoteForm(initial=_now()))


@require_POST
def add_note(request: HttpRequest, number: int) -> HttpResponse:
    """The owner was told, answered …; a refusal shows the report again with what was typed."""
    require(request, Verb.DEAL_WITH_OWNERS)
    row: OwnerReport = get_row(
        OwnerReport.objects.select_related("owner", "incident"), said=_("such report"), pk=number
    )

    def save(values: dict[str, Any]) -> ReportNote:
        return owner_reports.add_note(**signed(request), report=row, **values)

    return fill_in(
        request,
        NoteForm(request.POST),
        template="owners/report.html",
        save=save,
        done=lambda note: (reverse("owner-report", args=[number]), _("Written down.")),
        report=report_page(number),
        **rights(request),
    )


def _report(request: HttpRequest, number: int, form: NoteForm) -> HttpResponse:
    context = {"report": report_page(number), "form": form, **rights(request)}
    return render(request, "owners/report.html", context)


def _now() -> dict[str, Any]:
    return {"what": "told", "happened_at": timezone.localtime()}


@require_GET
def show_marks(request: HttpRequest, code: str) -> HttpResponse:
    """A walk along an owner's pieces, one tap each: the mark is on it, or not."""
    begin = request.GET.get("begin", "0")
    walk = mark_walk(
        find_owner(code),
        which=request.GET.get("which", "todo"),
        begin=int(begin) if begin.isdecimal() and len(begin) < 8 else 0,
    )
    context = {"owner": find_owner(code), "walk": walk, "ways": WHICH, **rights(request)}
    return render(request, "owners/marks.html", context)


@require_http_methods(["GET", "POST"])
def look_for_mark(request: HttpRequest, code: str) -> HttpResponse:
    """Whether the owner's mark is on this piece, with a picture if there is one."""
    require(request, Verb.RECORD_READINGS)
    piece = get_piece(code)
    files = request.FILES or None
    initial = {"is_there": request.GET.get("is_there", "")}

    def save(values: dict[str, Any]) -> Any:
        upload = values.pop("picture")
        return owner_marks.check_mark(**signed(request), piece=piece, upload=upload, **values)

    if request.method == "POST" and "HX-Request" in request.headers:
        save({"is_there": request.POST.get("is_there") == "yes", "picture": None})
        context = {"row": mark_row(piece.code), "is_done": True, **rights(request)}
        return render(request, "owners/mark_row.html", context)
    return fill_in(
        request,
        MarkForm(data_of(request), files, initial=initial),
        template="owners/form.html",
        save=save,
        done=lambda row: (_after_look(request, piece.code), _("Written down.")),
        head=_("Owner's mark on {code}").format(code=piece.code),
        said=_("What tells whose it is: a stamp, a plate, paint."),
        save_word=_("Write down"),
        back=reverse("piece", args=[piece.code]),
        files=True,
    )


def _after_look(request: HttpRequest, code: str) -> str:
    """Back to the walk where one came from it, else to the piece."""
    walk = request.POST.get("walk", "")
    if walk:
        return f"{reverse('owner-marks', args=[walk])}?begin={request.POST.get('begin', '0')}"
    return reverse("piece", args=[code])

"""Labels: choose, print, make void, replace; where one may sit; artwork for etching."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Task, TaskState
from tooling.paper.etching import etch_svg
from tooling.paper.label_sizes import SIZES
from tooling.permissions import Verb, can
from tooling.queries import labels as read
from tooling.services import files, labels
from tooling.web.sessions import person_of

PDF = "application/pdf"


@require_GET
def show_labels(request: HttpRequest) -> HttpResponse:
    return _page(request)


def _page(request: HttpRequest, error: ToolingError | None = None) -> HttpResponse:
    typed = request.POST if request.method == "POST" else request.GET
    context = {
        "page": read.labels_page(),
        "sizes": SIZES,
        "error": error,
        "typed": typed,
        "may_issue": can(request.user, Verb.ISSUE_LABELS),
    }
    return render(request, "labels/labels.html", context, status=error.status if error else 200)


@require_POST
def send_to_printer(request: HttpRequest) -> HttpResponse:
    """Record the labels as issued, then show their sheets; many are drawn in the background."""
    try:
        codes = _chosen(request)
        size, skip = request.POST.get("size", ""), _whole(request.POST.get("skip"))
        if len(codes) <= labels.MOST_AT_ONCE:
            labels.draw(codes=codes, size=size, skip=skip)
        task = labels.ask_for_sheets(
            by=person_of(request), at=timezone.now(), codes=codes, size=size, skip=skip
        )
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, error)
    if task is not None:
        return redirect("labels-task", number=task)
    query = urlencode({"codes": ",".join(codes), "size": size, "skip": skip})
    return redirect(f"{reverse('labels-pdf')}?{query}")


def _chosen(request: HttpRequest) -> list[str]:
    """Codes that the form names: typed, those of a set, or those never printed."""
    if request.POST.get("set"):
        return read.codes_of_set(request.POST["set"], request.POST.get("copy", ""))
    if request.POST.get("never") in read.NEVER:
        return read.never_printed(request.POST["never"])
    codes = read.read_codes(request.POST.get("codes", ""))
    if not codes:
        raise ToolingError("no_labels", _("Write at least one label code, or choose a set."))
    return codes


def _whole(text: str | None) -> int:
    return int(text) if text and text.strip().isdigit() else 0


@require_GET
def labels_pdf(request: HttpRequest) -> HttpResponse:
    """The sheets of ``?codes=A,B&size=…&skip=…``; records nothing."""
    data = labels.draw(
        codes=read.read_codes(request.GET.get("codes", "")),
        size=request.GET.get("size") or "a4-24",
        skip=_whole(request.GET.get("skip")),
    )
    return HttpResponse(data, content_type=PDF)


@require_GET
def show_task(request: HttpRequest, number: int) -> HttpResponse:
    """How far the sheets are; the polled part alone with ``?part=1``."""
    task = get_object_or_404(Task, pk=number, kind="labels")
    over = task.state not in (TaskState.WAITING, TaskState.RUNNING)
    name = "labels/task_part.html" if request.GET.get("part") else "labels/task.html"
    context = {"task": task, "is_over": over, "done": round(task.progress * 100)}
    return render(request, name, context)


@require_GET
def task_pdf(request: HttpRequest, number: int) -> HttpResponse:
    task = get_object_or_404(Task, pk=number, kind="labels", state=TaskState.DONE)
    return HttpResponse(files.read_named(sha256=task.result["file"]), content_type=PDF)


@require_POST
def make_void(request: HttpRequest) -> HttpResponse:
    """The label is void; with ``reissue`` a new code takes its place."""
    by, at = person_of(request), timezone.now()
    code, reason = request.POST.get("code", ""), request.POST.get("reason", "")
    try:
        if request.POST.get("reissue"):
            new = labels.reissue(by=by, at=at, code=code, reason=reason)
            messages.success(request, _("%s is void; %s took its place. Print it.") % (code, new))
            return redirect(f"{reverse('labels')}?codes={new}")
        labels.void(by=by, at=at, code=code, reason=reason)
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, error)
    messages.success(request, _("%s is void.") % code)
    return redirect("labels")


@require_GET
def etching(request: HttpRequest) -> HttpResponse:
    """Artwork of ``?text=…&symbol=datamatrix|qr&size=12`` as SVG in true millimetres."""
    symbol = "qr" if request.GET.get("symbol") == "qr" else "datamatrix"
    svg = etch_svg(
        request.GET.get("text", ""), symbol=symbol, size_mm=_millimetres(request.GET.get("size"))
    )
    headers = {"Content-Disposition": 'attachment; filename="etching.svg"'}
    return HttpResponse(svg, content_type="image/svg+xml", headers=headers)


def _millimetres(text: str | None) -> float:
    try:
        return float((text or "12").replace(",", "."))
    except ValueError as error:
        raise ToolingError(
            "not_a_length", _("“{text}” is no size in millimetres."), text=text
        ) from error

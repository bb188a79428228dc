"""An owner's register and the list of values: on paper, as a sheet, by the worker."""

from __future__ import annotations

from typing import get_args

from django.http import (
    Http404,
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    StreamingHttpResponse,
)
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from tooling.models import Owner, Task, TaskState
from tooling.paper.pages import PaperName
from tooling.permissions import Verb, can
from tooling.queries.owners import find_owner
from tooling.services import owner_papers, tasks
from tooling.web.pictures import sent
from tooling.web.sessions import person_of

PDF = "application/pdf"
PAPERS: dict[str, PaperName] = {each: each for each in get_args(PaperName)}


@require_POST
def draw_register(request: HttpRequest, code: str) -> HttpResponse:
    """A small register at once; a large one is drawn by the worker."""
    owner, paper = find_owner(code), request.POST.get("paper", "a4")
    by, at = person_of(request), timezone.now()
    task = owner_papers.ask_for_register(by=by, at=at, owner=owner, paper=paper)
    if task is not None:
        return redirect("register-task", number=task)
    return redirect(f"{reverse('register-pdf', args=[owner.code])}?paper={paper}")


@require_GET
def register_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """The register as of now; a large one only by the worker."""
    owner = find_owner(code)
    owner_papers.check_small(owner)
    data = owner_papers.draw_register(owner=owner, at=timezone.now(), paper=_paper(request))
    return _pdf(data, f"tooling-{_plain(owner)}.pdf")


@require_GET
def show_task(request: HttpRequest, number: int) -> HttpResponse:
    """How far the register is; the polled part alone with ``?part=1``."""
    task = _task(number)
    name = "owners/task_part.html" if request.GET.get("part") else "owners/task.html"
    context = {
        "task": task,
        "owner": Owner.objects.filter(code=task.input.get("owner", "")).first(),
        "is_over": task.state not in (TaskState.WAITING, TaskState.RUNNING),
        "done": round(task.progress * 100),
        "may_stop": task.by_id == request.user.pk or can(request.user, Verb.RUN_SHOP),
    }
    return render(request, name, context)


@require_POST
def stop_task(request: HttpRequest, number: int) -> HttpResponse:
    """Nothing is kept when the work stops."""
    tasks.cancel(by=person_of(request), at=timezone.now(), task=_task(number))
    return redirect("register-task", number=number)


@require_GET
def task_pdf(request: HttpRequest, number: int) -> HttpResponseBase:
    """The register that the worker drew."""
    task = _task(number)
    if task.state != TaskState.DONE or task.file is None:
        raise Http404
    return sent(task.file, name=f"tooling-{number}.pdf")


@require_GET
def insured_pdf(request: HttpRequest) -> HttpResponse:
    owner = _chosen(request)
    at, paper = timezone.now(), _paper(request)
    return _pdf(owner_papers.draw_insured(owner=owner, at=at, paper=paper), "value.pdf")


@require_GET
def insured_csv(request: HttpRequest) -> StreamingHttpResponse:
    rows = owner_papers.insured_csv(owner=_chosen(request))
    headers = {"Content-Disposition": 'attachment; filename="value.csv"'}
    return StreamingHttpResponse(rows, content_type="text/csv; charset=utf-8", headers=headers)


def _task(number: int) -> Task:
    rows = Task.objects.select_related("file").filter(kind=owner_papers.KIND)
    return get_object_or_404(rows, pk=number)


def _chosen(request: HttpRequest) -> Owner | None:
    code = request.GET.get("owner", "")
    return find_owner(code) if code else None


def _paper(request: HttpRequest) -> PaperName:
    return PAPERS.get(request.GET.get("paper", "a4"), "a4")


def _plain(owner: Owner) -> str:
    """The owner's code as a file's name may hold it."""
    return "".join(each if each.isascii() and each.isalnum() else "-" for each in owner.code)


def _pdf(data: bytes, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(data, content_type=PDF, headers=headers)

"""Labels: choose and print them, watch many being drawn, make one void or replace it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Task, TaskState
from tooling.permissions import Verb, can, check_can
from tooling.queries.label_choices import WAYS, Choice, chosen_codes
from tooling.queries.labels import read_codes
from tooling.queries.labels_page import labels_page
from tooling.services import files, labels, tasks
from tooling.web.label_stock import PLAINEST, stock_groups
from tooling.web.sessions import person_of

PDF = "application/pdf"
REMEMBERED = "labels"
"""The session keeps the last size and kind of label: the same print is one tap again."""


@require_GET
def show_labels(request: HttpRequest) -> HttpResponse:
    """What has no label yet, what to print, what was printed; ``?codes=``, ``?set=``, ``?place=``
    or ``?mill=`` fill the form."""
    return _page(request, typed=_asked(request.GET) or _remembered(request))


def _asked(query: Mapping[str, str]) -> dict[str, str]:
    """What the address asks for; nothing when it names nothing."""
    for what in ("codes", "set", "place", "mill", "never"):
        if query.get(what):
            names = ("codes", "set", "copy", "place", "inside", "mill", "never", "size")
            return {"what": what, **{name: query[name] for name in names if name in query}}
    return {}


def _remembered(request: HttpRequest) -> dict[str, str]:
    return dict(request.session.get(REMEMBERED, {}))


def _page(
    request: HttpRequest,
    *,
    typed: Mapping[str, str],
    error: ToolingError | None = None,
    wrong_form: str = "",
) -> HttpResponse:
    """The page with what was typed; a problem stands in the form that it came from."""
    page = labels_page()
    begin = {"size": _remembered(request).get("size", PLAINEST)}
    if page.first_unprinted:
        begin["what"] = "never"
    choice = {**asdict(Choice()), **begin, **typed}
    if not page.is_unprinted(choice["never"]):
        choice["never"] = page.first_unprinted
    context = {
        "page": page,
        "stock_groups": stock_groups(),
        "typed": choice,
        "error": error,
        "wrong_form": wrong_form,
        "void_code": typed.get("code") or _single(request.GET),
        "may_issue": can(request.user, Verb.ISSUE_LABELS),
        "may_import": can(request.user, Verb.IMPORT),
        "may_edit_places": can(request.user, Verb.EDIT_PLACES),
    }
    return render(request, "labels/labels.html", context, status=error.status if error else 200)


def _single(query: Mapping[str, str]) -> str:
    """Whoever comes from one thing's page may want that label void, but not a new one."""
    codes = query.get("codes", "")
    return "" if "new" in query or "," in codes or len(codes.split()) > 1 else codes


@require_POST
def send_to_printer(request: HttpRequest) -> HttpResponse:
    """Record the labels as issued, then show their sheets; many are drawn in the background."""
    by, typed = person_of(request), request.POST.dict()
    check_can(by, Verb.ISSUE_LABELS)
    size = typed.get("size") or _remembered(request).get("size", PLAINEST)
    try:
        skip = _count(typed.get("skip", ""))
        codes = chosen_codes(_choice(typed))
        task = labels.ask_for_sheets(by=by, at=timezone.now(), codes=codes, size=size, skip=skip)
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, typed=typed, error=error, wrong_form="print")
    _remember(request, typed, size)
    if task is not None:
        return redirect("labels-task", number=task)
    query = urlencode({"codes": ",".join(codes), "size": size, "skip": skip}, safe=",")
    return redirect(f"{reverse('labels-pdf')}?{query}")


def _choice(typed: Mapping[str, Any]) -> Choice:
    names = asdict(Choice())
    return Choice(**{name: str(typed[name]) for name in names if name in typed})


def _remember(request: HttpRequest, typed: Mapping[str, Any], size: str) -> None:
    """The kind of label is wanted again; codes that were typed once are not."""
    kept = {**_remembered(request), "size": size}
    if typed.get("what") in WAYS and typed["what"] != "again":
        names = ("what", "never", "set", "copy", "place", "inside", "mill")
        kept = {"size": size, **{name: str(typed[name]) for name in names if typed.get(name)}}
    request.session[REMEMBERED] = kept


def _count(text: str) -> int:
    if not text.strip():
        return 0
    if not text.strip().isdecimal() or len(text.strip()) > 4:
        raise ToolingError(
            "not_a_count",
            gettext_lazy("“{text}” is no number of labels. Write how many of the first sheet are "
                         "used up, or 0."),
            text=text[:20],
        )  # fmt: skip
    return int(text)


@require_GET
def labels_pdf(request: HttpRequest) -> HttpResponse:
    """The sheets of ``?codes=A,B&size=…&skip=…``; records nothing."""
    codes = read_codes(request.GET.get("codes", ""))
    if len(codes) > labels.MOST_AT_ONCE:
        raise ToolingError(
            "too_many_labels",
            gettext_lazy("{count} labels are too many for one address; at most {most}. The labels "
                         "page makes more of them in the background."),
            count=len(codes),
            most=labels.MOST_AT_ONCE,
        )  # fmt: skip
    data = labels.draw(
        codes=codes,
        size=request.GET.get("size") or PLAINEST,
        skip=_count(request.GET.get("skip", "")),
    )
    return _sheets(data, f"labels-{codes[0]}.pdf")


def _sheets(data: bytes, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return HttpResponse(data, content_type=PDF, headers=headers)


@require_GET
def show_task(request: HttpRequest, number: int) -> HttpResponse:
    """How far the sheets are; the polled part alone with ``?part=1``."""
    task = get_object_or_404(Task, pk=number, kind="labels")
    over = task.state not in (TaskState.WAITING, TaskState.RUNNING)
    name = "labels/task_part.html" if request.GET.get("part") else "labels/task.html"
    context = {
        "task": task,
        "is_over": over,
        "done": round(task.progress * 100),
        "may_stop": task.by_id == request.user.pk or can(request.user, Verb.RUN_SHOP),
    }
    return render(request, name, context)


@require_POST
def stop_task(request: HttpRequest, number: int) -> HttpResponse:
    """Nothing is recorded as printed when the work stops."""
    task = get_object_or_404(Task, pk=number, kind="labels")
    tasks.cancel(by=person_of(request), at=timezone.now(), task=task)
    return redirect("labels-task", number=number)


@require_GET
def task_pdf(request: HttpRequest, number: int) -> HttpResponse:
    """The sheets that the worker made."""
    done = Task.objects.select_related("file").filter(kind="labels", state=TaskState.DONE)
    task = get_object_or_404(done, pk=number)
    if task.file is None:
        raise Http404
    return _sheets(files.read(task.file), f"labels-{number}.pdf")


@require_POST
def make_void(request: HttpRequest) -> HttpResponse:
    """The label is void; with ``reissue`` a new code takes its place."""
    by, at, typed = person_of(request), timezone.now(), request.POST.dict()
    code, reason = str(typed.get("code", "")), str(typed.get("reason", ""))
    try:
        if typed.get("reissue"):
            new = labels.reissue(by=by, at=at, code=code, reason=reason)
            said = _("{new} took the place of {old}. Print it and stick it on.")
            messages.success(request, said.format(new=new, old=code.strip().upper()))
            return redirect(f"{reverse('labels')}?codes={new}&new=1")
        event = labels.void(by=by, at=at, code=code, reason=reason)
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, typed=typed, error=error, wrong_form="void")
    messages.success(request, _("{code} is void.").format(code=event.code))
    return redirect("labels")

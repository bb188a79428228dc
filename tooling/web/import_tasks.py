"""The worker's part of an import: how far it is, stop it; the files and every problem to take."""

from __future__ import annotations

from django.http import FileResponse, HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from tooling.permissions import Verb, check_can
from tooling.queries.import_tasks import one_file, task_line, the_import, whole_list
from tooling.services import imports
from tooling.web.sending import sent
from tooling.web.sessions import person_of
from tooling.web.show_whole import show_whole

CSV = "text/csv; charset=utf-8"


@require_GET
def show_task(request: HttpRequest, number: int) -> HttpResponse:
    """The polled part of the page; when the work is over the whole page once."""
    check_can(request.user, Verb.IMPORT)
    task = task_line(the_import(number))
    if task is None or task.is_over:
        return show_whole(
            request, reverse("import", args=[number]), _("It is done: show what came")
        )
    return render(request, "imports/task_part.html", {"task": task, "is_polled": True})


@require_POST
def stop(request: HttpRequest, number: int) -> HttpResponse:
    """Nothing is written when the work stops."""
    imports.cancel(by=person_of(request), at=timezone.now(), made=the_import(number))
    return redirect("import", number=number)


@require_GET
def take_file(request: HttpRequest, number: int, key: int) -> FileResponse:
    """One of the files, as it was brought."""
    check_can(request.user, Verb.IMPORT)
    each = one_file(number, key)
    return sent(each.file, name=each.name, in_place=False)


@require_GET
def take_problems(request: HttpRequest, number: int) -> HttpResponseBase:
    """Every problem as a sheet."""
    check_can(request.user, Verb.IMPORT)
    made = the_import(number)
    whole, name = whole_list(made), f"import-{number}-problems.csv"
    if whole is not None:
        answer = sent(whole, name=name, in_place=False)
        answer.headers["Content-Type"] = CSV
        return answer
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingHttpResponse(imports.problems_csv(made), content_type=CSV, headers=headers)

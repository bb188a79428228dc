"""Backups on the Shop's page: when the last was made, make one now, take one away."""

from __future__ import annotations

from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import Conflict
from tooling.models import Task
from tooling.permissions import Verb
from tooling.services import tasks
from tooling.services.backup import kept
from tooling.web.doors import require
from tooling.web.sessions import person_of


@require_GET
def show_backups(request: HttpRequest) -> HttpResponse:
    """What is kept, newest first; ``?part=1`` is the polled part alone."""
    require(request, Verb.BACK_UP)
    name = "shop/backups_part.html" if request.GET.get("part") else "shop/backups.html"
    return _page(request, name)


def _page(request: HttpRequest, name: str, error: Conflict | None = None) -> HttpResponse:
    last = Task.objects.filter(kind=kept.TASK).order_by("-pk").first()
    context = {
        "kept": kept.kept(by=person_of(request)),
        "newest": kept.newest(),
        "task": last,
        "is_over": last is None or last.state not in kept.UNDER_WAY,
        "done": round(last.progress * 100) if last else 0,
        "error": error,
    }
    return render(request, name, context, status=error.status if error else 200)


@require_POST
def make(request: HttpRequest) -> HttpResponse:
    """Ask the worker for one."""
    require(request, Verb.BACK_UP)
    try:
        kept.ask(by=person_of(request), at=timezone.now())
    except Conflict as error:
        return _page(request, "shop/backups.html", error)
    return redirect("backups")


@require_POST
def stop(request: HttpRequest, number: int) -> HttpResponse:
    """Nothing is kept of one that was stopped."""
    require(request, Verb.BACK_UP)
    task = get_object_or_404(Task, pk=number, kind=kept.TASK)
    tasks.cancel(by=person_of(request), at=timezone.now(), task=task)
    return redirect("backups")


@require_GET
def take(request: HttpRequest, name: str) -> FileResponse:
    """The file itself, for somebody to lay away elsewhere."""
    require(request, Verb.BACK_UP)
    path = kept.path_of(by=person_of(request), name=name)
    return FileResponse(path.open("rb"), as_attachment=True, filename=name)

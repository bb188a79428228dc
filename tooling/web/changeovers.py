"""Changeovers of a mill: what the next one changes, and the best order of the coming jobs."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import Mill, Task
from tooling.permissions import Verb
from tooling.queries.changeovers import changeover
from tooling.queries.job_order import KIND, proposal
from tooling.services import job_order, tasks
from tooling.web.doors import require, rights, signed
from tooling.web.rows import get_mill, get_row
from tooling.web.sessions import person_of


@require_GET
def show(request: HttpRequest) -> HttpResponse:
    """``mill``: of which. Without it, of the only one, or a choice."""
    number = request.GET.get("mill", "")
    mills = list(Mill.objects.filter(is_active=True).order_by("number"))
    if not number and len(mills) == 1:
        number = mills[0].number
    if not number:
        return render(request, "changeovers/choose.html", {"mills": mills, **rights(request)})
    return _page(request, get_mill(number))


def _page(request: HttpRequest, mill: Mill, error: ToolingError | None = None) -> HttpResponse:
    context = {
        "page": changeover(mill, at=timezone.now()),
        "order": proposal(mill),
        "error": error,
        "mill": mill,
        **rights(request),
    }
    return render(request, "changeovers/mill.html", context, status=error.status if error else 200)


def _mill(request: HttpRequest) -> Mill:
    return get_mill((request.POST if request.method == "POST" else request.GET).get("mill", ""))


def _back(mill: Mill) -> HttpResponse:
    return redirect(f"{reverse('changeovers')}?{urlencode({'mill': mill.number})}#order")


@require_GET
def order_part(request: HttpRequest) -> HttpResponse:
    """The order alone, polled while it is worked out."""
    mill = _mill(request)
    order = proposal(mill)
    context = {"order": order, "mill": mill, **rights(request)}
    return render(request, "changeovers/order.html", context)


@require_POST
def ask(request: HttpRequest) -> HttpResponse:
    """Have the best order worked out; the page shows how far it is."""
    require(request, Verb.PLAN_JOBS)
    mill = _mill(request)
    job_order.ask_order(**signed(request), mill=mill)
    return _back(mill)


@require_POST
def stop(request: HttpRequest) -> HttpResponse:
    """Stop working it out."""
    require(request, Verb.PLAN_JOBS)
    mill = _mill(request)
    rows = Task.objects.filter(kind=KIND, input__mill=mill.number)
    task = get_row(rows, said=request.POST.get("task", "")[:20], pk=_number(request))
    try:
        tasks.cancel(by=person_of(request), at=timezone.now(), task=task)
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, mill, error)
    return _back(mill)


def _number(request: HttpRequest) -> int:
    text = request.POST.get("task", "")
    return int(text) if text.isdecimal() and len(text) < 18 else 0


@require_POST
def accept(request: HttpRequest) -> HttpResponse:
    """The jobs move to where the order has them, all or none."""
    require(request, Verb.PLAN_JOBS)
    mill = _mill(request)
    try:
        moved = job_order.accept_order(**signed(request), mill=mill, task=_number(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, mill, error)
    said = ngettext("{n} job moved.", "{n} jobs moved.", len(moved))
    messages.success(request, said.format(n=len(moved)))
    return _back(mill)


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """The planner's own order stays."""
    require(request, Verb.PLAN_JOBS)
    mill = _mill(request)
    try:
        job_order.keep_order(**signed(request), mill=mill, task=_number(request))
    except NotAllowed:
        raise
    except ToolingError as error:
        return _page(request, mill, error)
    messages.success(request, _("Your order stays."))
    return _back(mill)

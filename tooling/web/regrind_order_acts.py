"""What is done with an order: send it, take pieces back, measure, see marks, release, drop."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.errors import NotAllowed, ToolingError
from tooling.models import RegrindOrder
from tooling.permissions import Verb
from tooling.queries.regrind_order_views import OrderPage
from tooling.queries.regrind_orders import find_order, find_order_line
from tooling.queries.release_part import part_of
from tooling.services import regrind_order_moves, regrind_orders, regrind_release
from tooling.services.regrind_measure import Measured, measure_line
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.loans import a_day
from tooling.web.forms.regrind_orders import (
    BackForm,
    DropForm,
    ForJobForm,
    MeasureForm,
    ReleaseForm,
)
from tooling.web.pins import confirm
from tooling.web.regrind_orders import order_answer, read_page
from tooling.web.rows import get_job


@require_POST
def send(request: HttpRequest, number: str) -> HttpResponse:
    """Everything that was not sent, or what is ticked, goes now."""
    require(request, Verb.SEND_REGRINDS)

    def act(order: RegrindOrder) -> str:
        regrind_order_moves.send(
            **signed(request), order=order, codes=_ticked(request),
            due_on=a_day(request.POST.get("due_on", "")),
        )  # fmt: skip
        return _("Sent.") if order.vendor else _("The work has begun.")

    return _act(request, number, act)


@require_http_methods(["GET", "POST"])
def take_back(request: HttpRequest, number: str) -> HttpResponse:
    """One scan after the other; place and day stay as they were said."""
    require(request, Verb.SEND_REGRINDS)
    page = read_page(request, number)
    initial = {
        "to": request.GET.get("to", "")[:600],
        "done_on": request.GET.get("done_on") or timezone.localdate().isoformat(),
        "code": request.GET.get("code", "")[:60],
    }
    form = BackForm(data_of(request), initial=initial)

    def save(values: dict[str, Any]) -> RegrindOrder:
        return regrind_order_moves.take_back(
            **signed(request), order=find_order(number), codes=[values["code"]], to=values["to"],
            done_on=values["done_on"], is_done=not values["not_done"],
            cost_cents=values["cost_cents"], reason=values["reason"],
        )  # fmt: skip

    return fill_in(
        request,
        form,
        template="regrinds/order_back.html",
        save=save,
        done=lambda row: _after_back(row, form),
        order=page,
        **rights(request),
    )


def _after_back(order: RegrindOrder, form: BackForm) -> tuple[str, str]:
    """To the next scan while something is out, else to the order."""
    said = _("{code} is back.").format(code=form.cleaned_data["code"].upper())
    if not order.lines.filter(is_open=True, back_at=None, sent_at__isnull=False).exists():
        return reverse("regrind-order", args=[order.number]), said
    keep = {"to": form.data.get("to", ""), "done_on": form.data.get("done_on", "")}
    return f"{reverse('regrind-order-back', args=[order.number])}?{urlencode(keep)}", said


@require_http_methods(["GET", "POST"])
def measure(request: HttpRequest, number: str, code: str) -> HttpResponse:
    """What one piece measures after the work; then the next one that was not measured."""
    require(request, Verb.RECORD_READINGS)
    row, page = find_order_line(find_order(number), code), read_page(request, number)
    piece = row.piece
    line = next(each for each in page.lines if each.code == piece.code)
    unit = unit_of(request.user, piece.unit)
    kept = {"over_chrome": line.over_chrome, "gauge": request.session.get("gauge", "")}
    form = MeasureForm(data_of(request), sizes=line.sizes, unit=unit, initial=kept)

    def save(values: dict[str, Any]) -> int:
        request.session["gauge"] = values["gauge"].number if values["gauge"] else ""
        shared = {name: values[name] for name in ("gauge", "over_chrome", "sure")}
        measured = {
            name: Measured(nm, str(form.data.get(name, ""))[:40])
            for name, nm in form.measured().items()
        }
        kept = measure_line(**signed(request), row=row, measured=measured, unit=unit, **shared)
        return len(kept)

    return fill_in(
        request,
        form,
        template="regrinds/order_measure.html",
        save=save,
        done=lambda n: (_next_to_read(page, piece.code), _kept(piece.code, n)),
        order=page,
        line=line,
        rows=[(size, form[size.name]) for size in line.sizes],
    )


def _next_to_read(page: OrderPage, code: str) -> str:
    following = [line.code for line in page.to_read if line.code != code]
    if following:
        return reverse("regrind-order-measure", args=[page.number, following[0]])
    return reverse("regrind-order", args=[page.number])


def _kept(code: str, n: int) -> str:
    said = ngettext("{code}: {n} reading kept.", "{code}: {n} readings kept.", n)
    return said.format(code=code, n=n)


@require_POST
def see_mark(request: HttpRequest, number: str) -> HttpResponse:
    """The marks of these pieces can be read again; ``gone``: they cannot after all."""
    require(request, Verb.SEND_REGRINDS)

    def act(order: RegrindOrder) -> str:
        regrind_order_moves.see_mark(
            **signed(request), order=order, codes=request.POST.getlist("code"),
            is_there=not request.POST.get("gone"),
        )  # fmt: skip
        return _("Written down.")

    done = _act(request, number, act)
    if request.POST.get("release") and done.status_code == 302:
        return redirect("regrind-order-judged", number)
    return done


@require_GET
def show_release(request: HttpRequest, number: str) -> HttpResponse:
    """Everything that the release asks, on one screen."""
    return _release_answer(request, number)


def _release_answer(request: HttpRequest, number: str, **more: Any) -> HttpResponse:
    """With what may be released by itself, where only some pieces are ready."""
    page = read_page(request, number)
    chosen = unit_of(request.user, "drawn")
    part = part_of(page, at=timezone.now(), unit=chosen if chosen in ("mm", "in") else None)
    return order_answer(
        request, number, page=page, template="regrinds/order_release.html", part=part, **more
    )


@require_POST
def release(request: HttpRequest, number: str) -> HttpResponse:
    """Judged anew; what keeps it is told in place. With ``code`` those pieces alone."""
    require(request, Verb.RELEASE_REGRINDS)
    form, codes = ReleaseForm(request.POST), request.POST.getlist("code")
    form.is_valid()
    try:
        _ticked(request)
        confirm(request)
        values = form.cleaned_data
        row = regrind_release.release(
            **signed(request), order=find_order(number), reason=values.get("reason", ""),
            version=values.get("version"), codes=codes,
        )  # fmt: skip
    except NotAllowed:
        raise
    except ToolingError as error:
        form.refuse(error)
        shown = {"part_form" if codes or "ticks" in request.POST else "release_form": form}
        return _release_answer(request, number, status=error.status, **shown)
    messages.success(request, _told(row, len(codes)))
    return redirect("regrind-order", number)


def _told(row: RegrindOrder, n: int) -> str:
    if row.ended_at is not None:
        return _("Released. The charts of its sets are to be proved again.")
    said = ngettext(
        "{n} piece is released; the rest stays on the order.",
        "{n} pieces are released; the rest stays on the order.",
        n,
    )
    return said.format(n=n)


@require_POST
def release_for_job(request: HttpRequest, number: str) -> HttpResponse:
    """One job may have the pieces that are back; for all others they stay held."""
    require(request, Verb.RELEASE_FOR_JOB)
    page = read_page(request, number)
    form = ForJobForm(request.POST, jobs=page.jobs)
    if form.is_valid():
        try:
            confirm(request)
            regrind_release.release_for_job(
                **signed(request), order=find_order(number), job=get_job(form.cleaned_data["job"]),
                reason=form.cleaned_data["reason"],
            )  # fmt: skip
        except NotAllowed:
            raise
        except ToolingError as error:
            form.refuse(error)
        else:
            messages.success(request, _("Released for this job alone."))
            return redirect("regrind-order", number)
    return _release_answer(request, number, status=400, job_form=form)


@require_POST
def drop(request: HttpRequest, number: str) -> HttpResponse:
    """Nothing is done; the pieces are free again."""
    require(request, Verb.ORDER_REGRINDS)
    form = DropForm(request.POST)
    form.is_valid()
    try:
        regrind_orders.cancel_order(
            **signed(request), order=find_order(number),
            reason=form.cleaned_data.get("reason", ""),
        )  # fmt: skip
    except NotAllowed:
        raise
    except ToolingError as error:
        form.refuse(error)
        return order_answer(request, number, status=error.status, drop_form=form)
    messages.success(request, _("Dropped."))
    return redirect("regrind-order", number)


def _ticked(request: HttpRequest) -> list[str]:
    """Codes of the pieces that are ticked; empty, which means all, only where the form has no
    ticks. Raises ``nothing_chosen``."""
    codes = request.POST.getlist("code")
    if "ticks" in request.POST and not codes:
        raise ToolingError("nothing_chosen", _("No piece is ticked. Tick those that are meant."))
    return codes


def _act(request: HttpRequest, number: str, act: Callable[[RegrindOrder], str]) -> HttpResponse:
    try:
        said = act(find_order(number))
    except NotAllowed:
        raise
    except ToolingError as error:
        return order_answer(request, number, status=error.status, error=error)
    messages.success(request, said)
    return redirect("regrind-order", number)

"""What a set and its charts say beside rolls: middle fills, characteristics, named settings."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from tooling.engineering.measures import written_measure
from tooling.models import ChartPass, SetFill, SetPass, ToolSet
from tooling.permissions import Verb
from tooling.services import characteristics, chart_axes, set_fills
from tooling.web.doors import data_of, fill_in, require, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.set_gaps import AxisForm, CharacteristicForm, FillForm
from tooling.web.rows import get_row, get_set
from tooling.web.sets import set_url

FILL_SIZES = ("length_nm", "below_nm", "above_nm", "outside_most_nm")


@require_http_methods(["GET", "POST"])
def save_fill(request: HttpRequest, number: str) -> HttpResponse:
    """A middle fill; ``?fill=`` changes an old one, ``?pass=`` and ``?shaft=`` begin a new one."""
    require(request, Verb.EDIT_RECORDS)
    row = get_set(number)
    old = _old_fill(row, request.GET.get("fill", ""))
    form = FillForm(
        data_of(request),
        tool_set=row,
        unit=unit_of(request.user, row.unit),
        initial=_fill_initial(old, request),
        lengths={name: getattr(old, name) for name in FILL_SIZES} if old else None,
    )
    return fill_in(
        request,
        form,
        template="sets/form.html",
        save=lambda values: set_fills.save_fill(**signed(request), **values),
        done=lambda saved: (f"{set_url(row)}#fills", _("Saved.")),
        head=_("Set {n}, middle fill").format(n=row.number),
        back=set_url(row),
    )


@require_POST
def remove_fill(request: HttpRequest, number: str, fill: int) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    rows = SetFill.objects.select_related("set_pass__tool_set")
    row = get_row(rows, said=number, pk=fill, set_pass__tool_set__number=number)
    set_fills.remove_fill(
        **signed(request), set_pass=row.set_pass, shaft=row.shaft, after_order=row.after_order
    )
    messages.success(request, _("The fill is taken out."))
    return redirect("set", number)


@require_http_methods(["GET", "POST"])
def save_characteristic(request: HttpRequest, number: str) -> HttpResponse:
    """What is checked on the first piece; ``?name=`` changes the one of that name."""
    require(request, Verb.EDIT_RECORDS)
    row = get_set(number)
    old = row.characteristics.filter(name=request.GET.get("name", "")).first()
    initial: dict[str, Any] = {"unit": row.unit}
    if old:
        initial = {"name": old.name, "order": old.order, "unit": old.unit}
        for name in characteristics.VALUES:
            nm, number_of = getattr(old, f"{name}_nm"), getattr(old, name)
            initial[name] = written_measure(nm, number_of, old.unit)
    return fill_in(
        request,
        CharacteristicForm(data_of(request), initial=initial),
        template="sets/form.html",
        save=lambda values: characteristics.save_characteristic(
            **signed(request), tool_set=row, **values
        ),
        done=lambda saved: (f"{set_url(row)}#section", _("Saved.")),
        head=_("Set {n}, what is checked on the first piece").format(n=row.number),
        back=set_url(row),
    )


@require_POST
def remove_characteristic(request: HttpRequest, number: str) -> HttpResponse:
    row, name = get_set(number), request.POST.get("name", "")
    characteristics.remove_characteristic(**signed(request), tool_set=row, name=name)
    messages.success(request, _("{name} is not checked any more.").format(name=name))
    return redirect("set", number)


@require_http_methods(["GET", "POST"])
def save_axis(request: HttpRequest, chart: int, set_pass: int) -> HttpResponse:
    """A free-named setting of a charted pass; ``?name=`` changes the one of that name."""
    require(request, Verb.EDIT_RECORDS)
    row = _chart_pass(chart, set_pass)
    old = row.axes.filter(name=request.GET.get("name", "")).first()
    initial: dict[str, Any] = {"unit": row.chart.tool_set.unit}
    if old:
        target = written_measure(old.target_nm, old.target, old.unit)
        initial = {"name": old.name, "unit": old.unit, "target": target}
    back = reverse("chart", args=[chart])
    return fill_in(
        request,
        AxisForm(data_of(request), initial=initial),
        template="sets/form.html",
        save=lambda values: chart_axes.save_axis(**signed(request), chart_pass=row, **values),
        done=lambda saved: (f"{back}#pass-{row.set_pass.number}", _("Saved.")),
        head=_("{chart}, pass {n}: a setting").format(chart=row.chart, n=row.set_pass.number),
        back=back,
    )


@require_POST
def remove_axis(request: HttpRequest, chart: int, set_pass: int) -> HttpResponse:
    row, name = _chart_pass(chart, set_pass), request.POST.get("name", "")
    chart_axes.remove_axis(**signed(request), chart_pass=row, name=name)
    return redirect("chart", chart)


def _old_fill(row: ToolSet, asked: str) -> SetFill | None:
    if not asked.isdigit():
        return None
    rows = SetFill.objects.select_related("set_pass")
    return rows.filter(pk=int(asked), set_pass__tool_set=row).first()


def _fill_initial(old: SetFill | None, request: HttpRequest) -> dict[str, Any]:
    if old is not None:
        return {"set_pass": old.set_pass.number, "shaft": old.shaft, "after_order": old.after_order}
    asked = request.GET.get("pass", "")
    known = SetPass.objects.filter(number=int(asked)).exists() if asked.isdigit() else False
    return {"set_pass": asked if known else 1, "shaft": request.GET.get("shaft", "top")}


def _chart_pass(chart: int, set_pass: int) -> ChartPass:
    rows = ChartPass.objects.select_related(
        "chart__tool_set", "chart__mill", "set_pass__tool_set", "station"
    )
    found: ChartPass = get_row(rows, said=_("such pass"), chart=chart, set_pass=set_pass)
    return found

"""Copies of a set with the pieces allotted to them, and its setup charts."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.models import ChartPass, SetCopy, SetPass, SetPosition, SetupChart
from tooling.permissions import Verb
from tooling.queries.charts import chart_page
from tooling.services import allotments, charts, sets
from tooling.web.doors import data_of, fill_in, require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.forms.sets import AllotForm, ChartPassForm, CopyForm, NewChart
from tooling.web.rows import get_row, get_set
from tooling.web.sets import set_url

GAPS = ("gap_nm", "gap_allowance_nm", "top_inboard_fill_nm", "bottom_inboard_fill_nm")
WORDS = ("note", "gap_method", "gap_is_loaded")


@require_http_methods(["GET", "POST"])
def new_copy(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    row = get_set(number)
    letters = set(row.copies.values_list("letter", flat=True))
    free = next((each for each in "ABCDEFGHJKLMNPQRSTUVWXYZ" if each not in letters), "")
    return fill_in(
        request,
        CopyForm(data_of(request), initial={"letter": free}),
        template="sets/form.html",
        save=lambda values: sets.add_copy(**signed(request), tool_set=row, **values),
        done=lambda saved: (set_url(row), _("Copy {a} made.").format(a=saved.letter)),
        head=_("Set {n}, new copy").format(n=row.number),
        back=set_url(row),
    )


@require_http_methods(["GET", "POST"])
def edit_copy(request: HttpRequest, number: str, copy: int) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    row = _copy(number, copy)
    names = ("home", "owner", "from_paper_count")
    form = CopyForm(data_of(request), initial={name: getattr(row, name) for name in names})
    del form.fields["letter"]
    return fill_in(
        request,
        form,
        template="sets/form.html",
        save=lambda values: sets.edit_copy(**signed(request), copy=row, **values),
        done=lambda saved: (set_url(row.tool_set), _("Saved.")),
        head=f"{number}-{row.letter}",
        back=set_url(row.tool_set),
    )


@require_POST
def fill_copy(request: HttpRequest, number: str, copy: int) -> HttpResponse:
    """Allot every piece that can only be meant for one empty position."""
    row = _copy(number, copy)
    n = allotments.allot_by_drawing(**signed(request), copy=row)
    said = ngettext("{n} piece allotted.", "{n} pieces allotted.", n).format(n=n)
    messages.success(request, said)
    return redirect("set", number)


@require_http_methods(["GET", "POST"])
def allot(request: HttpRequest, number: str, position: int) -> HttpResponse:
    """Say which piece normally fills a position of a copy."""
    require(request, Verb.EDIT_RECORDS)
    rows = SetPosition.objects.select_related("set_pass__tool_set", "drawing")
    row = get_row(rows, said=number, pk=position, set_pass__tool_set__number=number)
    tool_set = row.set_pass.tool_set
    form = AllotForm(data_of(request), tool_set=tool_set, initial={"copy": tool_set.copies.first()})
    return fill_in(
        request,
        form,
        template="sets/form.html",
        save=lambda values: allotments.allot(
            **signed(request), position=row, **values
        ),
        done=lambda saved: (
            f"{set_url(tool_set)}#pass-{row.set_pass.number}",
            _("{code} is allotted.").format(code=saved.piece.code),
        ),
        head=_("Set {n}, pass {p}, {shaft} {order}: a piece of {drawing}").format(
            n=number, p=row.set_pass.number, shaft=row.get_shaft_display(), order=row.order,
            drawing=row.drawing.number,
        ),
        back=set_url(tool_set),
    )  # fmt: skip


@require_http_methods(["GET", "POST"])
def new_chart(request: HttpRequest, number: str) -> HttpResponse:
    require(request, Verb.EDIT_RECORDS)
    row = get_set(number)
    return fill_in(
        request,
        NewChart(data_of(request)),
        template="sets/form.html",
        save=lambda values: charts.create_chart(**signed(request), tool_set=row, **values),
        done=lambda saved: (
            reverse("chart", args=[saved.pk]),
            _("Chart made. Move the passes that stand elsewhere."),
        ),
        head=_("Set {n}, new setup chart").format(n=row.number),
        back=set_url(row),
    )


@require_GET
def show_chart(request: HttpRequest, chart: int) -> HttpResponse:
    return render(request, "sets/chart.html", {"chart": chart_page(chart), **rights(request)})


@require_http_methods(["GET", "POST"])
def place_pass(request: HttpRequest, chart: int, set_pass: int) -> HttpResponse:
    """Where a pass stands, its gap and its inboard fills."""
    require(request, Verb.EDIT_RECORDS)
    row = _chart(chart)
    the_pass = get_row(SetPass.objects.filter(tool_set=row.tool_set), said="", pk=set_pass)
    old = row.chart_passes.filter(set_pass=the_pass).select_related("station").first()
    initial = {"station": old.station.number} if old else {}
    initial |= {name: getattr(old, name) for name in WORDS} if old else {}
    form = ChartPassForm(
        data_of(request),
        chart=row,
        unit=unit_of(request.user, row.tool_set.unit),
        initial=initial,
        lengths={name: getattr(old, name) for name in GAPS} if old else None,
    )
    return fill_in(
        request,
        form,
        template="sets/form.html",
        save=lambda values: charts.place_pass(
            **signed(request), chart=row, set_pass=the_pass, **values
        ),
        done=lambda saved: (reverse("chart", args=[chart]), _("Saved.")),
        head=_("{chart}, pass {n}").format(chart=row, n=the_pass.number),
        back=reverse("chart", args=[chart]),
    )


@require_POST
def take_pass_off(request: HttpRequest, chart: int, set_pass: int) -> HttpResponse:
    rows = ChartPass.objects.select_related("chart__tool_set", "chart__mill", "set_pass", "station")
    row = get_row(rows, said=_("such pass"), chart=chart, set_pass=set_pass)
    charts.take_pass_off(**signed(request), chart_pass=row)
    return redirect("chart", chart)


def _copy(number: str, copy: int) -> SetCopy:
    rows = SetCopy.objects.select_related("tool_set", "home", "owner")
    found: SetCopy = get_row(rows, said=number, pk=copy, tool_set__number=number)
    return found


def _chart(chart: int) -> SetupChart:
    rows = SetupChart.objects.select_related("tool_set", "mill")
    found: SetupChart = get_row(rows, said=_("such chart"), pk=chart)
    return found

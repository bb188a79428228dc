"""Wear: gauge points by what is left, one piece's charts, what was learned, life and money."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from tooling.engineering.lengths import NM_PER_IN, NM_PER_MM, format_strip_length, say_length
from tooling.pictures.svg import paint_svg
from tooling.pictures.wear_chart import NARROW, WIDE, Spot, WearChart, wear_chart
from tooling.queries.life_money import LifePage, LifeRow, LifeSum, life_page, life_rows
from tooling.queries.owner_values import currency
from tooling.queries.piece_wear import PieceWear, PointWear, piece_wear
from tooling.queries.wear import pools_page, wear_page
from tooling.services import wear_work
from tooling.web.count_sheets import sheet_answer
from tooling.web.doors import rights, signed
from tooling.web.forms.fields import unit_of

ONLY = ("", "flags", "read")
K = 2.0
MONEY = ("Piece", "Mark", "Drawing", "Kind", "Sets", "Owner", "Place", "Strip run (m)", "Strokes",
         "Cuts", "Cuts left", "Currency", "New", "Spent", "Spent per km", "Value",
         "Away")  # fmt: skip
MONEY_BY_SET = ("Set", "Pieces", "Strip run, most (m)", "Cuts", "Cuts left, fewest", "Currency",
                "Spent", "Spent per km", "Value", "At risk", "Pieces without a price")  # fmt: skip


@require_GET
def show_wear(request: HttpRequest) -> HttpResponse:
    """Ranked; ``class`` reckons in one class of strip, ``set`` narrows, ``only`` shows what stands
    out or what to measure."""
    chosen = request.GET.get("class", "").strip()[:40]
    only = request.GET.get("only", "")
    page = wear_page(
        at=timezone.now(),
        chosen=chosen,
        tool_set=request.GET.get("set", "").strip()[:40],
        only=only if only in ONLY else "",
    )
    context = {
        "page": page, "only": only, "set": request.GET.get("set", ""),
        "is_narrowed": bool(only or request.GET.get("set")),
        "used_up": [row for row in page.rows if row.until], **rights(request),
    }  # fmt: skip
    return render(request, "wear/list.html", context)


@require_GET
def show_piece_wear(request: HttpRequest, code: str) -> HttpResponse:
    """Every gauge point of one piece: chart, table, what stands out, what to measure, how."""
    chosen = request.GET.get("class", "").strip()[:40]
    page = piece_wear(code, at=timezone.now(), chosen=chosen)
    unit = unit_of(request.user, page.unit)
    charts = [
        [(name, paint_svg(wear_chart(shown, width=width), key=f"wear-{n}-{name}"))
         for name, width in (("wide", WIDE), ("narrow", NARROW))]
        if (shown := chart_of(page, point, unit)) else []
        for n, point in enumerate(page.points)
    ]  # fmt: skip
    context = {
        "page": page, "points": list(zip(page.points, charts, strict=True)), "unit": unit,
        **rights(request),
    }  # fmt: skip
    return render(request, "wear/piece.html", context)


def chart_of(page: PieceWear, point: PointWear, unit: str) -> WearChart | None:
    """What the picture of one point shows, in the person's unit; None for a template, and
    where there is neither a value nor a line."""
    is_read = any(each.value_nm is not None for each in point.readings)
    if not point.is_length or not (is_read or point.band):
        return None
    per = NM_PER_IN if unit == "in" else NM_PER_MM
    shown: Any = "in" if unit == "in" else "mm"
    return WearChart(
        title=_("{point} of {piece} against strip run").format(
            point=point.title, piece=page.mark or page.code
        ),
        description=_said(point, shown),
        value_label=f"{point.title}, {unit}",
        off_label=_("off the line, {unit}").format(unit=unit),
        strip_label=_("km of cold rolled strip since new"),
        limit_label=_("limit"),
        spots=tuple(
            Spot(each.at_km, each.value_nm / per, K * each.u_nm / per, each.is_off, each.is_past)
            for each in point.readings
            if each.value_nm is not None
        ),
        line=tuple((km, nm / per) for km, nm in point.line),
        band=tuple(
            (at.at_km, at.low_nm / per, at.middle_nm / per, at.high_nm / per) for at in point.band
        ),
        limit=None if point.limit_nm is None else point.limit_nm / per,
        cuts=tuple(
            (cut.at_km, _("cut {day}").format(day=date_format(cut.on, "j M Y")))
            for cut in point.cuts
        ),
        jobs=tuple((each.from_km, each.to_km, each.job.number) for each in point.ahead),
        incidents=tuple((km, word) for km, word, _number in point.incidents),
    )


def _said(point: PointWear, unit: Any) -> str:
    """The picture in words: how many readings, the last, the limit, how much is left."""
    told = [_("{n} readings").format(n=len(point.readings))]
    valued = [each for each in point.readings if each.value_nm is not None]
    if valued and valued[-1].value_nm is not None:
        told.append(_("the last {value}").format(value=say_length(valued[-1].value_nm, unit)))
    if point.limit_nm is not None:
        told.append(_("limit {limit}").format(limit=say_length(round(point.limit_nm), unit)))
    if point.left_sure_nm is not None:
        left = format_strip_length(point.left_sure_nm, "m", 0)
        told.append(_("{left} m of strip left that is sure").format(left=left))
    return "; ".join(told) + "."


@require_GET
def show_pools(request: HttpRequest) -> HttpResponse:
    """What was learned, plainly."""
    return render(request, "wear/pools.html", {"page": pools_page(), **rights(request)})


@require_POST
def learn(request: HttpRequest) -> HttpResponse:
    """Ask the worker to learn anew from everything."""
    wear_work.ask_to_learn(**signed(request))
    messages.success(request, _("Asked for. The worker reads every life; load again soon."))
    return redirect("wear-pools")


@require_GET
def show_life(request: HttpRequest) -> HttpResponse:
    """Strip run, cuts, cost per length and value at risk, per set and piece."""
    page = life_page(tool_set=request.GET.get("set", "").strip()[:40])
    return render(request, "wear/life.html", {"page": page, **rights(request)})


@require_GET
def life_csv(request: HttpRequest) -> HttpResponse:
    """The same as a file, piece by piece, or set by set with ``by=set``; each amount with the
    shop's currency beside it."""
    tool_set = request.GET.get("set", "").strip()[:40]
    if request.GET.get("by") == "set":
        page = life_page(tool_set=tool_set)
        return sheet_answer("life-and-money-by-set.csv", MONEY_BY_SET, _cells_by_set(page))
    rows, unit = life_rows(tool_set=tool_set), currency()
    return sheet_answer("life-and-money.csv", MONEY, [_cells(row, unit) for row in rows])


def _money(cents: int | None) -> str:
    return "" if cents is None else f"{cents / 100:.2f}"


def _cells_by_set(page: LifePage) -> list[Sequence[Any]]:
    """One row for each set; of all sets the whole at last, as the page has it."""

    def cells(name: str, row: LifeSum) -> Sequence[Any]:
        return [
            name, row.pieces, format_strip_length(row.run_nm, "m"), row.cuts, row.cuts_left_least,
            page.currency, _money(row.spent_cents), _money(row.per_km), _money(row.value_cents),
            _money(row.at_risk_cents), row.unpriced,
        ]  # fmt: skip

    found = [cells(row.name, row) for row in page.sums_shown]
    return found if page.chosen else [*found, cells(_("All pieces"), page.whole)]


def _cells(row: LifeRow, unit: str) -> Sequence[Any]:
    return [
        row.piece, row.mark, row.drawing, row.kind_word, " ".join(row.sets), row.owner, row.place,
        format_strip_length(row.run_nm, "m"), row.strokes, row.cuts, row.cuts_left, unit,
        _money(row.new_cents), _money(row.spent_cents), _money(row.per_km),
        _money(row.value_cents),
        "yes" if row.is_out else "",
    ]  # fmt: skip

"""What is due to be counted, and the record of how right the records were."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from tooling.models import CountState
from tooling.permissions import Verb
from tooling.pictures.accuracy_chart import AccuracyPoint, accuracy_chart
from tooling.pictures.svg import paint_svg
from tooling.queries.count_accuracy import AccuracyRecord, accuracy_record
from tooling.queries.count_plan import PRESSING, Due, PlanRow, count_plan
from tooling.queries.counts import CountHead, count_choices, count_list
from tooling.templatetags.counting import due_word, often_word
from tooling.web.count_sheets import sheet_answer
from tooling.web.doors import require, rights

LATEST = 10
PLAN_HEADINGS = ("Place", "Code", "Pieces", "Bins", "How often", "Every so many days", "Moves",
                 "Last count", "Last counted", "Moves since", "Due", "State")  # fmt: skip
ACCURACY_HEADINGS = ("Count", "Of", "Kind", "Code", "Opened", "Opened by", "Closed", "Closed by",
                     "Expected", "Found", "Missing", "Extra", "Accuracy %", "Note")  # fmt: skip


@require_GET
def show_plan(request: HttpRequest) -> HttpResponse:
    """Open counts, what is due, the last results; ``all`` shows what is not due as well."""
    return plan_answer(request)


def plan_answer(request: HttpRequest, **more: Any) -> HttpResponse:
    """The page of counts, with a refused opening said where it was asked for."""
    plan, everything = count_plan(at=timezone.now()), bool(request.GET.get("all"))
    shown = (*PRESSING, Due.SOON)
    error = more.get("error")
    context = {
        "plan": plan,
        "places": [row for row in plan.places if everything or row.due in shown],
        "owners": [row for row in plan.owners if everything or row.due in shown],
        "everything": everything,
        "open": count_list(state=CountState.OPEN),
        "latest": count_list(state=CountState.CLOSED, most=LATEST),
        "choices": count_choices(),
        **rights(request),
        **more,
    }
    return render(request, "counts/plan.html", context, status=error.status if error else 200)


@require_GET
def plan_csv(request: HttpRequest) -> HttpResponse:
    """The whole plan of places as a sheet."""
    require(request, Verb.EXPORT)
    rows = [_plan_cells(row) for row in count_plan(at=timezone.now()).places]
    return sheet_answer("counts-plan.csv", PLAN_HEADINGS, rows)


def _plan_cells(row: PlanRow) -> list[Any]:
    often, due = often_word(row.how_often), due_word(row.due)
    return [row.name, row.code, row.pieces, row.bins, often, row.every_days, row.moves,
            row.last_number, row.last_at, row.moves_since, row.due_on, due]  # fmt: skip


@require_GET
def show_accuracy(request: HttpRequest) -> HttpResponse:
    """Found of expected: over the months, per place, per count."""
    record = accuracy_record()
    context = {"record": record, "chart": _chart(record), **rights(request)}
    return render(request, "counts/accuracy.html", context)


def _chart(record: AccuracyRecord) -> str:
    points = []
    for row in record.months:
        share, month = row.figures.accuracy, date_format(row.month, "M Y")
        if share is not None:
            said = _("{month}: {found} of {expected} found").format(
                month=month, found=row.figures.found, expected=row.figures.expected
            )
            points.append(AccuracyPoint(date_format(row.month, "M y"), share, said))
    return paint_svg(accuracy_chart(points), key="accuracy") if points else ""


@require_GET
def accuracy_csv(request: HttpRequest) -> HttpResponse:
    """Every closed count as a sheet."""
    require(request, Verb.EXPORT)
    rows = [_count_cells(count) for count in accuracy_record().counts]
    return sheet_answer("counts-accuracy.csv", ACCURACY_HEADINGS, rows)


def _count_cells(count: CountHead) -> list[Any]:
    figures, share = count.figures, count.figures.accuracy
    percent = None if share is None else f"{share * 100:.1f}"
    return [count.number, count.subject, count.kind, count.code, count.opened_at, count.opened_by,
            count.closed_at, count.closed_by, figures.expected, figures.found, figures.missing,
            figures.extra, percent, count.note]  # fmt: skip

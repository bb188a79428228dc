"""When to send which set to the grinder."""

from __future__ import annotations

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from tooling.pictures.svg import paint_svg
from tooling.pictures.when_days import Bar, DayRow, when_chart
from tooling.queries.regrind_when import when_page
from tooling.queries.regrind_when_views import WhenPage, WindowView
from tooling.web.doors import rights

MOST_ROWS = 40


@require_GET
def show_when(request: HttpRequest) -> HttpResponse:
    """Sets by urgency, with their windows, what slips, and recut against replace."""
    page = when_page(at=timezone.now())
    context = {"page": page, "picture": _picture(page), **rights(request)}
    return render(request, "regrinds/when.html", context)


def _picture(page: WhenPage) -> str:
    rows = [DayRow(each.copy, tuple(_bars(each))) for each in page.windows[:MOST_ROWS]
            if each.jobs]  # fmt: skip
    if not rows:
        return ""

    def say(day: int) -> str:
        return date_format(date.fromordinal(day), "j M")

    return paint_svg(when_chart(rows, today=page.today.toordinal(), say=say), key="when")


def _bars(each: WindowView) -> list[Bar]:
    bars = [
        Bar(job.gathers.toordinal(), job.ends.toordinal(), "crosses" if job.crosses else "job",
            _("job {job}").format(job=job.number), job.number)
        for job in each.jobs
    ]  # fmt: skip
    if each.chosen is not None:
        said = _("send on {day}").format(day=date_format(each.chosen.out, "j M"))
        bars.append(Bar(each.chosen.out.toordinal(), each.chosen.back.toordinal(), "window", said))
    return bars

"""The setup sheet of a kit: on paper, and the same as a page for the tablet at the mill."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, get_args

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from tooling.engineering.how import Step
from tooling.paper.pages import PaperName
from tooling.paper.setup_rows import StationPart
from tooling.paper.setup_sheet import setup_sheet_pdf
from tooling.queries.kits import kit_version
from tooling.queries.setup_sheet import setup_sheet
from tooling.queries.setup_sheet_views import SetupSheetView
from tooling.web.forms.fields import unit_of
from tooling.web.setup_sheet_words import SheetWords


@dataclass(frozen=True)
class StationOnPage:
    """A station's words, and the steps behind its numbers."""

    part: StationPart
    steps: tuple[Step, ...]


@require_GET
def sheet_file(request: HttpRequest, number: str) -> HttpResponse:
    """The setup sheet as a PDF; ``paper`` is a4 or letter."""
    view = setup_sheet(number, at=timezone.now())
    papers: dict[str, PaperName] = {each: each for each in get_args(PaperName)}
    paper = papers.get(request.GET.get("paper", "a4"), "a4")
    data = setup_sheet_pdf(_words(request, view).sheet(), paper=paper)
    headers = {"Content-Disposition": f'inline; filename="setup-{view.number}.pdf"'}
    return HttpResponse(data, content_type="application/pdf", headers=headers)


@require_GET
def show_chart(request: HttpRequest, number: str) -> HttpResponse:
    """The same as a page that keeps itself up to date."""
    return render(request, "setups/chart.html", _context(request, number))


@require_GET
def show_chart_live(request: HttpRequest, number: str) -> HttpResponse:
    """What moves on that page; 204 while the version that the screen has is the kit's own."""
    if request.GET.get("v") == str(kit_version(number)):
        return HttpResponse(status=204)
    return render(request, "setups/chart_live.html", _context(request, number))


def _context(request: HttpRequest, number: str) -> dict[str, Any]:
    view = setup_sheet(number, at=timezone.now())
    sheet = _words(request, view).sheet()
    stations = [
        StationOnPage(part, station.gap.steps if station.gap else ())
        for part, station in zip(sheet.stations, view.occupied, strict=True)
    ]
    return {"view": view, "sheet": sheet, "stations": stations}


def _words(request: HttpRequest, view: SetupSheetView) -> SheetWords:
    chosen = getattr(request.user, "length_unit", "drawn")
    return SheetWords(view, unit_of(request.user, view.unit), drawn=chosen not in ("mm", "in"))

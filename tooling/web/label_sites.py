"""Where a label may sit on a piece; artwork for etching a mark."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET

from tooling.errors import ToolingError
from tooling.paper.etching import etch_svg
from tooling.permissions import Verb, can
from tooling.pictures.piece_label_sites import SEAT_WORDS, piece_sites, usual_sites
from tooling.pictures.svg import paint_svg
from tooling.queries.label_sites import site_facts
from tooling.web.forms.fields import unit_of


@require_GET
def show_sites(request: HttpRequest) -> HttpResponse:
    """For any roll, or with ``?piece=`` for one with its own sizes; ``?ground=`` names faces."""
    asked = request.GET.get("piece", "").strip()
    ground = frozenset(request.GET.getlist("ground"))
    context: dict[str, Any] = {"asked": asked, "ground": ground}
    shown, status = usual_sites(ground), 200
    if asked:
        try:
            facts = site_facts(asked)
        except ToolingError as error:
            context["error"], status = error, error.status
        else:
            shown = piece_sites(facts, ground=ground, unit=unit_of(request.user, facts.unit))
            context |= {"facts": facts, "seat_word": SEAT_WORDS.get(facts.seat_from, "")}
    context |= {
        "sentence": shown.sentence,
        "sites": shown.sites,
        "picture": paint_svg(shown.picture, key="sites") if shown.picture else "",
        "may_issue": can(request.user, Verb.ISSUE_LABELS),
    }
    return render(request, "labels/where.html", context, status=status)


@require_GET
def etching(request: HttpRequest) -> HttpResponse:
    """Artwork of ``?text=…&symbol=datamatrix|qr&size=12`` as SVG in true millimetres."""
    text = request.GET.get("text", "").strip()
    svg = etch_svg(
        text,
        symbol="qr" if request.GET.get("symbol") == "qr" else "datamatrix",
        size_mm=_millimetres(request.GET.get("size", "12")),
    )
    headers = {"Content-Disposition": 'attachment; filename="etching.svg"'}
    return HttpResponse(svg, content_type="image/svg+xml", headers=headers)


def _millimetres(text: str) -> float:
    try:
        size = float(text.replace(",", "."))
    except ValueError as error:
        raise _no_size(text) from error
    if not 0 < size < 10_000:
        raise _no_size(text)
    return size


def _no_size(text: str) -> ToolingError:
    return ToolingError(
        "not_a_length", _("“{text}” is no size in millimetres. Write such as 12."), text=text[:20]
    )

"""The list of spacers to make on paper."""

from __future__ import annotations

from typing import get_args

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET

from tooling.engineering.lengths import Unit, say_length
from tooling.paper.make_list import MakeRow, MakeSheet, make_list_pdf
from tooling.paper.pages import PaperName
from tooling.queries.fill_page import fill_page
from tooling.queries.fill_told import FillPage, MakeTold
from tooling.queries.fill_views import Spot
from tooling.templatetags.rollroom import fill_word, shaft_word
from tooling.web.forms.fields import unit_of


@require_GET
def make_list_file(request: HttpRequest, number: str) -> HttpResponse:
    """What to make, as a PDF; ``paper`` is a4 or letter."""
    page = fill_page(number)
    papers: dict[str, PaperName] = {each: each for each in get_args(PaperName)}
    unit: Unit = "in" if unit_of(request.user, page.unit) == "in" else "mm"
    data = make_list_pdf(
        sheet_of(page, unit), paper=papers.get(request.GET.get("paper", "a4"), "a4")
    )
    headers = {"Content-Disposition": f'inline; filename="make-list-{page.kit}.pdf"'}
    return HttpResponse(data, content_type="application/pdf", headers=headers)


def sheet_of(page: FillPage, unit: Unit) -> MakeSheet:
    """What the paper says of a kit's make-list, lengths in the person's unit."""
    told = page.answer
    rows = told.make if told else ()
    return MakeSheet(
        title=page.job,
        kit_code=page.kit,
        version=page.version,
        printed_at=timezone.localtime(),
        header=_header(page, len(rows)),
        facts=(
            (_("Mill"), page.mill),
            (_("In all"), say_length(told.make_total_nm, unit) if told and rows else ""),
        ),
        rows=tuple(_row(each, unit) for each in rows),
        impossible=tuple(_impossible(each) for each in (told.impossible if told else ())),
    )


def _header(page: FillPage, n: int) -> str:
    if not n or page.answer is None:
        return ""
    said = ngettext(
        "{n} piece, so that every shaft can be filled.",
        "{n} pieces, so that every shaft can be filled.",
        n,
    ).format(n=n)
    proven = _("Fewer will not do.") if page.answer.make_is_proven else _("The best found.")
    return f"{said} {proven}"


def _row(each: MakeTold, unit: Unit) -> MakeRow:
    length = say_length(each.length_nm, unit)
    if each.window_nm:
        low, high = (say_length(nm, unit) for nm in each.window_nm)
        length = _("grind to {low} … {high}").format(low=low, high=high)
    fits = []
    if each.shaft_nm:
        fits.append(_("on a shaft of {size}").format(size=say_length(each.shaft_nm, unit)))
    if each.key_width_nm:
        fits.append(_("key {size} wide").format(size=say_length(each.key_width_nm, unit)))
    return MakeRow(length, _where(each.spot), ", ".join(fits))


def _where(spot: Spot) -> str:
    return _("Station {n}, {shaft}, {fill}").format(
        n=spot.station, shaft=shaft_word(spot.shaft), fill=fill_word(spot.fill)
    )


def _impossible(spot: Spot) -> str:
    return _(
        "{where}: less room than nothing, or than the shortest spacer that is made. Check the "
        "guide plane, the shoulder's offset and the rolls."
    ).format(where=_where(spot))

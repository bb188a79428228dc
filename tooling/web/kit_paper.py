"""The pull list on paper."""

from __future__ import annotations

from typing import get_args

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from tooling.paper.pull_list import PaperName, pull_list_pdf
from tooling.paper.pull_sheet import Caution, PullRow, PullSheet, PullStop
from tooling.queries.kit_views import PositionView
from tooling.queries.kit_words import where_words
from tooling.queries.pull_list import pull_list
from tooling.queries.pull_views import PullLater, PullLine, PullList
from tooling.templatetags.rollroom import STATE_WORDS, mass

CAUTIONS: dict[str, Caution] = {each: each for each in get_args(Caution)}


@require_GET
def pull_list_file(request: HttpRequest, number: str) -> HttpResponse:
    """The pull list as a PDF; ``paper`` is a4 or letter."""
    pull = pull_list(number, at=timezone.now())
    papers: dict[str, PaperName] = {each: each for each in get_args(PaperName)}
    asked = request.GET.get("paper", "a4")
    data = pull_list_pdf(sheet_of(pull), paper=papers.get(asked, "a4"))
    headers = {"Content-Disposition": f'inline; filename="pull-list-{pull.kit}.pdf"'}
    return HttpResponse(data, content_type="application/pdf", headers=headers)


def sheet_of(pull: PullList) -> PullSheet:
    """What the paper says of a pull list."""
    return PullSheet(
        title=pull.job.number,
        kit_code=pull.kit,
        version=pull.version,
        printed_at=timezone.localtime(pull.made_at),
        header=pull.header,
        facts=_facts(pull),
        stops=tuple(
            PullStop(stop.place, tuple(_row(line) for line in stop.lines), stop.place_code)
            for stop in pull.stops
        ),
        not_to_fetch=(
            *(_later(each) for each in pull.later),
            *(_lacking(position) for position in pull.not_to_fetch),
        ),
    )


def _facts(pull: PullList) -> tuple[tuple[str, str], ...]:
    starts = date_format(timezone.localtime(pull.job.starts_at), "Y-m-d H:i")
    tool_set = f"{pull.job.set_number} {pull.job.set_name}"
    weighs = mass(pull.kg)
    if pull.unknown:
        weighs = _("{kg} and {n} of unknown mass").format(kg=weighs, n=pull.unknown)
    return (
        (_("Set"), f"{tool_set} {pull.job.variant}".strip()),
        (_("Copy"), pull.copy_letter or "–"),
        (_("Mill"), pull.job.mill),
        (_("Starts"), starts),
        (_("Bring to"), pull.to_place or _("not chosen yet")),
        (_("In all"), weighs),
    )


def _row(line: PullLine) -> PullRow:
    of = _("take {n} of {of}").format(n=line.quantity, of=line.of) if line.of else ""
    notes = [of, line.note, _("not yet seen") if line.not_yet_seen else ""]
    return PullRow(
        name=line.mark or line.drawing,
        code=line.code,
        what=line.drawing,
        goes_to=f"{line.where} → {line.peg}" if line.peg else line.where,
        quantity=line.quantity,
        mass_kg=line.mass_kg,
        caution=CAUTIONS.get(line.caution, ""),
        note="; ".join(note for note in notes if note),
    )


def _later(each: PullLater) -> PullRow:
    return PullRow(
        name=each.drawing,
        code="",
        what=_("come back"),
        goes_to="",
        quantity=each.quantity,
        note=each.said,
    )


def _lacking(position: PositionView) -> PullRow:
    return PullRow(
        name=position.mark or position.drawing,
        code=position.code,
        what=str(STATE_WORDS[str(position.state)]),
        goes_to=where_words(position.pass_number, position.shaft, position.order, position.where),
        note=position.reason,
    )

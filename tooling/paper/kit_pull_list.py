"""A kit's pull list as its query answers it, in the words of the sheet."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tooling.models import DrawingKind
from tooling.paper.pull_sheet import Caution, PullRow, PullSheet, PullStop
from tooling.queries.kit_views import PositionView, PullLine, PullList
from tooling.queries.kit_words import where_words

_CAUTIONS: Mapping[str, Caution] = {"heavy": "heavy", "two_people": "two_people"}


def sheet_of(pull: PullList, *, printed_at: datetime) -> PullSheet:
    """The list on paper; ``printed_at`` is the moment in the shop's zone."""
    return PullSheet(
        title=pull.job.number,
        kit_code=pull.kit,
        version=pull.version,
        printed_at=printed_at,
        header=pull.header,
        facts=(
            (_("Bring to"), pull.to_place or _("not chosen yet")),
            (_("Job"), _job_words(pull)),
            (_("In all"), _total_words(pull)),
            (_("The load"), pull.load.said),
        ),
        stops=tuple(
            PullStop(stop.place, tuple(map(_row, stop.lines)), stop.place_code)
            for stop in pull.stops
        ),
        not_to_fetch=tuple(map(_trouble, pull.not_to_fetch)),
    )


def _job_words(pull: PullList) -> str:
    """``panel W24, right hand, copy A, on mill 2``, as far as it is known."""
    job = pull.job
    copy = _("copy {letter}").format(letter=pull.copy_letter) if pull.copy_letter else ""
    named = " ".join(filter(None, (job.set_number, job.set_name)))
    parts = (named, job.variant, copy, _("on {mill}").format(mill=job.mill))
    return ", ".join(part for part in parts if part)


def _total_words(pull: PullList) -> str:
    pieces = ngettext("{n} piece", "{n} pieces", pull.pieces).format(n=pull.pieces)
    said = f"{pieces}, {pull.kg:.0f} kg"
    if not pull.unknown:
        return said
    return f"{said}, {_('{n} of unknown mass').format(n=pull.unknown)}"


def _row(line: PullLine) -> PullRow:
    notes = (_("Not yet seen since it was entered from paper.") if line.not_yet_seen else "",
             line.note)  # fmt: skip
    return PullRow(
        name=line.mark or line.drawing,
        code=line.code,
        what=_what(line.kind, line.drawing),
        goes_to=" › ".join(filter(None, (line.where, line.peg))),
        quantity=line.quantity,
        mass_kg=line.mass_kg,
        caution=_CAUTIONS.get(line.caution, ""),
        note=" ".join(filter(None, notes)),
    )


def _trouble(view: PositionView) -> PullRow:
    return PullRow(
        name=view.mark or view.drawing,
        code=view.piece,
        what=_what(view.kind, view.drawing),
        goes_to=where_words(view.pass_number, view.shaft, view.order),
        note=view.reason,
    )


def _what(kind: str, drawing: str) -> str:
    return f"{DrawingKind(kind).label} {drawing}"

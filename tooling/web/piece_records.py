"""What a person writes down about a piece: readings, past work, strip length run."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from tooling.engineering.lengths import parse_length
from tooling.models import DIMENSIONS, DrawingKind, LengthEntry, Person, Piece, Reading, Work
from tooling.permissions import Verb
from tooling.services import lengths_run, readings, work
from tooling.web.doors import data_of, fill_in, require
from tooling.web.forms.fields import unit_of
from tooling.web.forms.pieces import LengthRunForm, ReadingForm, WorkForm
from tooling.web.rows import get_piece, get_row
from tooling.web.sessions import person_of


@require_http_methods(["GET", "POST"])
def new_reading(request: HttpRequest, code: str) -> HttpResponse:
    """One measurement; ``?corrects=`` names the reading that it puts right."""
    require(request, Verb.RECORD_READINGS)
    piece, at = get_piece(code), timezone.now()
    wrong: Reading | None = _corrected(request, Reading.objects.all(), piece)
    initial = {"dimension": wrong.dimension if wrong else request.GET.get("dimension", "")}
    unit = unit_of(request.user, piece.unit)
    form = ReadingForm(data_of(request), unit=unit, at=at, initial=initial)

    def save(values: dict[str, Any]) -> Reading:
        written = parse_length(values.pop("value"), unit=unit, field="value").unit_written
        return readings.record_reading(
            by=person_of(request), at=at, piece=piece, unit=written, corrects=wrong, **values
        )

    return fill_in(
        request,
        form,
        template="pieces/reading.html",
        save=save,
        done=lambda row: (reverse("piece", args=[piece.code]), _("Reading kept.")),
        piece=piece,
        wrong=wrong,
    )


@require_http_methods(["GET", "POST"])
def new_work(request: HttpRequest, code: str) -> HttpResponse:
    """A past regrind or other work, or the correction of one."""
    require(request, Verb.EDIT_RECORDS)
    piece, at = get_piece(code), timezone.now()
    wrong: Work | None = _corrected(request, Work.objects.prefetch_related("measures"), piece)
    form = WorkForm(
        data_of(request),
        drawing_id=piece.drawing_id,
        unit=unit_of(request.user, piece.unit),
        initial=_facts_of(wrong) or {"kind": request.GET.get("kind", "")},
        lengths=_lengths_of(wrong),
    )

    def save(values: dict[str, Any]) -> Work:
        names = ("kind", "done_on", "done_by", "revision", "note")
        facts = {name: values[name] for name in names}
        return work.record_work(
            by=person_of(request), at=at, piece=piece, sizes=form.sizes(), corrects=wrong, **facts
        )

    return fill_in(
        request,
        form,
        template="pieces/work.html",
        save=save,
        done=lambda row: (reverse("piece", args=[piece.code]), _("Work kept.")),
        piece=piece,
        wrong=wrong,
    )


@require_http_methods(["GET", "POST"])
def new_length(request: HttpRequest, code: str) -> HttpResponse:
    """Strip length that the piece ran, strokes that line tooling made, or the correction of an
    entry."""
    require(request, Verb.RECORD_READINGS)
    piece, at = get_piece(code), timezone.now()
    wrong: LengthEntry | None = _corrected(request, LengthEntry.objects.all(), piece)
    initial = {"strip_class": wrong.strip_class if wrong else ""}
    form = LengthRunForm(
        data_of(request),
        strip_unit=person_of(request).strip_unit,
        at=at,
        makes_strokes=piece.drawing.kind == DrawingKind.LINE_TOOLING or piece.strokes_run > 0,
        initial=initial,
    )

    def save(values: dict[str, Any]) -> LengthEntry:
        values["length_nm"] = values.pop("length")
        return lengths_run.record_length(
            by=person_of(request), at=at, piece=piece, corrects=wrong, **values
        )

    return fill_in(
        request,
        form,
        template="pieces/length.html",
        save=save,
        done=lambda row: (reverse("piece", args=[piece.code]), _("Length kept.")),
        piece=piece,
        wrong=wrong,
    )


def _by(request: HttpRequest) -> Person:
    assert isinstance(request.user, Person)
    return request.user


def _corrected(request: HttpRequest, rows: Any, piece: Piece) -> Any:
    """The entry that ``?corrects=`` names, which must be this piece's."""
    number = request.GET.get("corrects", "")
    if not number.isdigit():
        return None
    return get_row(rows, said=_("entry {n}").format(n=number), pk=int(number), piece=piece)


def _facts_of(wrong: Work | None) -> dict[str, Any]:
    names = ("kind", "done_on", "done_by", "note")
    return {name: getattr(wrong, name) for name in names} if wrong else {}


def _lengths_of(wrong: Work | None) -> dict[str, int | None]:
    found: dict[str, int | None] = {}
    for measure in wrong.measures.all() if wrong else ():
        if measure.dimension in DIMENSIONS:
            found[f"{measure.dimension}_before"] = measure.before_nm
            found[f"{measure.dimension}_after"] = measure.after_nm
    return found

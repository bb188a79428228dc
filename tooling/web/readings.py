"""The reading sheet on screen: one box after the other, Enter goes on, each kept as it is left."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, get_args

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from tooling.engineering.lengths import parse_length, say_gauged
from tooling.engineering.written_numbers import read_written
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Gauge, GaugePoint, Reading
from tooling.paper.pages import PaperName
from tooling.paper.reading_sheet import ReadRow, ReadSheet, ReadStop, reading_sheet_pdf
from tooling.permissions import Verb
from tooling.queries.conformity import Statement, is_overdue, statement_of
from tooling.queries.reading_sheet import MICROMETER_NM, Asked, Sheet, SheetRow, reading_sheet
from tooling.queries.settings import setting_value
from tooling.queries.shop import gauge_list
from tooling.queries.wear_lives import COLDEST_C, WARMEST_C, start_of
from tooling.services.point_readings import record_point_reading
from tooling.web.doors import require, rights, signed
from tooling.web.forms.fields import unit_of
from tooling.web.rows import get_piece, get_row

KEYS = {"f": "fits", "l": "light", "x": "fails"}
NAMES = {"set": "tool_set", "copy": "copy", "kit": "kit", "place": "place", "piece": "piece",
         "drawing": "drawing"}  # fmt: skip


@dataclass(frozen=True)
class Box:
    """One row with what was typed and what became of it."""

    row: SheetRow
    id: str
    typed: str = ""
    outcome: Outcome | None = None


@dataclass(frozen=True)
class Outcome:
    """A reading that was kept with what may be said of it, or why it was not."""

    key: str
    reading: Reading | None = None
    statement: Statement | None = None
    error: ToolingError | None = None
    gauge_overdue: bool = False

    @property
    def step_nm(self) -> int:
        """The resolution of the gauge it was read with, else a micrometer's."""
        gauge = self.reading.gauge if self.reading is not None else None
        unit = self.reading.unit if self.reading is not None else "mm"
        return (gauge.resolution_nm if gauge else None) or MICROMETER_NM[unit]

    @property
    def asks(self) -> bool:
        return self.error is not None and self.error.values.get("asks") == "sure"


def asked_of(request: HttpRequest) -> Asked:
    return Asked(**{to: request.GET.get(name, "").strip()[:60] for name, to in NAMES.items()})


@require_http_methods(["GET", "POST"])
def sheet(request: HttpRequest) -> HttpResponse:
    """Points to read, in the order of the walk. POST keeps every box that was filled in."""
    require(request, Verb.RECORD_READINGS)
    found = reading_sheet(asked_of(request))
    boxes = [Box(row, request.POST.get(f"id-{row.key}", "") or str(uuid.uuid4()))
             for row in found.rows]  # fmt: skip
    if request.method == "POST":
        boxes = [_filled(request, box) for box in boxes]
        kept = sum(box.outcome is not None and box.outcome.reading is not None for box in boxes)
        if all(box.outcome is None or box.outcome.error is None for box in boxes):
            said = ngettext("{n} reading kept.", "{n} readings kept.", kept)
            messages.success(request, said.format(n=kept))
            return redirect(f"{reverse('reading-sheet')}?{request.GET.urlencode()}")
    context = {
        "sheet": found,
        "stops": _stops(boxes),
        "gauges": gauge_list(),
        "gauge": request.POST.get("gauge", request.session.get("gauge", "")),
        "temperature": request.POST.get("temperature", ""),
        "is_due": asked_of(request).is_due,
        "focus": boxes[0].row.key if boxes else "",
        **rights(request),
    }
    status = 400 if any(box.outcome and box.outcome.error for box in boxes) else 200
    return render(request, "wear/sheet.html", context, status=status)


def _stops(boxes: list[Box]) -> list[tuple[str, list[Box]]]:
    return [(place, list(group)) for place, group in groupby(boxes, key=lambda box: box.row.place)]


def _filled(request: HttpRequest, box: Box) -> Box:
    typed = request.POST.get(f"value-{box.row.key}", "").strip()
    if not typed:
        return box
    row = box.row
    where = {"piece": row.piece, "point": row.point_id, "end": row.end}
    expected = _span(row.low_nm, row.high_nm)
    outcome = _keep(request, row.key, box.id, typed, where, expected)
    return replace(box, typed=typed, outcome=outcome)


def _span(low: object, high: object) -> tuple[int, int] | None:
    """Where a value is expected, of what the sheet says; None where it says nothing."""
    found = [int(text) for text in (str(low), str(high)) if text.isdecimal() and len(text) < 20]
    return (found[0], found[1]) if len(found) == 2 else None


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """One box, as it is left; what became of it stands beside it at once."""
    require(request, Verb.RECORD_READINGS)
    asked = request.GET
    key = f"{asked.get('piece', '')}-{asked.get('point', '')}-{asked.get('end', '')}"
    typed = request.POST.get(f"value-{key}", "").strip()
    outcome = None
    where = {name: asked.get(name, "") for name in WHERE}
    if typed:
        expected = _span(asked.get("low", ""), asked.get("high", ""))
        outcome = _keep(request, key, request.POST.get(f"id-{key}", ""), typed, where, expected)
    return render(request, "wear/outcome.html", {"outcome": outcome, "key": key, **where})


WHERE = ("piece", "point", "end")


def _keep(
    request: HttpRequest, key: str, row_id: str, typed: str, where: Mapping[str, Any],
    expected: tuple[int, int] | None,
) -> Outcome:  # fmt: skip
    """Keep one value; typed anew, it puts right what was kept from this box before."""
    piece = get_piece(str(where["piece"]))
    number = str(where["point"])
    point: GaugePoint = get_row(
        GaugePoint.objects.filter(drawing=piece.drawing_id),
        said=number,
        pk=int(number) if number.isdecimal() else 0,
    )
    try:
        gauge = _gauge(request)
        reading = _record(
            request, row_id, typed, piece=piece, point=point, end=str(where["end"]), gauge=gauge,
            expected=expected,
        )  # fmt: skip
    except NotAllowed:
        raise
    except ToolingError as error:
        return Outcome(key, error=error)
    today = timezone.localdate()
    k = float(setting_value("guard_band"))
    start = start_of(piece.pk, point, reading.end)
    told = statement_of(point, reading, on=today, k=k, new_nm=start)
    return Outcome(key, reading, told, gauge_overdue=is_overdue(gauge, today))


def _gauge(request: HttpRequest) -> Gauge | None:
    number = request.POST.get("gauge", "")
    request.session["gauge"] = number[:30]
    return get_row(Gauge.objects.all(), said=number, number=number) if number else None


def _record(
    request: HttpRequest, row_id: str, typed: str, *, piece: Any, point: GaugePoint, **more: Any
) -> Reading:
    values = _read(request, typed, piece, point)
    sure = "sure" in request.GET or "sure" in request.POST
    id = _uuid(row_id)
    before = Reading.objects.filter(uuid=id).first() if id is not None else None
    while before is not None and (later := Reading.objects.filter(corrects=before).first()):
        before = later
    if before is not None:
        if (before.value_nm, before.verdict) == (
            values.get("value_nm"), values.get("verdict", "")
        ):  # fmt: skip
            return before
        more = {**more, "corrects": before}
        id = uuid.uuid4()
    return record_point_reading(
        piece=piece, point=point, id=id, sure=sure, as_written=typed[:40],
        soaked=True if request.POST.get("soaked") else None, temperature_c=_warmth(request),
        **values, **more, **signed(request),
    )  # fmt: skip


def _warmth(request: HttpRequest) -> float | None:
    """The pieces' temperature in °C, where it was taken. Raises ``absurd_temperature``."""
    text = request.POST.get("temperature", "").strip().replace(",", ".")
    if not text:
        return None
    try:
        found = float(text)
    except ValueError:
        found = 1e9
    if not COLDEST_C <= found <= WARMEST_C:
        raise ToolingError(
            "absurd_temperature",
            gettext_lazy("“{text}” is no temperature in °C at which a piece is measured."),
            text=text[:20],
        )
    return found


def _read(request: HttpRequest, typed: str, piece: Any, point: GaugePoint) -> dict[str, Any]:
    unit = unit_of(request.user, piece.unit)
    if point.kind != "length":
        return {"verdict": KEYS.get(typed.casefold()[:1], typed), "unit": unit}
    length = parse_length(typed, unit=unit, field=point.name)
    written = read_written(typed)
    return {
        "value_nm": length.nm,
        "unit": length.unit_written,
        "unit_is_written": written is not None and bool(written.unit),
    }


def _uuid(text: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


@require_GET
def sheet_pdf(request: HttpRequest) -> HttpResponse:
    """The same on paper; ``paper`` is a4 or letter."""
    papers: dict[str, PaperName] = {each: each for each in get_args(PaperName)}
    found = reading_sheet(asked_of(request))
    data = reading_sheet_pdf(
        printed(request, found), paper=papers.get(request.GET.get("paper", "a4"), "a4")
    )
    headers = {"Content-Disposition": 'inline; filename="reading-sheet.pdf"'}
    return HttpResponse(data, content_type="application/pdf", headers=headers)


def printed(request: HttpRequest, found: Sheet) -> ReadSheet:
    """What the paper says."""
    stops = [
        ReadStop(place, tuple(_printed_row(request, row) for row in rows))
        for place, rows in groupby(found.rows, key=lambda row: row.place)
    ]
    return ReadSheet(
        title=_("Reading sheet"),
        sentence=_("Clean the spot, let the piece take the room's warmth, read, write the unit "
                   "where it is not the one printed. Outside what is expected: read again."),
        printed_at=timezone.localtime(),
        stops=tuple(stops),
        blanks=(_("Gauge"), _("Read by"), _("Date")),
    )  # fmt: skip


def _printed_row(request: HttpRequest, row: SheetRow) -> ReadRow:
    unit: Any = unit_of(request.user, row.unit)

    def said(nm: int | None, written: bool = False) -> str:
        return "–" if nm is None else say_gauged(nm, unit, row.step_nm, written=written)

    day = f"{timezone.localtime(row.last_at):%Y-%m-%d}" if row.last_at else ""
    last = row.last_verdict if not row.is_length else said(row.last_nm, written=True)
    low = said(row.low_nm).removesuffix(f" {unit}")
    expected = f"{low} … {said(row.high_nm)}" if row.low_nm is not None else ""
    limit = f"{'≤' if row.grows else '≥'} {said(row.limit_nm)}" if row.limit_nm else ""
    return ReadRow(
        name=row.mark or row.drawing,
        code=row.piece,
        point=" ".join(part for part in (row.point, row.end, row.where) if part),
        last=f"{last} {day}".strip(),
        expected=expected,
        limit=limit,
        choices=() if row.is_length else (_("fits"), _("light"), _("fails")),
    )

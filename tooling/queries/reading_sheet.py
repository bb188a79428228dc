"""The reading sheet: pieces and their gauge points to be measured, with the last value and what is
expected now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import F, Q
from django.utils import timezone

from tooling.engineering.wear import ReadingAt, columns, forecast, look_names
from tooling.models import AWAY_KINDS, GaugePoint, Piece, Reading, WearState
from tooling.queries.conformity import limit_of
from tooling.queries.wear_lives import Life
from tooling.queries.wear_present import present_lives
from tooling.queries.wear_prior import learned, rules
from tooling.queries.wear_words import why

MOST_PIECES = 120
MOST_DUE = 40
JUST_NOW = timedelta(hours=12)
MICROMETER_NM = {"mm": 1_000, "in": 2_540}
"""What a micrometer shows, where no gauge is known."""
END_WORDS: Mapping[str, Any] = {"": "", "inboard": "inboard", "outboard": "outboard"}


@dataclass(frozen=True)
class Asked:
    """For what the sheet is: a set (or one copy of it), a kit, a place and all inside, one piece,
    a drawing; nothing: what is due."""

    tool_set: str = ""
    copy: str = ""
    kit: str = ""
    place: str = ""
    piece: str = ""
    drawing: str = ""

    @property
    def is_due(self) -> bool:
        return not any((self.tool_set, self.kit, self.place, self.piece, self.drawing))


@dataclass(frozen=True)
class SheetRow:
    """One box of the sheet: a gauge point of a piece at one end. Lengths in nm.

    ``low_nm`` to ``high_nm``: where nine of ten such readings lie now. ``step_nm``: the resolution
    of the gauge that read it last, which gives all of the row its decimals.
    """

    key: str
    piece: str
    mark: str
    drawing: str
    place: str
    place_code: str
    walking: tuple[Any, ...]
    unit: str
    point_id: int
    point: str
    where: str
    kind: str
    end: str
    last_nm: int | None
    last_verdict: str
    last_at: datetime | None
    low_nm: int | None
    high_nm: int | None
    limit_nm: int | None
    grows: bool
    why: str
    step_nm: int

    @property
    def is_length(self) -> bool:
        return self.kind == "length"


@dataclass(frozen=True)
class Sheet:
    """``more``: there were more pieces than one sheet takes."""

    rows: tuple[SheetRow, ...]
    pieces: int
    more: bool


def reading_sheet(asked: Asked) -> Sheet:
    """Thirteen queries, whatever is asked. Points in the order of the walk, then of the drawing."""
    ids = _pieces(asked)
    if not ids:
        return Sheet((), 0, False)
    known = learned()
    shown = ids[:MOST_PIECES]
    found = present_lives(shown, known)
    points = GaugePoint.objects.in_bulk({life.point_id for life in found})
    pieces = {
        piece.pk: piece
        for piece in Piece.objects.filter(pk__in=shown).select_related("drawing", "place")
    }
    expected = _expected(found, known.prior)
    steps = _steps(found)
    rows = [
        _row(life, pieces[life.piece_id], points[life.point_id], expected[n], steps)
        for n, life in enumerate(found)
    ]
    ordered = sorted(rows, key=lambda row: row.walking)
    return Sheet(tuple(ordered), len({row.piece for row in rows}), len(ids) > MOST_PIECES)


def _pieces(asked: Asked) -> list[int]:
    """Ids of the pieces with gauge points, of those that can be measured. One query."""
    used = GaugePoint.objects.filter(is_in_use=True).values("drawing")
    rows = Piece.objects.filter(drawing__in=used).exclude(
        place__kind__in=(*AWAY_KINDS, "lost", "scrap")
    )
    if asked.is_due:
        return _due(rows)
    if asked.piece:
        rows = rows.filter(code=asked.piece.upper())
    if asked.drawing:
        rows = rows.filter(drawing__number__iexact=asked.drawing)
    if asked.place:
        rows = rows.filter(place__path__contains=f"/{asked.place.upper()}/")
    if asked.kit:
        rows = rows.filter(kit_positions__kit__number=asked.kit.upper())
    if asked.tool_set:
        rows = rows.filter(allotments__copy__tool_set__number__iexact=asked.tool_set)
    if asked.tool_set and asked.copy:
        rows = rows.filter(allotments__copy__letter__iexact=asked.copy)
    return list(dict.fromkeys(rows.order_by("code").values_list("pk", flat=True)))


def _due(rows: Any) -> list[int]:
    """Least sure length left first, and what ran and was never read; not what was read just now."""
    due = WearState.objects.filter(piece__in=rows.values("pk"))
    due = due.exclude(last_read_at__gte=timezone.now() - JUST_NOW)
    due = due.filter(Q(left_sure_m__isnull=False) | Q(readings=0, run_nm__gt=0))
    ordered = due.order_by(F("left_sure_m").asc(nulls_last=True), "-run_nm", "pk")
    ids = ordered.values_list("piece_id", flat=True)[: 4 * MOST_DUE]
    return list(dict.fromkeys(ids))[:MOST_DUE]


def _expected(found: Sequence[Life], prior: Any) -> list[tuple[int | None, int | None, str]]:
    """Where nine of ten next readings lie, and why to measure."""
    told = forecast(columns([life.history for life in found]), prior, rules()) if found else None
    expected = []
    for n, life in enumerate(found):
        assert told is not None
        low, high = (_whole(each[n]) for each in (told.next_low, told.next_high))
        look = look_names(int(told.look[n]))
        expected.append((low, high, why(look, ran=life.run_nm > 0, ran_since=life.ran_since)))
    return expected


def _whole(value: float) -> int | None:
    return None if value != value else round(float(value))


def _newest(life: Life) -> ReadingAt | None:
    """At the longest strip; of those taken at the same strip the last."""
    read = enumerate(life.history.readings)
    _n, newest = max(read, key=lambda at: (sum(at[1].run_nm.values()), at[0]), default=(0, None))
    return newest


def _steps(found: Sequence[Life]) -> dict[Any, int]:
    """Reading → the resolution of its gauge, of those that are the newest of a point. One query."""
    keys = [each.key for life in found if (each := _newest(life)) is not None]
    rows = Reading.objects.filter(
        pk__in=[key for key in keys if isinstance(key, int)], gauge__resolution_nm__isnull=False
    )
    return dict(rows.values_list("pk", "gauge__resolution_nm"))


def _row(
    life: Life, piece: Piece, point: GaugePoint, expected: tuple[int | None, int | None, str],
    steps: Mapping[Any, int],
) -> SheetRow:  # fmt: skip
    newest = _newest(life)
    usual = MICROMETER_NM["in" if piece.unit == "in" else "mm"]
    is_length = point.kind == "length"
    limit = limit_of(point, life.start_nm) if is_length else None
    place = piece.place
    return SheetRow(
        key=f"{piece.code}-{point.pk}-{life.end}",
        piece=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        place=place.path_name or place.name,
        place_code=place.code,
        walking=(place.walking_order, place.path, piece.code, point.order, point.name, life.end),
        unit=piece.unit,
        point_id=point.pk,
        point=point.name,
        where=point.where,
        kind=point.kind,
        end=life.end,
        last_nm=life.last_nm,
        last_verdict=(newest.verdict or "") if newest is not None and not is_length else "",
        last_at=life.last_at,
        low_nm=expected[0] if is_length else None,
        high_nm=expected[1] if is_length else None,
        limit_nm=None if limit is None else round(limit),
        grows=point.grows,
        why=expected[2],
        step_nm=steps.get(newest.key, usual) if newest is not None else usual,
    )

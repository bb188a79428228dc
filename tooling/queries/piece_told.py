"""What history says of gauged pieces, in the order of time: cuts, strip that ran, readings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q, QuerySet

from tooling.models import GaugePoint, LengthEntry, Piece, Reading, Work, WorkMeasure
from tooling.queries.shop_zone import zone_column, zone_named


@dataclass(frozen=True)
class Cut:
    """A piece of work that begins a life; ``begins`` with its day, by the shop's clock."""

    id: int
    on: date
    begins: datetime
    received_at: datetime
    kind: str
    after: Mapping[str, int]


@dataclass
class Told:
    """What is known of one piece, in the order of time."""

    row: dict[str, Any]
    zone: ZoneInfo
    cuts: list[Cut] = field(default_factory=list)
    runs: list[tuple[datetime, str, int]] = field(default_factory=list)
    readings: list[dict[str, Any]] = field(default_factory=list)


PIECE = (
    "pk", "drawing_id", "drawing__number", "drawing__kind", "over_chrome",
    "revision__material", "revision__plated_thickness_nm",
    "made_face_width_nm", "made_guide_offset_nm", "made_drive_diameter_nm",
    "made_root_diameter_nm", "made_outside_diameter_nm", "made_bore_nm", "made_keyway_width_nm",
    "made_keyway_depth_nm",
    "revision__face_width_nm", "revision__guide_offset_nm", "revision__drive_diameter_nm",
    "revision__root_diameter_nm", "revision__outside_diameter_nm", "revision__bore_nm",
    "revision__keyway_width_nm", "revision__keyway_depth_nm",
)  # fmt: skip
READING = (
    "pk", "piece_id", "dimension", "point", "gauge_point_id", "end", "value_nm", "verdict",
    "gauge_id", "soaked", "temperature_c", "happened_at", "received_at",
)  # fmt: skip


def pieces_told(piece_ids: Iterable[int] | range | None) -> dict[int, Told]:
    """By number, of these pieces that have a gauge point; of all where None, and a range is asked
    for by its ends. Five queries, one where there is none."""
    rows = Piece.objects.filter(_wanted(piece_ids)).annotate(shop_zone=zone_column())
    told = {
        row["pk"]: Told(row, zone_named(row["shop_zone"]))
        for row in rows.order_by("pk").values(*PIECE, "shop_zone")
    }
    if told:
        inside = _inside(piece_ids, told)
        _add_cuts(told, inside)
        _add_runs(told, inside)
        _add_readings(told, inside)
    return told


def gauged(some: range | None = None) -> QuerySet[Any, Any]:
    """The numbers of pieces that have a gauge point. Of all pieces they are found by drawing, of
    some by looking at each."""
    points = GaugePoint.objects.filter(is_in_use=True)
    if some is None:
        return Piece.objects.filter(drawing__in=points.values("drawing")).values("pk")
    these = Piece.objects.filter(pk__gte=some.start, pk__lt=some.stop)
    return these.filter(Exists(points.filter(drawing=OuterRef("drawing")))).values("pk")


def _wanted(piece_ids: Iterable[int] | range | None) -> Q:
    if piece_ids is None or isinstance(piece_ids, range):
        return Q(pk__in=gauged(piece_ids))
    used = GaugePoint.objects.filter(is_in_use=True).values("drawing")
    return Q(pk__in=list(piece_ids), drawing__in=used)


def _inside(piece_ids: Iterable[int] | range | None, found: Iterable[int]) -> Q:
    """Rows of history of the pieces that were found."""
    if piece_ids is None or isinstance(piece_ids, range):
        return Q(piece__in=gauged(piece_ids))
    return Q(piece__in=list(found))


def _add_cuts(told: Mapping[int, Told], inside: Q) -> None:
    """Two queries; what a cut measured comes with it."""
    rows = Work.objects.filter(inside, corrected_by=None)
    after: dict[int, dict[str, int]] = defaultdict(dict)
    measures = WorkMeasure.objects.filter(
        work__in=rows.values("pk"), after_nm__isnull=False
    ).values_list("work_id", "dimension", "after_nm")
    for work, dimension, nm in measures:
        if nm is not None:
            after[work][dimension] = nm
    for pk, piece, on, received, kind in rows.order_by("done_on", "pk").values_list(
        "pk", "piece_id", "done_on", "received_at", "kind"
    ):
        begins = datetime.combine(on, time(), tzinfo=told[piece].zone)
        told[piece].cuts.append(Cut(pk, on, begins, received, kind, after.get(pk, {})))


def _add_runs(told: Mapping[int, Told], inside: Q) -> None:
    rows = LengthEntry.objects.filter(inside, corrected_by=None, length_nm__gt=0)
    ordered = rows.order_by("happened_at", "pk")
    for piece, at, kind, nm in ordered.values_list(
        "piece_id", "happened_at", "strip_class", "length_nm"
    ):
        told[piece].runs.append((at, kind, nm))


def _add_readings(told: Mapping[int, Told], inside: Q) -> None:
    rows = Reading.objects.filter(inside, corrected_by=None).order_by("happened_at", "pk")
    for row in rows.values(*READING):
        told[row["piece_id"]].readings.append(row)

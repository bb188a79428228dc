"""Gauges, gauge points, and what dies make, as rows of their sheets."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from tooling.models import DrawingFeature, DrawingRevision, Gauge, GaugePoint
from tooling.queries.exports.records import row
from tooling.spreadsheets.rows import Row


def gauges() -> Iterator[Row]:
    for gauge in Gauge.objects.order_by("number"):
        yield row(
            {
                "number": gauge.number,
                "name": gauge.name,
                "unit": gauge.unit,
                "resolution": gauge.resolution_nm,
                "uncertainty": gauge.uncertainty_nm,
                "due_on": gauge.due_on,
            },
            gauge.unit,
        )


def gauge_points() -> Iterator[Row]:
    """Lengths in the unit of the drawing's current revision."""
    units = dict(
        DrawingRevision.objects.filter(is_current=True, drawing__gauge_points__isnull=False)
        .distinct()
        .values_list("drawing_id", "unit")
    )
    found = GaugePoint.objects.select_related("drawing")
    for each in found.order_by("drawing__number", "order", "name"):
        unit = units.get(each.drawing_id, "mm")
        yield row(
            {
                "drawing": each.drawing.number,
                "point": each.name,
                "order": each.order,
                "where": each.where,
                "kind": each.kind,
                "dimension": each.dimension,
                "unit": unit,
                "new": each.new_nm,
                "limit": each.limit_nm,
                "depth_limit": each.depth_limit_nm,
                "grows": each.grows,
                "is_diameter": each.is_diameter,
                "has_two_ends": each.has_two_ends,
                "face_angle_deg": Decimal(repr(each.face_angle_deg)),
                "local_radius": each.local_radius_nm,
                "is_in_use": each.is_in_use,
            },
            unit,
        )


def features() -> Iterator[Row]:
    found = DrawingFeature.objects.select_related("revision__drawing")
    for each in found.order_by("revision__drawing__number", "revision__revision", "order"):
        yield row(
            {
                "drawing": each.revision.drawing.number,
                "revision": each.revision.revision,
                "order": each.order,
                "shape": each.shape,
                "name": each.name,
                "unit": each.revision.unit,
                "width": each.width_nm,
                "length": each.length_nm,
                "note": each.note,
            },
            each.revision.unit,
        )

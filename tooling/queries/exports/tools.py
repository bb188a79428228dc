"""Gauges, and what dies make, as rows of their sheets."""

from __future__ import annotations

from collections.abc import Iterator

from tooling.models import DrawingFeature, Gauge
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

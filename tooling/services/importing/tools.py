"""Gauges, gauge points, and what dies make in the strip, from sheets."""

from __future__ import annotations

from typing import Any

from tooling.models import DIAMETERS, DrawingFeature, DrawingRevision, Gauge, GaugePoint
from tooling.services.features import check_drawing, check_sizes, feature_key
from tooling.services.gauge_points import KEPT, check_gauge_point, point_key
from tooling.services.gauges import check_gauge
from tooling.services.importing.known import Known, plain
from tooling.services.importing.known_records import pointing_to, read_drawings
from tooling.services.importing.plan import Plan
from tooling.services.importing.shop import said
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row


def gauges_of(known: Known) -> dict[str, Gauge]:
    """Every gauge by its number, read once for an import."""
    if Gauge not in known.held:
        known.held[Gauge] = {plain(gauge.number): gauge for gauge in Gauge.objects.all()}
    found: dict[str, Gauge] = known.held[Gauge]
    return found


def plan_gauges(rows: list[Row], plan: Plan, known: Known) -> None:
    gauges = gauges_of(known)
    for row in rows:
        with plan.of_row(row, KINDS["gauges"], "number"):
            _plan_gauge(row, plan, gauges)


def _plan_gauge(row: Row, plan: Plan, gauges: dict[str, Gauge]) -> None:
    values, number = row.values, row.values["number"]
    wanted = {
        "name": values["name"],
        "unit": row.unit(KINDS["gauges"]),
        "resolution_nm": values.get("resolution"),
        "uncertainty_nm": values.get("uncertainty"),
        "due_on": values.get("due_on"),
    }
    check_gauge(wanted)
    gauge = gauges.get(plain(number))
    if gauge is None:
        gauge = gauges[plain(number)] = plan.create(Gauge, number, number=number, **said(wanted))
    else:
        plan.edit(gauge, gauge.number, **wanted)
    plan.speak_of(gauge, gauge.number)


POINT_NAMES = {
    "order": "order", "where": "where", "kind": "kind", "dimension": "dimension",
    "new": "new_nm", "limit": "limit_nm", "depth_limit": "depth_limit_nm", "grows": "grows",
    "is_diameter": "is_diameter", "has_two_ends": "has_two_ends",
    "face_angle_deg": "face_angle_deg", "local_radius": "local_radius_nm",
    "is_in_use": "is_in_use",
}  # fmt: skip
Points = dict[int, dict[str, GaugePoint]]
"""Drawing → name → point, existing and planned."""


def plan_gauge_points(rows: list[Row], plan: Plan, known: Known) -> None:
    """Where pieces of a drawing are gauged; a point that no row names stays."""
    read_drawings(known, (row.values["drawing"] for row in rows))
    there: Points = {}
    for each in pointing_to(plan.stage, GaugePoint, "drawing_id", known.drawing_keys):
        there.setdefault(each.drawing_id, {})[plain(each.name)] = each
    for row in rows:
        with plan.of_row(row, KINDS["gauge_points"], "point"):
            _plan_point(row.values, plan, known, there)


def _plan_point(values: dict[str, Any], plan: Plan, known: Known, points: Points) -> None:
    drawing = plan.look("drawing", known.drawing, values["drawing"])
    there = points.setdefault(drawing.pk, {})
    name = values["point"]
    wanted: dict[str, Any] = {ours: values.get(name) for name, ours in POINT_NAMES.items()}
    if wanted["face_angle_deg"] is not None:
        wanted["face_angle_deg"] = float(wanted["face_angle_deg"])
    present, title = there.get(plain(name)), point_key(drawing, name)
    if present is None and wanted["order"] is None:
        wanted["order"] = len(there) + 1
    if present is None and wanted["is_diameter"] is None and wanted["dimension"]:
        wanted["is_diameter"] = wanted["dimension"] in DIAMETERS
    old = present or GaugePoint()
    check_gauge_point(
        {**{each: getattr(old, each) for each in KEPT}, **said(wanted)},
        drawn=known.current.get(plain(drawing.number)),
        others={each.dimension for key, each in there.items() if key != plain(name)},
    )
    if present is None:
        present = plan.create(GaugePoint, title, drawing=drawing, name=name, **said(wanted))
        there[plain(name)] = present
    else:
        plan.edit(present, title, **wanted)
    plan.speak_of(present, title)


def plan_features(rows: list[Row], plan: Plan, known: Known) -> None:
    """What a die makes; a feature that no row names stays."""
    read_drawings(known, (row.values["drawing"] for row in rows))
    there = {
        (each.revision_id, each.order): each
        for each in pointing_to(plan.stage, DrawingFeature, "revision_id", known.revision_keys)
    }
    for row in rows:
        with plan.of_row(row, KINDS["features"], "drawing"):
            _plan_feature(row, plan, known, there)


def _plan_feature(
    row: Row, plan: Plan, known: Known, there: dict[tuple[int, int], DrawingFeature]
) -> None:
    values = row.values
    drawing = plan.look("drawing", known.drawing, values["drawing"])
    revision: DrawingRevision = plan.look(
        "revision", lambda text: known.revision(drawing, text), values.get("revision")
    )
    plan.look("drawing", check_drawing, revision)
    wanted: dict[str, Any] = {
        "shape": values["shape"], "name": values.get("name"), "width_nm": values.get("width"),
        "length_nm": values.get("length"), "note": (values.get("note") or "")[:200] or None,
    }  # fmt: skip
    title = feature_key(revision, values["order"])
    present = there.get((revision.pk, values["order"]))
    if present is None:
        present = plan.create(
            DrawingFeature, title, revision=revision, order=values["order"], **said(wanted)
        )
        there[revision.pk, values["order"]] = present
    else:
        plan.edit(present, title, **wanted)
    plan.speak_of(present, title)
    check_sizes(
        present.shape, present.width_nm, present.length_nm,
        "in" if revision.unit == "in" else "mm",
    )  # fmt: skip

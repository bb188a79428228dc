"""Gauge points: where every piece of a drawing is gauged, to what limit, and how it wears there."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.errors import ToolingError, Unknown
from tooling.models import (
    DIAMETERS,
    DIMENSIONS,
    Drawing,
    DrawingRevision,
    GaugePoint,
    Person,
    Piece,
    PointKind,
)
from tooling.permissions import Verb, check_can
from tooling.services.edits import (
    already_there,
    apply_edit,
    optional_text,
    record_creation,
    require_fields,
    require_text,
)
from tooling.services.wear_states import refresh_wear
from tooling.services.write import writing

AXIAL = ("face_width", "guide_offset")
STEEPEST_DEG = 89.0
"""A face steeper than this is not gauged across the shaft."""


def save_gauge_point(
    *, by: Person, at: datetime, drawing: Drawing, name: str, **fields: Any
) -> GaugePoint:
    """Add a gauge point to a drawing, or change the one of that name. Lengths in nm; what is left
    out of a new one is as a plain diameter.

    Raises NotAllowed, ``empty_text``, ``long_text``, ``unknown_kind``, ``unknown_dimension``,
    ``no_length_there``, ``already_there``, ``not_positive``, ``absurd_angle``, ``cannot_gauge``,
    ``limit_on_the_wrong_side``, ``absurd_count``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(GaugePoint, fields)
    name = require_text(name, field="name", label=_("Name"), longest=40)
    if "where" in fields:
        fields["where"] = optional_text(
            fields["where"], field="where", label=_("Where"), longest=120
        )
    with writing():
        row = GaugePoint.objects.filter(drawing=drawing, name__iexact=name).first()
        now = {each: getattr(row or GaugePoint(), each) for each in KEPT}
        if row is None and fields.get("dimension"):
            fields.setdefault("is_diameter", fields["dimension"] in DIAMETERS)
        others = GaugePoint.objects.filter(drawing=drawing)
        others = others.exclude(pk=row.pk) if row is not None else others
        check_gauge_point(
            {**now, **fields},
            drawn=drawing.revisions.filter(is_current=True).first(),
            others=set(others.values_list("dimension", flat=True)),
        )
        if row is None:
            fields.setdefault("order", drawing.gauge_points.count() + 1)
            row = GaugePoint.objects.create(drawing=drawing, name=name, **fields)
            record_creation(by=by, at=at, row=row, key=key_of(row), fields=fields)
        else:
            apply_edit(by=by, at=at, row=row, key=key_of(row), fields=fields)
        refresh_wear(Piece.objects.filter(drawing=drawing).values_list("pk", flat=True), at=at)
    return row


def stop_using(*, by: Person, at: datetime, drawing: Drawing, name: str) -> GaugePoint:
    """The point is not gauged any more; its readings stay. Saving it again takes it up.

    Raises NotAllowed, Unknown ``unknown_gauge_point``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    row = find_gauge_point(drawing, name)
    return save_gauge_point(by=by, at=at, drawing=drawing, name=row.name, is_in_use=False)


def find_gauge_point(drawing: Drawing, name: str) -> GaugePoint:
    """By name, capitals or not. Raises Unknown ``unknown_gauge_point``."""
    row = GaugePoint.objects.filter(drawing=drawing, name__iexact=name.replace("\x00", "")).first()
    if row is None:
        raise Unknown(
            "unknown_gauge_point",
            _("{drawing} has no gauge point “{name}”."),
            drawing=drawing.number,
            name=name[:40],
            in_field="point",
        )
    return row


KEPT = (
    "kind", "dimension", "is_diameter", "new_nm", "limit_nm", "depth_limit_nm", "grows",
    "has_two_ends", "face_angle_deg", "local_radius_nm", "order",
)  # fmt: skip


def check_gauge_point(
    values: Mapping[str, Any], *, drawn: DrawingRevision | None, others: Collection[str]
) -> None:
    """Refuse what cannot be gauged; ``values`` holds all of ``KEPT``. ``others``: the dimensions
    that other points of the drawing are. No query."""
    _check_kind(values, others)
    for each in ("new_nm", "limit_nm", "depth_limit_nm", "local_radius_nm"):
        if values[each] is not None and values[each] <= 0:
            raise ToolingError(
                "not_positive", _("Sizes and limits are above nothing."), in_field=each
            )
    if not 1 <= values["order"] <= 999:
        raise ToolingError("absurd_count", _("Points are numbered from 1."), in_field="order")
    angle = values["face_angle_deg"]
    if not 0 <= angle <= 90:
        raise ToolingError(
            "absurd_angle",
            _("A face is inclined to the shaft by 0° (along it) to 90° (a side)."),
            in_field="face_angle_deg",
        )
    if angle > STEEPEST_DEG and values["dimension"] not in AXIAL:
        raise ToolingError(
            "cannot_gauge",
            _("A side face cannot be gauged across the shaft: gauge a width there."),
            in_field="face_angle_deg",
        )
    _check_limit(drawn, values)


def _check_kind(values: Mapping[str, Any], others: Collection[str]) -> None:
    if values["kind"] not in PointKind.values:
        raise ToolingError(
            "unknown_kind", _("A point is a length, a template or a finish."), in_field="kind"
        )
    dimension = values["dimension"]
    if not dimension:
        return
    if dimension not in DIMENSIONS:
        raise ToolingError(
            "unknown_dimension",
            _("“{dimension}” is no dimension of a piece."),
            dimension=dimension,
            in_field="dimension",
        )
    if values["kind"] != PointKind.LENGTH:
        raise ToolingError(
            "no_length_there",
            _("A template or a finish is no dimension. Leave the dimension out."),
            in_field="dimension",
        )
    if dimension in others:
        raise already_there(label=_("Gauge point"), text=dimension, field="dimension")


def _check_limit(revision: DrawingRevision | None, values: Mapping[str, Any]) -> None:
    limit = values["limit_nm"]
    if limit is None:
        return
    name = values["dimension"]
    drawn = getattr(revision, f"{name}_nm") if revision is not None and name else None
    new = values["new_nm"] or drawn
    unit: Unit = "in" if revision is not None and revision.unit == "in" else "mm"
    if new is None or (limit > new if values["grows"] else limit < new):
        return
    words = (
        _("The point grows as it wears: its limit, {limit}, must be above the {new} when new.")
        if values["grows"]
        else _(
            "The point gets less as it wears: its limit, {limit}, must be below the {new} when new."
        )
    )
    raise ToolingError(
        "limit_on_the_wrong_side",
        words,
        limit=say_length(limit, unit),
        new=say_length(new, unit),
        in_field="limit_nm",
    )


def key_of(row: GaugePoint) -> str:
    """By which its changes are filed."""
    return point_key(row.drawing, row.name)


def point_key(drawing: Drawing, name: str) -> str:
    """By which the changes of the drawing's point of that name are filed."""
    return f"{drawing.number} point {name}"[:60]

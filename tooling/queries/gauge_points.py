"""The gauge points of a drawing, as its page and programs see them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tooling.models import GaugePoint
from tooling.queries.piece_page import SIZES

DIMENSION_WORDS = dict(SIZES)


@dataclass(frozen=True)
class PointView:
    """One gauge point. Lengths in nm, the angle of the face to the shaft in degrees."""

    id: int
    name: str
    order: int
    where: str
    kind: str
    kind_word: str
    dimension: str
    dimension_word: Any
    is_diameter: bool
    new_nm: int | None
    limit_nm: int | None
    depth_limit_nm: int | None
    grows: bool
    has_two_ends: bool
    face_angle_deg: float
    local_radius_nm: int | None
    is_in_use: bool

    @property
    def is_length(self) -> bool:
        return self.kind == "length"

    @property
    def has_limit(self) -> bool:
        return self.limit_nm is not None or self.depth_limit_nm is not None or not self.is_length


def points_of(drawing_number: str) -> tuple[PointView, ...]:
    """In their order, those out of use last. One query."""
    rows = GaugePoint.objects.filter(drawing__number=drawing_number)
    return tuple(point_view(row) for row in rows.order_by("-is_in_use", "order", "name"))


def point_view(row: GaugePoint) -> PointView:
    return PointView(
        id=row.pk,
        name=row.name,
        order=row.order,
        where=row.where,
        kind=row.kind,
        kind_word=str(row.get_kind_display()),
        dimension=row.dimension,
        dimension_word=DIMENSION_WORDS.get(row.dimension, ""),
        is_diameter=row.is_diameter,
        new_nm=row.new_nm,
        limit_nm=row.limit_nm,
        depth_limit_nm=row.depth_limit_nm,
        grows=row.grows,
        has_two_ends=row.has_two_ends,
        face_angle_deg=row.face_angle_deg,
        local_radius_nm=row.local_radius_nm,
        is_in_use=row.is_in_use,
    )

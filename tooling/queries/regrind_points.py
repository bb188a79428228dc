"""What a regrind plan takes of a piece as it is: its keyway, and the wear at its gauge points."""

from __future__ import annotations

from math import cos, radians

from tooling.engineering.regrinds import Keyway, WearPoint
from tooling.engineering.wear import Prior
from tooling.models import GaugePoint, WearState
from tooling.models import Piece as PieceRow
from tooling.queries.pieces import size_of
from tooling.queries.strip_left import Run, strip_left


def keyway_of(row: PieceRow) -> Keyway | None:
    """The keyway and the bore that it is cut into; None without a bore that holds it."""
    bore = size_of(row, "bore")
    depth, width = size_of(row, "keyway_depth") or 0, size_of(row, "keyway_width") or 0
    if not bore or width > bore:
        return None
    return Keyway(bore, depth, width)


def wear_point(
    point: GaugePoint, state: WearState | None, name: str, run: Run, prior: Prior
) -> WearPoint:
    """What the forecast says of a gauge point, and whether it may cross its limit in the run."""
    depth = None if state is None or state.depth_nm is None else round(state.depth_nm)
    limit = point.depth_limit_nm
    if state is not None and state.numbers.get("limit"):
        limit = max(1, round(state.numbers["limit"]))
    elif limit is None and None not in (point.new_nm, point.limit_nm):
        share = cos(radians(point.face_angle_deg)) * (0.5 if point.is_diameter else 1.0)
        limit = max(1, round(abs(point.new_nm - point.limit_nm) * share))
    crosses = (
        state is not None and any(run.values()) and not strip_left(state, prior).is_sure_of(run)
    )
    return WearPoint(
        name,
        depth,
        point.face_angle_deg,
        limit,
        crosses=crosses,
        is_read=state is not None and state.readings > 0,
    )

"""How often pieces can still be cut by the usual stock, and which limit says so."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tooling.engineering.regrinds.geometry import least_diameters, regrinds_left
from tooling.engineering.regrinds.specs import Diameter, Keyway, Limits
from tooling.engineering.regrinds.specs import Piece as PieceSpec
from tooling.models import Piece
from tooling.queries.pieces import size_of
from tooling.queries.settings import given_settings

NAMES = {"drive": "drive_diameter", "root": "root_diameter", "outside": "outside_diameter"}
SETTINGS = ["usual_stock_per_cut", "wall_at_key_corner_warn"]


@dataclass(frozen=True)
class CutsLeft:
    """``why``: drawing, case or wall, whichever leaves the least; ``room_nm`` on diameter."""

    cuts: int
    room_nm: int
    why: str
    diameter: str


def cuts_left(pieces: Iterable[Piece]) -> Mapping[int, CutsLeft]:
    """Piece id → how often it can be cut again; pieces that nothing limits are missing. One query.
    The revisions must be loaded.

    In whole numbers: 6.000 in down to 5.700 in by 0.030 in is ten times, not nine.
    """
    given = given_settings(SETTINGS)
    found = {}
    for piece in pieces:
        usual, wall = (int(given.value(name, unit=piece.unit)) for name in SETTINGS)
        limits = least_diameters(_spec(piece), Limits(usual_stock_nm=usual, least_wall_nm=wall))
        if limits:
            first = limits[0]
            found[piece.pk] = CutsLeft(
                cuts=regrinds_left(first.room_nm, usual),
                room_nm=first.room_nm,
                why=first.why,
                diameter=NAMES[first.diameter],
            )
    return found


def _spec(piece: Piece) -> PieceSpec:
    sizes = {name: size_of(piece, column) for name, column in NAMES.items()}
    bore, width = size_of(piece, "bore"), size_of(piece, "keyway_width")
    depth = size_of(piece, "keyway_depth")
    plated = piece.revision.plated_thickness_nm if piece.over_chrome else None
    return PieceSpec(
        name=piece.code,
        diameters=tuple(
            Diameter(
                name,
                now,
                drawn_nm=getattr(piece.revision, f"{NAMES[name]}_nm"),
                least_nm=getattr(piece.revision, f"least_{NAMES[name]}_nm"),
            )
            for name, now in sizes.items()
            if now is not None
        ),
        keyway=Keyway(bore, depth, width) if bore and width and depth and width <= bore else None,
        case_depth_nm=piece.revision.case_depth_nm,
        plated_nm=plated or 0,
    )

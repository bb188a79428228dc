"""Stock to clean up, least diameters, regrinds left: exact on whole nanometres."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, cos, radians, sin

from tooling.engineering.how import Step
from tooling.engineering.regrinds.specs import Limits, Piece, WearPoint
from tooling.engineering.walls import least_root_diameter

GEOMETRY = "geometry"
DUST = 1e-6
"""A millionth of a nanometre: what a cosine leaves over is no stock."""


def stock_nm(depth_nm: int, allowance_nm: int, angle_degrees: float, worn_nm: int = 0) -> int:
    """Stock on diameter that cleans a face up, 2 · (w + allowance) / cos θ, rounded up to 1 nm,
    less ``worn_nm``, by which the diameter that it is counted from is smaller already.

    Source: geometry; w normal to the face. Raises ValueError at 90°, which no diameter cleans up.
    """
    if not 0 <= angle_degrees < 90:
        raise ValueError("a face at 90 degrees to the shaft is not cleaned up by a diameter")
    whole = ceil(2 * (depth_nm + allowance_nm) / cos(radians(angle_degrees)) - DUST)
    return max(0, whole - worn_nm)


def stock_step(point: WearPoint, limits: Limits, worn_nm: int = 0) -> Step:
    """``stock_nm`` with its formula and inputs."""
    return Step(
        what=f"stock on diameter at {point.name}",
        formula="2 · (w + allowance) / cos θ − worn off the drive diameter",
        source=GEOMETRY,
        inputs={
            "depth_nm": point.lost_nm,
            "allowance_nm": limits.allowance_nm,
            "angle_degrees": point.angle_degrees,
            "worn_nm": worn_nm,
        },
        value=stock_nm(point.lost_nm, limits.allowance_nm, point.angle_degrees, worn_nm),
        rounding="up to 1 nm",
    )


def face_stock_nm(depth_nm: int, allowance_nm: int, angle_degrees: float) -> int:
    """What comes off the face's width, (w + allowance) / sin θ, rounded up to 1 nm.

    Source: geometry. Raises ValueError at 0°, which facing never cleans up.
    """
    if not 0 < angle_degrees <= 90:
        raise ValueError("a face along the shaft is not cleaned up by facing")
    return ceil((depth_nm + allowance_nm) / sin(radians(angle_degrees)) - DUST)


@dataclass(frozen=True)
class Least:
    """The least that one diameter of a piece may be, and why.

    ``room_nm``: what may still come off it, negative where it is under its least already.
    """

    diameter: str
    least_nm: int
    why: str
    room_nm: int
    steps: tuple[Step, ...] = ()


def least_diameters(piece: Piece, limits: Limits) -> tuple[Least, ...]:
    """Every limit on every diameter of a piece, the governing one (least room) first.

    Drawing minimum, wall at the key corner (on the root, or the smallest diameter that is known),
    hardened case (drawn − 2 · depth). Limits hold for bare steel: plating comes off first.
    """
    found = sorted(_limits(piece, limits), key=lambda each: (each.room_nm, each.why))
    return tuple(found)


def _limits(piece: Piece, limits: Limits) -> Iterator[Least]:
    bare = {each.name: each.now_nm - 2 * piece.plated_nm for each in piece.diameters}
    for each in piece.diameters:
        if each.least_nm is not None:
            yield Least(each.name, each.least_nm, "drawing", bare[each.name] - each.least_nm)
        if piece.case_depth_nm is not None and each.drawn_nm is not None:
            least = max(1, each.drawn_nm - 2 * piece.case_depth_nm)
            step = Step(
                what=f"least {each.name} diameter for the hardened case",
                formula="drawn − 2 · case depth", source=GEOMETRY,
                inputs={"drawn_nm": each.drawn_nm, "case_depth_nm": piece.case_depth_nm},
                value=least,
            )  # fmt: skip
            yield Least(each.name, least, "case", bare[each.name] - least, (step,))
    if piece.keyway is not None and piece.diameters:
        throat = piece.diameter("root") or min(piece.diameters, key=lambda each: each.now_nm)
        key = piece.keyway
        wall = least_root_diameter(
            key.bore_nm, key.hub_depth_nm, key.width_nm, limits.least_wall_nm
        )
        room = bare[throat.name] - wall.root_diameter_nm
        yield Least(throat.name, wall.root_diameter_nm, "wall", room, wall.how)


def governing(piece: Piece, limits: Limits) -> Least | None:
    """The limit with the least room; None where nothing is known to limit the piece."""
    return next(iter(least_diameters(piece, limits)), None)


def regrinds_left(room_nm: int, usual_stock_nm: int) -> int:
    """How often a piece can still be cut by the usual stock, in whole numbers.

    6.000 in down to 5.700 in by 0.030 in is 7 620 000 // 762 000 = 10. Source: counting.
    Raises ValueError where the usual stock is nothing.
    """
    if usual_stock_nm <= 0:
        raise ValueError("the usual stock per cut is more than nothing")
    return max(0, room_nm) // usual_stock_nm


def left_step(name: str, room_nm: int, usual_stock_nm: int) -> Step:
    """``regrinds_left`` with its formula and inputs."""
    return Step(
        what=f"{name}: regrinds left",
        formula="⌊room / usual stock per cut⌋",
        source="counting",
        inputs={"room_nm": room_nm, "usual_stock_nm": usual_stock_nm},
        value=regrinds_left(room_nm, usual_stock_nm),
        rounding="down to a whole cut",
    )

"""What one piece asks by itself: stock to clean up, faces, what must be, what is left to cut."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from tooling.engineering.regrinds.geometry import Least, face_stock_nm, governing, stock_nm
from tooling.engineering.regrinds.specs import Limits, Piece, Pin, WearPoint


@dataclass(frozen=True)
class Facts:
    """A piece in whole grinder steps.

    ``need``: steps that clean it up whole, once it is cut at all. ``cap``: most steps. ``must``:
    ``worn``, ``forecast``, ``named`` or empty. ``must_diameter`` and ``must_face``: what of it
    must be. ``told_to_face``: settled so. ``face_nm``: what facing takes off its width.
    """

    piece: Piece
    need: int
    cap: int
    must: str
    must_diameter: bool
    must_face: bool
    told_to_face: bool
    face_nm: int
    face_inboard_nm: int
    can_face: bool
    room_nm: int
    governing: Least | None
    stock_point: WearPoint | None
    face_point: WearPoint | None

    @property
    def has_flank(self) -> bool:
        """Something at it is cleaned up by facing only."""
        return self.face_point is not None

    @property
    def is_faced(self) -> bool:
        """Faced even where nothing comes off its diameters: worn so far, or settled so."""
        return self.must_face or (self.told_to_face and self.has_flank)

    @cached_property
    def low_nm(self) -> int:
        """Of a new roll, the least that comes off the present diameter: negative, it is larger."""
        return max((each.now_nm - each.top_nm for each in self.piece.diameters), default=0)


def facts_of(piece: Piece, limits: Limits, pin: Pin | None) -> Facts:
    """The facts of one piece under the shop's limits and the engineer's word."""
    points = piece.points if piece.in_plan else ()
    musts = [p for p in points if p.is_beyond or p.crosses]
    worn = [p for p in points if p.lost_nm > 0 or p in musts]
    flanks = [p for p in worn if p.angle_degrees >= limits.face_from_degrees]
    round_ = [p for p in worn if p.angle_degrees < limits.face_from_degrees]
    stock = {
        p: stock_nm(p.lost_nm, limits.allowance_nm, p.angle_degrees, piece.worn_nm) for p in round_
    }
    point = max(round_, key=lambda p: stock[p], default=None)
    need = -(-stock[point] // limits.step_nm) if point else 0
    faced = {p: face_stock_nm(p.lost_nm, limits.allowance_nm, p.angle_degrees) for p in flanks}
    sides = {side: max((faced[p] for p in flanks if p.side == side), default=0)
             for side in ("inboard", "outboard", "")}  # fmt: skip
    face_nm = sum(sides.values())
    governs = governing(piece, limits)
    room_nm = _room(piece, governs, limits)
    named = piece.in_plan and pin is not None and pin.kind == "cut"
    return Facts(
        piece=piece,
        need=max(1, need),
        cap=max(0, room_nm) // limits.step_nm,
        must=_must(musts, named),
        must_diameter=named or any(p in round_ for p in musts),
        must_face=any(p in flanks for p in musts),
        told_to_face=piece.in_plan and pin is not None and pin.kind == "face",
        face_nm=face_nm,
        face_inboard_nm=sides["inboard"],
        can_face=_can_face(piece, face_nm),
        room_nm=room_nm,
        governing=governs,
        stock_point=point,
        face_point=max(flanks, key=lambda p: faced[p], default=None),
    )


def _must(points: list[WearPoint], named: bool) -> str:
    if any(point.is_beyond for point in points):
        return "worn"
    if points:
        return "forecast"
    return "named" if named else ""


def _room(piece: Piece, governs: Least | None, limits: Limits) -> int:
    """What may come off: to the governing limit; without one, to where something is left."""
    if not piece.diameters:
        return 0
    if governs is not None:
        return governs.room_nm
    return min(each.now_nm for each in piece.diameters) - limits.step_nm


def _can_face(piece: Piece, face_nm: int) -> bool:
    if piece.width_nm is None:
        return True
    return piece.width_nm - face_nm >= (piece.faced_to_nm or 1)

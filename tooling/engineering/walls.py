"""The wall that a roll has left over its keyway, and the least root diameter that leaves it.

All in whole nanometres with integer square roots: a wall is rounded down, a diameter up.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isqrt
from typing import Literal

from django.utils.translation import gettext_lazy as _

from tooling.engineering.how import Step
from tooling.engineering.lengths import exact_mm
from tooling.errors import ToolingError

GEOMETRY = "geometry: the corner of the keyseat is farther from the axis than its middle"
WallState = Literal["ok", "thin", "none"]


@dataclass(frozen=True)
class Wall:
    """What is left over the keyway, in nm; ``corner_nm`` governs, ``plain_nm`` is shown beside.

    Zero or negative: the root circle cuts into the keyway.
    """

    corner_nm: int
    plain_nm: int
    how: tuple[Step, ...]

    def state(self, warn_below_nm: int) -> WallState:
        """``none`` where nothing is left at the corner, ``thin`` below the shop's wish."""
        if self.corner_nm <= 0:
            return "none"
        return "thin" if self.corner_nm < warn_below_nm else "ok"


def wall_at_key_corner(
    root_diameter_nm: int, bore_nm: int, hub_depth_nm: int, key_width_nm: int
) -> Wall:
    """Wall at the key corner and the plain wall over the middle of the keyway, in nm, rounded down.

    Corner: D_root/2 − √((bore/2 + hub depth)² + (key width/2)²);
    plain: D_root/2 − (bore/2 + hub depth). ``hub_depth_nm`` counts from the crown of the bore.
    With no keyway (depth and width 0) both are the wall over the bore.
    For a worn bore give the bore as it was when the keyway was cut, with that keyway's depth, or
    both as measured now: the bottom of the keyseat does not move. Source: geometry.
    Raises ToolingError ``negative_length``, and ``key_wider_than_bore`` where the keyway is wider
    than the bore.
    """
    _require_sizes(bore_nm, hub_depth_nm, key_width_nm)
    if root_diameter_nm <= 0:
        raise _negative()
    reach_nm = bore_nm + 2 * hub_depth_nm
    corner_nm = (root_diameter_nm - _corner_circle_nm(reach_nm, key_width_nm)) // 2
    plain_nm = (root_diameter_nm - reach_nm) // 2
    inputs = {
        "root_diameter_nm": root_diameter_nm,
        "bore_nm": bore_nm,
        "hub_depth_nm": hub_depth_nm,
    }
    corner = Step(
        what="wall at the key corner",
        formula="D_root/2 − √((bore/2 + hub depth)² + (key width/2)²)",
        source=GEOMETRY,
        inputs={**inputs, "key_width_nm": key_width_nm},
        value=corner_nm,
        rounding="down to 1 nm",
    )
    plain = Step(
        what="plain wall",
        formula="D_root/2 − (bore/2 + hub depth)",
        source="geometry",
        inputs=inputs,
        value=plain_nm,
        rounding="down to 1 nm",
    )
    return Wall(corner_nm, plain_nm, (corner, plain))


def require_wall(wall: Wall) -> Wall:
    """The same wall. Raises ToolingError ``no_wall_over_key`` where nothing is left at the corner:
    such a roll is impossible, whatever a shop is used to."""
    if wall.corner_nm <= 0:
        raise ToolingError(
            "no_wall_over_key",
            _(
                "Nothing is left over the key corner: the wall would be {wall} mm. "
                "Check root diameter, bore and keyway depth."
            ),
            wall=exact_mm(wall.corner_nm),
        )
    return wall


@dataclass(frozen=True)
class LeastRoot:
    """The least root diameter that still leaves a wall at the key corner, in nm."""

    root_diameter_nm: int
    how: tuple[Step, ...]


def least_root_diameter(
    bore_nm: int, hub_depth_nm: int, key_width_nm: int, least_wall_nm: int
) -> LeastRoot:
    """The least root diameter for a wall at the key corner, in nm, rounded up.

    2 · (wall + √((bore/2 + hub depth)² + (key width/2)²)). Source: geometry; the wall is a setting.
    Raises ToolingError ``negative_length`` and ``key_wider_than_bore``.
    """
    _require_sizes(bore_nm, hub_depth_nm, key_width_nm)
    if least_wall_nm < 0:
        raise _negative()
    circle_nm = _corner_circle_nm(bore_nm + 2 * hub_depth_nm, key_width_nm)
    root_nm = 2 * least_wall_nm + circle_nm
    how = Step(
        what="least root diameter for the wall",
        formula="2 · (wall + √((bore/2 + hub depth)² + (key width/2)²))",
        source=GEOMETRY,
        inputs={
            "bore_nm": bore_nm,
            "hub_depth_nm": hub_depth_nm,
            "key_width_nm": key_width_nm,
            "least_wall_nm": least_wall_nm,
        },
        value=root_nm,
        rounding="up to 1 nm",
    )
    return LeastRoot(root_nm, (how,))


def _corner_circle_nm(reach_nm: int, key_width_nm: int) -> int:
    """Diameter of the circle through the keyseat's corners, rounded up."""
    squared = reach_nm**2 + key_width_nm**2
    return isqrt(squared - 1) + 1


def _require_sizes(bore_nm: int, hub_depth_nm: int, key_width_nm: int) -> None:
    if bore_nm <= 0 or hub_depth_nm < 0 or key_width_nm < 0:
        raise _negative()
    if key_width_nm > bore_nm:
        raise ToolingError(
            "key_wider_than_bore",
            _("A keyway of {key} mm is wider than the bore of {bore} mm."),
            key=exact_mm(key_width_nm),
            bore=exact_mm(bore_nm),
        )


def _negative() -> ToolingError:
    return ToolingError(
        "negative_length",
        _("Root diameter and bore must be above 0; depth, width and wall must be 0 or more."),
    )

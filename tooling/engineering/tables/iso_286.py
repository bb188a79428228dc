"""ISO 286 standard tolerances and fundamental deviations, 0 to 500 mm, in micrometres.

Typed from one source: the tables of the open library pressfit 0.1.0 (``pressfit/tables.py``),
which prints the values of ISO 286-1:2010. The standard's table governs: its own formula, rounded,
misses one cell in five.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

STEPS_MM = (3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)
"""Upper ends of the size steps: a step is over the one before, up to and including this one."""

TOLERANCE_UM: Mapping[int, tuple[int, ...]] = MappingProxyType(
    {
        5: (4, 5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27),
        6: (6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40),
        7: (10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63),
        8: (14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97),
        9: (25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155),
        10: (40, 48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250),
        11: (60, 75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400),
    }
)
"""Standard tolerance by grade (IT5 … IT11) and step."""

UPPER_UM: Mapping[str, tuple[int, ...]] = MappingProxyType(
    {
        "d": (-20, -30, -40, -50, -65, -80, -100, -120, -145, -170, -190, -210, -230),
        "e": (-14, -20, -25, -32, -40, -50, -60, -72, -85, -100, -110, -125, -135),
        "f": (-6, -10, -13, -16, -20, -25, -30, -36, -43, -50, -56, -62, -68),
        "g": (-2, -4, -5, -6, -7, -9, -10, -12, -14, -15, -17, -18, -20),
        "h": (0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0),
    }
)
"""Upper deviation of a shaft, es; a hole of the same letter has EI = −es."""

LOWER_UM: Mapping[str, tuple[int, ...]] = MappingProxyType(
    {
        "k": (0, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5),
        "m": (2, 4, 6, 7, 8, 9, 11, 13, 15, 17, 20, 21, 23),
        "n": (4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40),
        "p": (6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68),
    }
)
"""Lower deviation of a shaft, ei. k holds for grades 4 to 7; from grade 8 on it is 0."""

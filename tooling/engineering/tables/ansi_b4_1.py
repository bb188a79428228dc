"""ANSI/ASME B4.1 running, locational clearance and transition fits, in ten-thousandths of an inch.

Typed from one source: Machinery's Handbook, 31st edition, tables 8a, 8b and 10 after
ANSI/ASME B4.1-1967 (2009), in the American-British-Canadian symbols that the tables name.
Classes LC1 to LC5 are put together from the same symbols (h has no allowance and the width of its
grade; g6 has the allowance of g5 and the width of f6). A None was not readable in the source.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

STEPS_TENTHS = (1200, 2400, 4000, 7100, 11900, 19700, 31500, 47300, 70900, 98500)
"""Upper ends of the size steps, 0.12 in to 9.85 in; up to and including."""

HOLE_TENTHS: Mapping[str, tuple[float, ...]] = MappingProxyType(
    {
        "H5": (2, 2, 2.5, 3, 4, 4, 5, 6, 7, 8),
        "H6": (2.5, 3, 4, 4, 5, 6, 7, 9, 10, 12),
        "H7": (4, 5, 6, 7, 8, 10, 12, 14, 16, 18),
        "H8": (6, 7, 9, 10, 12, 16, 18, 22, 25, 28),
        "H9": (10, 12, 14, 16, 20, 25, 30, 35, 40, 45),
        "H10": (16, 18, 22, 28, 35, 40, 45, 50, 60, 70),
    }
)
"""Upper deviation of a hole; the lower one is 0."""

Pair = tuple[float, float]

SHAFT_TENTHS: Mapping[str, tuple[Pair, ...]] = MappingProxyType(
    {
        "g4": (
            *((-1, -2.5), (-1.5, -3), (-2, -3.5), (-2.5, -4.5), (-3, -5.5)),
            *((-4, -7), (-4, -7), (-5, -9), (-6, -11), (-6, -12)),
        ),
        "g5": (
            *((-1, -3), (-1.5, -3.5), (-2, -4.5), (-2.5, -5.5), (-3, -7)),
            *((-4, -8), (-4, -9), (-5, -11), (-6, -13), (-6, -14)),
        ),
        "f6": (
            *((-3, -5.5), (-4, -7), (-5, -9), (-6, -10), (-8, -13)),
            *((-10, -16), (-12, -19), (-14, -23), (-16, -26), (-20, -32)),
        ),
        "f7": (
            *((-3, -7), (-4, -9), (-5, -11), (-6, -13), (-8, -16)),
            *((-10, -20), (-12, -24), (-14, -28), (-16, -32), (-20, -38)),
        ),
        "e7": (
            *((-6, -10), (-8, -13), (-10, -16), (-12, -19), (-16, -24)),
            *((-20, -30), (-25, -37), (-30, -44), (-35, -51), (-40, -58)),
        ),
        "e8": (
            *((-6, -12), (-8, -15), (-10, -19), (-12, -22), (-16, -28)),
            *((-20, -36), (-25, -43), (-30, -52), (-35, -60), (-40, -68)),
        ),
        "d8": (
            *((-10, -16), (-12, -19), (-16, -25), (-20, -30), (-25, -37)),
            *((-30, -46), (-40, -58), (-50, -72), (-60, -85), (-70, -98)),
        ),
        "c9": (
            *((-25, -35), (-28, -40), (-30, -44), (-35, -51), (-45, -65)),
            *((-50, -75), (-60, -90), (-70, -105), (-80, -120), (-100, -145)),
        ),
        "js7": (
            *((2, -2), (2.5, -2.5), (3, -3), (3.5, -3.5), (4, -4)),
            *((5, -5), (6, -6), (7, -7), (8, -8), (9, -9)),
        ),
    }
)
"""Upper and lower deviation of a shaft."""

TRANSITION_TENTHS: Mapping[str, tuple[Pair | None, ...]] = MappingProxyType(
    {
        "js6": (
            *((1.2, -1.2), (1.5, -1.5), (2, -2), (2, -2), (2.5, -2.5)),
            *((3, -3), (3, -3), None, None, None),
        ),
        "k6": (
            *(None, None, (5, 1), (5, 1), (6, 1)),
            *((7, 1), (8, 1), None, None, None),
        ),
        "k7": (
            *(None, None, (7, 1), (8, 1), (9, 1)),
            *((11, 1), (13, 1), (15, 1), (17, 1), (20, 2)),
        ),
    }
)
"""The same for the shafts of which some cells were not readable."""

FITS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "RC1": ("H5", "g4"),
        "RC2": ("H6", "g5"),
        "RC3": ("H7", "f6"),
        "RC4": ("H8", "f7"),
        "RC5": ("H8", "e7"),
        "RC6": ("H9", "e8"),
        "RC7": ("H9", "d8"),
        "RC8": ("H10", "c9"),
        "LC1": ("H6", "h5"),
        "LC2": ("H7", "h6"),
        "LC3": ("H8", "h7"),
        "LC4": ("H10", "h9"),
        "LC5": ("H7", "g6"),
        "LT1": ("H7", "js6"),
        "LT2": ("H8", "js7"),
        "LT3": ("H7", "k6"),
        "LT4": ("H8", "k7"),
    }
)
"""Hole and shaft symbol of each class of fit."""

WIDTH_OF = MappingProxyType({"h5": "g5", "h6": "f6", "h7": "f7", "h9": "c9", "g6": "f6"})
"""Which tabled symbol has the same width; h starts at 0, g6 at the allowance of g5."""

"""ANSI B17.1 key sizes by shaft diameter, in inches.

Typed from one source: engineersedge.com, "Shaft diameter vs key sizes", after ANSI B17.1.
Columns: shaft over, to and including, key width, height of the square and of the rectangular key.
"""

from __future__ import annotations

SQUARE_PREFERRED_TO = "6 1/2"
"""Square keys are preferred up to this shaft, rectangular ones above it."""

HUB_CLEARANCE_IN = "0.005"
"""Clearance that the hub keyseat of a parallel key has over the key."""

ROWS: tuple[tuple[str, str, str, str, str | None], ...] = (
    ("5/16", "7/16", "3/32", "3/32", None),
    ("7/16", "9/16", "1/8", "1/8", "3/32"),
    ("9/16", "7/8", "3/16", "3/16", "1/8"),
    ("7/8", "1 1/4", "1/4", "1/4", "3/16"),
    ("1 1/4", "1 3/8", "5/16", "5/16", "1/4"),
    ("1 3/8", "1 3/4", "3/8", "3/8", "1/4"),
    ("1 3/4", "2 1/4", "1/2", "1/2", "3/8"),
    ("2 1/4", "2 3/4", "5/8", "5/8", "7/16"),
    ("2 3/4", "3 1/4", "3/4", "3/4", "1/2"),
    ("3 1/4", "3 3/4", "7/8", "7/8", "5/8"),
    ("3 3/4", "4 1/2", "1", "1", "3/4"),
    ("4 1/2", "5 1/2", "1 1/4", "1 1/4", "7/8"),
    ("5 1/2", "6 1/2", "1 1/2", "1 1/2", "1"),
    ("6 1/2", "7 1/2", "1 3/4", "1 3/4", "1 1/2"),
    ("7 1/2", "9", "2", "2", "1 1/2"),
    ("9", "11", "2 1/2", "2 1/2", "1 3/4"),
)

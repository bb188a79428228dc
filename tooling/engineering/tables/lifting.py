"""The printed tables of the revised NIOSH lifting equation.

Typed from T. R. Waters, V. Putz-Anderson, A. Garg, *Applications Manual for the Revised NIOSH
Lifting Equation*, DHHS (NIOSH) Publication 94-110 (public domain): Table 5, frequency multiplier,
and Table 7, coupling multiplier.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

Duration = Literal["short", "moderate", "long"]
Coupling = Literal["good", "fair", "poor"]

FREQUENCIES: tuple[float, ...] = (0.2, 0.5, *map(float, range(1, 16)))
"""Lifts per minute, one per row of the frequency table."""

# fmt: off
FREQUENCY: Mapping[tuple[Duration, bool], tuple[float, ...]] = MappingProxyType({
    ("short", False): (1.00, .97, .94, .91, .88, .84, .80, .75, .70, .60, .52, .45, .41, .37,
                       0, 0, 0),
    ("short", True): (1.00, .97, .94, .91, .88, .84, .80, .75, .70, .60, .52, .45, .41, .37,
                      .34, .31, .28),
    ("moderate", False): (.95, .92, .88, .84, .79, .72, .60, .50, .42, .35, .30, .26,
                          0, 0, 0, 0, 0),
    ("moderate", True): (.95, .92, .88, .84, .79, .72, .60, .50, .42, .35, .30, .26, .23, .21,
                         0, 0, 0),
    ("long", False): (.85, .81, .75, .65, .55, .45, .35, .27, .22, .18, 0, 0, 0, 0, 0, 0, 0),
    ("long", True): (.85, .81, .75, .65, .55, .45, .35, .27, .22, .18, .15, .13, 0, 0, 0, 0, 0),
})
# fmt: on
"""By duration and whether the hands are at 75 cm (30 in) or higher at the origin."""

COUPLING: Mapping[tuple[Coupling, bool], float] = MappingProxyType(
    {
        ("good", False): 1.00, ("good", True): 1.00,
        ("fair", False): 0.95, ("fair", True): 1.00,
        ("poor", False): 0.90, ("poor", True): 0.90,
    }
)  # fmt: skip
"""By coupling and whether the hands are at 75 cm (30 in) or higher at the point evaluated."""

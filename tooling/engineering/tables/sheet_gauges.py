"""Sheet gauges 7 to 30 of four materials, in inches.

Typed from one source: mrlmfg.com, "Steel and aluminum metal gauges" (steel by the Manufacturers'
Standard Gauge, galvanised, stainless by the U.S. Standard Gauge, aluminium by Brown & Sharpe).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

STEEL, GALVANISED, STAINLESS, ALUMINIUM = "steel", "galvanised steel", "stainless", "aluminium"

_FAMILY_WORDS = (
    (GALVANISED, ("galvan", "galv", "zinc", "g60", "g90")),
    (STAINLESS, ("stainless", "inox")),
    (ALUMINIUM, ("alumin",)),
    (STEEL, ("steel", "cold rolled", "cold-rolled", "hot rolled", "hot-rolled", "hsla")),
)
_NOT_IN_ANY = ("aluminised", "aluminized", "galvalume", "aluzinc")


def family(material: str) -> str | None:
    """Which of the four gauge tables the words for a material mean; None where none or unsure."""
    words = material.lower()
    if any(word in words for word in _NOT_IN_ANY):
        return None
    return next(
        (name for name, marks in _FAMILY_WORDS if any(mark in words for mark in marks)), None
    )


_ROWS = """
 7 0.1793 -      0.1875 0.1443
 8 0.1644 0.1681 0.1719 0.1285
 9 0.1495 0.1532 0.1562 0.1144
10 0.1345 0.1382 0.1406 0.1019
11 0.1196 0.1233 0.1250 0.0907
12 0.1046 0.1084 0.1094 0.0808
13 0.0897 0.0934 0.0937 0.0720
14 0.0747 0.0785 0.0781 0.0641
15 0.0673 0.0710 0.0703 0.0571
16 0.0598 0.0635 0.0625 0.0508
17 0.0538 0.0575 0.0562 0.0453
18 0.0478 0.0516 0.0500 0.0403
19 0.0418 0.0456 0.0437 0.0359
20 0.0359 0.0396 0.0375 0.0320
21 0.0329 0.0366 0.0344 0.0285
22 0.0299 0.0336 0.0312 0.0253
23 0.0269 0.0306 0.0281 0.0226
24 0.0239 0.0276 0.0250 0.0201
25 0.0209 0.0247 0.0219 0.0179
26 0.0179 0.0217 0.0187 0.0159
27 0.0164 0.0202 0.0172 0.0142
28 0.0149 0.0187 0.0156 0.0126
29 0.0135 0.0172 0.0141 0.0113
30 0.0120 0.0157 0.0125 0.0100
"""


def _columns() -> Mapping[str, Mapping[int, str]]:
    columns: dict[str, dict[int, str]] = {
        STEEL: {},
        GALVANISED: {},
        STAINLESS: {},
        ALUMINIUM: {},
    }
    for row in _ROWS.split("\n")[1:-1]:
        gauge, *cells = row.split()
        for name, cell in zip(columns, cells, strict=True):
            if cell != "-":
                columns[name][int(gauge)] = cell
    return MappingProxyType({name: MappingProxyType(table) for name, table in columns.items()})


THICKNESS_IN = _columns()
"""Nominal thickness in inches, as printed, by material and gauge number."""

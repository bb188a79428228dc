"""Densities of what rolls and spacers are made of, in kg/m³, each typed from one data sheet.

Sources, read: D2, AZoM article 6214 (UNS T30402, 7.7 × 1000 kg/m³); 4140, MatWeb data sheet of
AISI 4140 (7.85 g/cm³); aluminium bronze C95400, Bronze Bearings Inc. alloy sheet (7.45 g/cm³);
unalloyed steel, MachineMFG table of densities (7.85 g/cm³). The rest are usual values, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

USUAL = "usual value, no source"


@dataclass(frozen=True)
class Density:
    """Density in kg/m³ with the source it was read in."""

    name: str
    kg_per_m3: int
    source: str


_ROWS = (
    Density("steel", 7850, "MachineMFG, density table of metals"),
    Density("D2", 7700, "AZoM article 6214, UNS T30402"),
    Density("4140", 7850, "MatWeb, AISI 4140 steel"),
    Density("aluminium bronze", 7450, "Bronze Bearings Inc., alloy C95400"),
    Density("A2", 7860, USUAL),
    Density("O1", 7850, USUAL),
    Density("S7", 7830, USUAL),
    Density("M2", 8160, USUAL),
    Density("P20", 7850, USUAL),
    Density("cast iron", 7150, USUAL),
    Density("aluminium", 2700, USUAL),
    Density("tungsten carbide", 14_900, USUAL),
    Density("polyurethane", 1200, USUAL),
    Density("nylon", 1140, USUAL),
)
DENSITIES: Mapping[str, Density] = MappingProxyType({row.name.casefold(): row for row in _ROWS})
"""By casefolded name."""

OTHER_NAMES: Mapping[str, str] = MappingProxyType(
    {
        "1.2379": "d2", "x153crmov12": "d2", "skd11": "d2",
        "1.2363": "a2", "1.2510": "o1", "1.2355": "s7", "1.3343": "m2", "1.2311": "p20",
        "1.7225": "4140", "42crmo4": "4140",
        "carbon steel": "steel", "mild steel": "steel", "c45": "steel", "1045": "steel",
        "c95400": "aluminium bronze", "aluminum bronze": "aluminium bronze",
        "bronze": "aluminium bronze",
        "grey cast iron": "cast iron", "gray cast iron": "cast iron",
        "aluminum": "aluminium", "6061": "aluminium",
        "carbide": "tungsten carbide", "urethane": "polyurethane",
    }
)  # fmt: skip
"""Other names that drawings use, casefolded."""

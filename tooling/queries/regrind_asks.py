"""What an engineer asks of a regrind plan: settings of its own, prices, and what is settled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tooling.engineering.regrinds import PinKind

__all__ = ["PRICES", "SETTINGS", "Asks", "PinAsked", "PinKind", "asks_from"]
SETTINGS = (
    "allowance_nm", "step_nm", "face_from_degrees", "usual_stock_nm", "least_wall_nm",
    "ratio_percent", "horizon_days",
)  # fmt: skip
"""Those that a plan may have of its own, in the order of the page."""
PRICES = ("setup_cents", "cents_per_mm", "face_cents", "new_cents")


@dataclass(frozen=True)
class PinAsked:
    """What is settled for one piece. ``nm``: the drive diameter that it is cut to, else the first
    diameter on record."""

    kind: PinKind
    nm: int | None = None


@dataclass(frozen=True)
class Asks:
    """``own``: settings of the plan's own, nm, degrees, percent, days; the rest are the shop's.
    ``prices`` empty: fewest replaced, then fewest cut, then least stock. ``keeps_slack``: steps
    that are slack today may stay, an engineer signs for them. ``hold_others``: other sets that
    share a piece must keep true as well."""

    own: Mapping[str, float] = field(default_factory=dict)
    prices: Mapping[str, int] = field(default_factory=dict)
    pins: Mapping[str, PinAsked] = field(default_factory=dict)
    no_new: bool = False
    keeps_slack: bool = False
    hold_others: bool = True
    counts_life: bool = True

    def as_json(self) -> dict[str, Any]:
        """As it is kept with the plan."""
        return {
            "own": dict(self.own),
            "prices": dict(self.prices),
            "pins": {code: {"kind": pin.kind, "nm": pin.nm} for code, pin in self.pins.items()},
            "no_new": self.no_new,
            "keeps_slack": self.keeps_slack,
            "hold_others": self.hold_others,
            "counts_life": self.counts_life,
        }


def asks_from(kept: Mapping[str, Any]) -> Asks:
    """From what a plan kept."""
    return Asks(
        own={name: kept.get("own", {})[name] for name in SETTINGS if name in kept.get("own", {})},
        prices={
            name: kept.get("prices", {})[name] for name in PRICES if name in kept.get("prices", {})
        },
        pins={
            code: PinAsked(pin["kind"], pin.get("nm"))
            for code, pin in sorted(kept.get("pins", {}).items())
        },
        no_new=bool(kept.get("no_new", False)),
        keeps_slack=bool(kept.get("keeps_slack", False)),
        hold_others=bool(kept.get("hold_others", True)),
        counts_life=bool(kept.get("counts_life", True)),
    )

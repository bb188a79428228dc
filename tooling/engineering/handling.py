"""Mass of rolls and loads, and who should lift them. Masses are floats in kilograms."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import pi
from typing import Literal

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding
from tooling.engineering.how import Step
from tooling.engineering.tables.densities import DENSITIES, OTHER_NAMES, Density

Caution = Literal["none", "heavy", "two_people"]


@dataclass(frozen=True)
class RollBody:
    """A roll or spacer as a plain cylinder with bore and keyway. Lengths in nm.

    Raises ValueError for a width or diameter that is not positive, a bore as large as the
    outside, or a negative keyway.
    """

    outside_nm: int
    bore_nm: int
    width_nm: int
    material: str = "steel"
    keyway_width_nm: int = 0
    keyway_depth_nm: int = 0

    def __post_init__(self) -> None:
        if self.width_nm <= 0 or not 0 <= self.bore_nm < self.outside_nm:
            raise ValueError("a body has a width and an outside larger than its bore")
        if self.keyway_width_nm < 0 or self.keyway_depth_nm < 0:
            raise ValueError("a keyway is not negative")


@dataclass(frozen=True)
class Mass:
    """A mass in kg; ``how_known`` is *weighed*, *computed*, or *assumed* where the material is."""

    kg: float
    how_known: Literal["weighed", "computed", "assumed"]
    step: Step


@dataclass(frozen=True)
class LoadOfPieces:
    """Sum of the known masses in kg, and how many pieces have none."""

    kg: float
    unknown: int


def density_of(material: str) -> Density | None:
    """The density of a material by any name that drawings use, or None."""
    name = " ".join(material.casefold().split())
    return DENSITIES.get(OTHER_NAMES.get(name, name))


def mass_of(body: RollBody, *, weighed_kg: float | None = None) -> Mass:
    """Mass of a roll: π/4 (D² − d²) w ρ less its keyway; a weighed mass wins.

    The contour is not known, so the outside diameter makes it an upper estimate. An unknown
    material is taken as steel and the answer says *assumed*. Raises ValueError for a weighed mass
    that is not positive. Source: geometry; densities from ``tables/densities.py``.
    """
    density = density_of(body.material)
    known = density or DENSITIES["steel"]
    volume_m3 = pi / 4 * (body.outside_nm**2 - body.bore_nm**2) * body.width_nm / 1e27
    keyway_m3 = body.keyway_width_nm * body.keyway_depth_nm * body.width_nm / 1e27
    computed_kg = (volume_m3 - keyway_m3) * known.kg_per_m3
    if weighed_kg is not None and weighed_kg <= 0:
        raise ValueError("a weighed mass is more than nothing")
    step = Step(
        what="mass in kg" if weighed_kg is None else "mass in kg, weighed",
        formula="(π/4 · (D² − d²) − keyway width · depth) · width · ρ; a weighed mass wins",
        source=f"geometry; ρ: {known.source}",
        inputs={
            "outside_nm": body.outside_nm,
            "bore_nm": body.bore_nm,
            "width_nm": body.width_nm,
            "keyway_width_nm": body.keyway_width_nm,
            "keyway_depth_nm": body.keyway_depth_nm,
            "density_kg_per_m3": known.kg_per_m3,
            "weighed_kg": weighed_kg,
        },
        value=computed_kg if weighed_kg is None else weighed_kg,
        unmeasured=() if density else ("density_kg_per_m3",),
    )
    if weighed_kg is not None:
        return Mass(weighed_kg, "weighed", step)
    return Mass(computed_kg, "computed" if density else "assumed", step)


def caution_for(mass_kg: float, *, warn_kg: float, two_people_kg: float) -> Caution:
    """What to say beside a mass; both limits are the shop's settings. At a limit it already says.

    Raises ValueError when the limits are out of order.
    """
    if not 0 < warn_kg <= two_people_kg:
        raise ValueError("the warning comes before two people, and both are more than nothing")
    if mass_kg >= two_people_kg:
        return "two_people"
    return "heavy" if mass_kg >= warn_kg else "none"


def total_of(masses_kg: Iterable[float | None]) -> LoadOfPieces:
    """Total of a kit or cart; None counts as unknown."""
    given = list(masses_kg)
    known = [kg for kg in given if kg is not None]
    return LoadOfPieces(kg=sum(known), unknown=len(given) - len(known))


def check_load(load: LoadOfPieces, *, plate_kg: float | None) -> Finding:
    """A cart's load against the rating on its plate; a missing plate or unknown mass warns."""
    values = {"kg": round(load.kg, 1), "plate_kg": plate_kg, "unknown": load.unknown}
    if plate_kg is None:
        return Finding(
            "cart_load", "warn", "plate_unknown",
            _("The load is {kg} kg; what the cart may carry was never entered."),
            values, unmeasured=("plate_kg",),
        )  # fmt: skip
    if load.kg > plate_kg:
        return Finding(
            "cart_load", "no", "cart_overloaded",
            _("The load of {kg} kg is more than the cart's {plate_kg} kg. Use a second cart."),
            values,
        )  # fmt: skip
    if load.unknown:
        return Finding(
            "cart_load", "warn", "masses_unknown",
            _("The load is {kg} kg of {plate_kg} kg without {unknown} pieces of unknown mass."),
            values, unmeasured=("mass",),
        )  # fmt: skip
    return Finding(
        "cart_load", "ok", "cart_carries", _("The load is {kg} kg of {plate_kg} kg."), values
    )

"""How much strip a run was: every way in which it was told, and which of them counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from tooling.engineering import strip
from tooling.engineering.lengths import LONGEST_STRIP_NM, NM_PER_MM
from tooling.engineering.tables.densities import DENSITIES, OTHER_NAMES
from tooling.errors import ToolingError
from tooling.models import Mill, ToolSet
from tooling.queries.settings import setting_values

DIFFER = ("lengths_differ_parts", "lengths_differ_coil")
STEEL = DENSITIES["steel"].kg_per_m3
MOST_PARTS = 100_000_000
MOST_KG = 100_000.0
THICKEST_NM = 50 * NM_PER_MM
WIDEST_NM = 3_000 * NM_PER_MM


@dataclass(frozen=True)
class RunIn:
    """What was written down of a run's length, in any of the ways; lengths in nm.

    ``length_nm``: what a counter showed that began at nothing. ``counter_now_nm``: what it shows
    now, where the last run says what it began at. ``from_feed``: what the mill's counter feed says
    moved; ``counter`` names which where there are more.
    """

    length_nm: int | None = None
    counter_now_nm: int | None = None
    counter_start_nm: int | None = None
    counter_end_nm: int | None = None
    parts: int | None = None
    part_nm: int | None = None
    coil_outside_nm: int | None = None
    coil_inside_nm: int | None = None
    mass_kg: float | None = None
    lb_per_in: float | None = None
    scrap_nm: int = 0
    threading_nm: int = 0
    from_feed: bool = False
    counter: str = ""

    @property
    def waste_nm(self) -> int:
        return self.scrap_nm + self.threading_nm


@dataclass(frozen=True)
class Strip:
    """The strip that a run was of, as far as it is known."""

    thickness_nm: int | None
    width_nm: int | None
    kg_per_m3: int = STEEL


def density_of(*words: str) -> int:
    """kg/m³ of the material that one of the words names, else of steel."""
    for text in words:
        for word in (text.casefold().strip(), *text.casefold().split()):
            name = OTHER_NAMES.get(word, word)
            if name in DENSITIES:
                return DENSITIES[name].kg_per_m3
    return STEEL


def judged(ways: list[strip.Length], *, mill: Mill, tool_set: ToolSet | None = None) -> strip.Run:
    """Which way counts, the others beside it, and where they differ by more than the shop allows.

    Raises ``nothing_given`` without a way. One query.
    """
    if not ways:
        raise ToolingError(
            "nothing_given",
            _("Write how much strip ran: the length, or the parts, or the coil."),
            in_field="length",
        )
    given = setting_values(list(DIFFER), mill=mill, tool_set=tool_set)
    return strip.judge(
        ways, differ_parts_percent=given[DIFFER[0]], differ_coil_percent=given[DIFFER[1]]
    )


def ways_of(said: RunIn, of: Strip, *, fed_nm: int | None = None) -> list[strip.Length]:
    """Every way that was told. ``fed_nm``: what the counter feed says moved.

    Raises ``counter_backwards``, ``counter_incomplete``, ``absurd_length``, ``absurd_parts``,
    ``parts_incomplete``, ``coil_incomplete``, ``thickness_missing``, ``width_missing``.
    """
    check_waste(said)
    counted = [_counter(said, fed_nm), _parts(said)]
    estimates = [_coil(said, of), _mass(said, of), _per_inch(said, of)]
    found = [each for each in counted + estimates if each is not None]
    if not found and said.parts is not None:
        raise ToolingError(
            "parts_incomplete",
            _("To reckon by parts, write how long one is. Or write the length that ran."),
            in_field="part_length",
        )
    if any(each.length_nm > LONGEST_STRIP_NM for each in found):
        raise ToolingError(
            "absurd_length", _("A run is below a million kilometres. Check number and unit."),
            in_field="length",
        )  # fmt: skip
    return found


def check_waste(said: RunIn) -> None:
    """Raise ``absurd_length`` for scrap or threading that cannot be."""
    for name, value in (("scrap", said.scrap_nm), ("threading", said.threading_nm)):
        if not 0 <= value <= LONGEST_STRIP_NM:
            raise ToolingError(
                "absurd_length", _("Scrap and threading are 0 or more."), in_field=name
            )


def _counter(said: RunIn, fed_nm: int | None) -> strip.Length | None:
    start, end = said.counter_start_nm, said.counter_end_nm
    if fed_nm is not None:
        start, end = 0, fed_nm
    elif said.length_nm is not None:
        start, end = 0, said.length_nm
    if start is None and end is None:
        return None
    if start is None or end is None:
        raise ToolingError(
            "counter_incomplete",
            _("Write what the counter stood at before and after the run."),
            in_field="counter_end" if end is None else "counter_start",
        )
    if end < start:
        raise ToolingError(
            "counter_backwards",
            _("The counter ends below where it began. It was set back: write the length that ran, "
              "or begin at 0."),
            in_field="counter_end",
        )  # fmt: skip
    if end == start:
        raise ToolingError(
            "nothing_ran", _("By that nothing ran. Write how much strip ran."), in_field="length"
        )
    return strip.by_counter(start_nm=start, end_nm=end)


def _parts(said: RunIn) -> strip.Length | None:
    if said.parts is None:
        return None
    if not 0 < said.parts <= MOST_PARTS:
        raise ToolingError(
            "absurd_parts",
            _("{parts} cannot be a number of parts. Write a whole number from 1 to {most}."),
            parts=said.parts,
            most=MOST_PARTS,
            in_field="parts",
        )
    if said.part_nm is None:
        return None
    if said.part_nm <= 0:
        raise ToolingError(
            "not_positive", _("A part is longer than nothing."), in_field="part_length"
        )
    return strip.by_parts(parts=said.parts, part_nm=said.part_nm, scrap_nm=said.waste_nm)


def _coil(said: RunIn, of: Strip) -> strip.Length | None:
    if said.coil_outside_nm is None:
        return None
    inside = said.coil_inside_nm or 0
    if inside >= said.coil_outside_nm:
        raise ToolingError(
            "coil_incomplete",
            _("A coil is larger outside than inside. Measure both diameters again."),
            in_field="coil_outside",
        )
    return strip.by_coil(
        outside_nm=said.coil_outside_nm, inside_nm=inside, thickness_nm=_thickness(of)
    )


def _mass(said: RunIn, of: Strip) -> strip.Length | None:
    if said.mass_kg is None:
        return None
    _check_weight(said.mass_kg, "mass")
    if not of.width_nm:
        raise ToolingError(
            "width_missing", _("To reckon by mass, write the width of the strip."),
            in_field="width",
        )  # fmt: skip
    return strip.by_mass(
        mass_kg=said.mass_kg, width_nm=of.width_nm, thickness_nm=_thickness(of),
        kg_per_m3=of.kg_per_m3,
    )  # fmt: skip


def _per_inch(said: RunIn, of: Strip) -> strip.Length | None:
    if said.lb_per_in is None:
        return None
    _check_weight(said.lb_per_in, "pounds_per_inch")
    return strip.by_pounds_per_inch(
        lb_per_in=said.lb_per_in, thickness_nm=_thickness(of), kg_per_m3=of.kg_per_m3
    )


def _check_weight(value: float, field: str) -> None:
    if not 0 < value <= MOST_KG:
        raise ToolingError(
            "absurd_mass", _("A coil weighs more than nothing and less than 100 tonnes."),
            in_field=field,
        )  # fmt: skip


def _thickness(of: Strip) -> int:
    if not of.thickness_nm:
        raise ToolingError(
            "thickness_missing",
            _("To reckon by the coil, write the thickness of the strip."),
            in_field="thickness",
        )
    return of.thickness_nm


def others_of(found: strip.Run) -> Mapping[str, int]:
    """The ways beside the one that counts, as a run keeps them."""
    return {each.way: each.length_nm for each in found.others}

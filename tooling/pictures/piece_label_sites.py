"""The places of a label on one piece, with its own sizes: as zones, and as a section to scale."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.length_formats import Unit
from tooling.pictures.label_sites import LabelSite, RollSection, draw_label_sites, label_sites
from tooling.pictures.shapes import Drawing
from tooling.queries.label_sites import SiteFacts

NM_PER_MM = 1_000_000
LEAST_RIM_NM = 12 * NM_PER_MM
"""A rim narrower than this holds no label of the smallest stock."""

USUAL = RollSection(
    outside_nm=160 * NM_PER_MM,
    bore_nm=60 * NM_PER_MM,
    width_nm=55 * NM_PER_MM,
    seat_nm=90 * NM_PER_MM,
    root_nm=132 * NM_PER_MM,
)
"""A roll of usual sizes, for the page that speaks of any roll."""

SEAT_WORDS = {
    "neighbour": _("the largest roll beside it in its sets"),
    "spacer": _("the largest spacer of this bore"),
    "guess": _("never recorded: taken as one and a half times the bore"),
}


@dataclass(frozen=True)
class SitesShown:
    """What a page says and draws; no picture where none would be true."""

    sentence: Any
    sites: tuple[LabelSite, ...]
    picture: Drawing | None


def usual_sites(ground: frozenset[str]) -> SitesShown:
    """For any roll, drawn with usual sizes."""
    roll = replace(USUAL, **_ground(ground))
    said = _("On the free ring of a face, between what clamps it and the contour. Nowhere else.")
    return SitesShown(said, label_sites(roll), draw_label_sites(roll))


def piece_sites(facts: SiteFacts, *, ground: frozenset[str], unit: Unit) -> SitesShown:
    """For this piece; without its sizes the zones are named but not drawn."""
    if not facts.is_roll:
        return SitesShown(_sentence_of(sites := _rim_sites(facts)), sites, None)
    section = section_of(facts, ground)
    if section is None:
        general = usual_sites(ground)
        sites = tuple(_without_room(site) for site in general.sites)
        said = _("Bore, outside diameter or face width of this piece is not on record, so the room "
                 "is not known. What holds for every roll:")  # fmt: skip
        return SitesShown(said, sites, None)
    sites = label_sites(section)
    return SitesShown(_sentence_of(sites), sites, draw_label_sites(section, unit=unit))


def section_of(facts: SiteFacts, ground: frozenset[str]) -> RollSection | None:
    """The roll as drawn, or None where a size that it needs is not recorded or impossible."""
    if not (facts.outside_nm and facts.bore_nm and facts.width_nm and facts.seat_nm):
        return None
    outside = facts.outside_nm
    try:
        return RollSection(
            outside_nm=outside,
            bore_nm=facts.bore_nm,
            width_nm=facts.width_nm,
            seat_nm=min(facts.seat_nm, outside),
            root_nm=min(facts.root_nm or outside, outside),
            keyway_depth_nm=facts.keyway_depth_nm or 0,
            **_ground(ground),
        )
    except ValueError:
        return None


def _ground(ground: frozenset[str]) -> dict[str, bool]:
    return {"inboard_ground": "inboard" in ground, "outboard_ground": "outboard" in ground}


def _sentence_of(sites: tuple[LabelSite, ...]) -> Any:
    allowed = [str(site.name) for site in sites if site.allowed]
    if not allowed:
        return _("Nowhere on this piece. Label its peg, tray or bin, and etch its mark.")
    return _("Here: {zones}. Nowhere else.").format(zones="; ".join(allowed))


def _without_room(site: LabelSite) -> LabelSite:
    return LabelSite(site.zone, site.name, site.allowed, site.reason)


def _rim_sites(facts: SiteFacts) -> tuple[LabelSite, ...]:
    """Spacers and the like are clamped on both faces: what is left is the rim."""
    width = facts.width_nm or 0
    wide = width >= LEAST_RIM_NM
    rim = LabelSite(
        "rim", _("rim"), wide,
        _("Free all round. Stick it along the rim, clear of both edges.") if wide
        else _("Too narrow for a label. Label its bin or peg instead."),
        width,
    )  # fmt: skip
    faces = LabelSite(
        "faces", _("both faces"), False,
        _("Clamped over their whole height: a label would stand in the stack."),
    )  # fmt: skip
    bore = LabelSite("bore", _("bore and keyway"), False, _("The shaft and its key run here."))
    return (rim, faces, bore)

"""Shaft centres for a gap, what a feeler sees on an inclined face, moves after a recut."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import cos, radians
from typing import Literal

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding, Level
from tooling.engineering.how import Step
from tooling.engineering.speeds import round_half_up

GEOMETRY = "geometry"
NEAR_VERTICAL_DEGREES = 80.0
"""From this inclination on a gap cannot be set by height: a default, common practice."""

TILT_WARN_PER_100 = 0.03
"""Tilt in mm per 100 mm from which the crew is told: a default, from memory."""


@dataclass(frozen=True)
class Centres:
    """The distance of the two shafts at one pass. Lengths in nm, exact to half a nanometre."""

    centres: Fraction
    step: Step

    @property
    def centres_nm(self) -> int:
        return round_half_up(self.centres)


@dataclass(frozen=True)
class FaceGap:
    """How a gap is set on a face: by feeler, with what it sees, or by spacers."""

    method: Literal["feeler", "spacers"]
    feeler_nm: int | None
    step: Step


@dataclass(frozen=True)
class RecutMoves:
    """How far pass line and shafts move after a recut (down is negative), in whole half-nm.

    ``turns`` are screw turns where the lead is known. ``reset`` says whether guides, side rolls
    and entry follow the pass line and must be set again.
    """

    pass_line_nm: Fraction
    top_shaft_nm: Fraction
    bottom_shaft_nm: Fraction
    centres_nm: Fraction
    top_turns: float | None
    bottom_turns: float | None
    reset: bool
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Tilt:
    """How far the two shafts are out of parallel: positive where the outboard end stands wider.

    ``slope`` is exact, length per length; ``is_beyond`` says that it passes the shop's limit.
    """

    slope: Fraction
    is_beyond: bool
    step: Step

    @property
    def per_100(self) -> float:
        """mm per 100 mm, which is inches per 100 inches."""
        return float(self.slope * 100)

    @property
    def wider(self) -> Literal["inboard", "outboard", ""]:
        """The end that stands wider than the diameters explain, empty when the shafts are level."""
        if self.slope == 0:
            return ""
        return "outboard" if self.slope > 0 else "inboard"


def target_gap_nm(*, strip_nm: int, allowance_nm: int) -> int:
    """Gap to aim at: the *measured* strip plus a signed allowance (coating +, spring −).

    Raises ValueError when nothing is left.
    """
    gap_nm = strip_nm + allowance_nm
    if strip_nm <= 0 or gap_nm <= 0:
        raise ValueError("a strip has a thickness and a gap is open")
    return gap_nm


def shaft_centres(
    *, top_nm: int, bottom_nm: int, gap_nm: int, unmeasured: tuple[str, ...] = ()
) -> Centres:
    """C = (d_top + d_bottom) / 2 + g with both diameters taken at the gap point. Source: geometry.

    Raises ValueError for a diameter that is not positive or a negative gap.
    """
    if top_nm <= 0 or bottom_nm <= 0 or gap_nm < 0:
        raise ValueError("diameters are more than nothing and a gap is not negative")
    centres = Fraction(top_nm + bottom_nm, 2) + gap_nm
    step = Step(
        what="vertical shaft centres",
        formula="C = (d_top + d_bottom) / 2 + g",
        source=GEOMETRY,
        inputs={"top_nm": top_nm, "bottom_nm": bottom_nm, "gap_nm": gap_nm},
        value=round_half_up(centres),
        unmeasured=unmeasured,
        rounding="to 1 nm, halves up",
    )
    return Centres(centres, step)


def check_centres(
    centres: Centres,
    *,
    least_nm: int | None,
    most_nm: int | None,
    station: int | None = None,
    pass_number: int | None = None,
) -> Finding:
    """Whether the mill reaches the centres. Below its stop is refused; an end never measured warns.

    ``unmeasured`` of the answer names the diameters and ends that nobody has measured.
    """
    missing = tuple(
        name
        for name, value in (("vertical_least_nm", least_nm), ("vertical_most_nm", most_nm))
        if value is None
    )
    values = {
        "centres_nm": centres.centres_nm,
        "least_nm": least_nm,
        "most_nm": most_nm,
    }
    below = least_nm is not None and centres.centres < least_nm
    above = most_nm is not None and centres.centres > most_nm
    level: Level = "no"
    if below:
        code = "centres_below_stop"
        text = _("Centres of {centres} are below the mill's stop at {least}.")
    elif above:
        code = "centres_above_most"
        text = _("Centres of {centres} are beyond the mill's most of {most}.")
    elif missing:
        level, code = "warn", "centres_not_measured"
        text = _(
            "Centres of {centres} are needed; how far this station opens and closes was never "
            "measured."
        )
    else:
        level, code = "ok", "centres_reached"
        text = _("Centres of {centres} lie within {least} to {most}.")
    return Finding(
        "vertical_centres", level, code, text, values,
        station=station, pass_number=pass_number, refused=below,
        unmeasured=missing + centres.step.unmeasured, steps=(centres.step,),
    )  # fmt: skip


def face_gap(
    *, gap_nm: int, degrees: float, near_vertical_degrees: float = NEAR_VERTICAL_DEGREES
) -> FaceGap:
    """What a feeler sees on a face inclined to the shaft: g · cos θ; near-vertical: by spacers.

    ``degrees`` is the inclination, 0 to 90. Source: geometry; where "near-vertical" begins is a
    setting. Raises ValueError outside these.
    """
    if gap_nm < 0 or not 0 <= degrees <= 90:
        raise ValueError("a gap is not negative and a face is inclined by 0 to 90 degrees")
    by_spacers = degrees >= near_vertical_degrees
    seen_nm = None if by_spacers else round(gap_nm * cos(radians(degrees)))
    step = Step(
        what="gap seen on the face",
        formula="g · cos θ; from the near-vertical angle on: set by spacers",
        source=GEOMETRY,
        inputs={
            "gap_nm": gap_nm,
            "degrees": degrees,
            "near_vertical_degrees": near_vertical_degrees,
        },
        value=seen_nm,
        rounding="" if by_spacers else "to 1 nm",
    )
    return FaceGap("spacers" if by_spacers else "feeler", seen_nm, step)


def known_difference(
    *, inboard_diameters_nm: tuple[int, int], outboard_diameters_nm: tuple[int, int]
) -> Fraction:
    """How much wider the outboard gap stands with level shafts, by the diameters alone, in nm.

    Each pair is top and bottom at that end: ((d_t + d_b) inboard − (d_t + d_b) outboard) / 2.
    Source: geometry.
    """
    return Fraction(sum(inboard_diameters_nm) - sum(outboard_diameters_nm), 2)


def tilt(
    *,
    inboard_nm: int,
    outboard_nm: int,
    span_nm: int,
    known_difference_nm: int | Fraction = 0,
    warn_per_100: float = TILT_WARN_PER_100,
) -> Tilt:
    """(outboard − inboard − known difference) / span: how far the shafts are out of parallel.

    ``span_nm`` is the distance between the two points where the gap was taken, and
    ``known_difference_nm`` what the diameters alone make of it (see ``known_difference``).
    ``warn_per_100`` is a setting: mm per 100 mm, inches per 100 inches. Raises ValueError for a
    span that is not positive and a gap below nothing.
    """
    if span_nm <= 0 or inboard_nm < 0 or outboard_nm < 0 or warn_per_100 < 0:
        raise ValueError("a gap is not negative and the ends are apart")
    slope = (outboard_nm - inboard_nm - Fraction(known_difference_nm)) / span_nm
    step = Step(
        what="tilt per 100",
        formula="(outboard − inboard − known diameter difference) / span · 100",
        source=GEOMETRY,
        inputs={
            "inboard_nm": inboard_nm,
            "outboard_nm": outboard_nm,
            "known_difference_nm": float(known_difference_nm),
            "span_nm": span_nm,
            "warn_per_100": warn_per_100,
        },
        value=float(slope * 100),
    )
    return Tilt(slope, abs(slope) * 100 > Fraction(str(warn_per_100)), step)


def moves_after_recut(
    *,
    top_removed_nm: int,
    bottom_removed_nm: int,
    bottom_adjustable: bool,
    screw_lead_nm: int | None = None,
) -> RecutMoves:
    """Moves that keep the gap after ``removed`` was cut off the diameters.

    Bottom fixed: the pass line falls c_b/2 and the top comes down (c_t + c_b)/2; guides, side
    rolls and entry must follow. Bottom adjustable: bottom up c_b/2, top down c_t/2, pass line
    kept. Source: geometry. Raises ValueError for a negative amount or a lead that is not positive.
    """
    if top_removed_nm < 0 or bottom_removed_nm < 0:
        raise ValueError("a recut removes, it does not add")
    return moves_between(
        top_removed_nm=top_removed_nm,
        bottom_removed_nm=bottom_removed_nm,
        bottom_adjustable=bottom_adjustable,
        screw_lead_nm=screw_lead_nm,
    )


def moves_between(
    *,
    top_removed_nm: int,
    bottom_removed_nm: int,
    bottom_adjustable: bool,
    screw_lead_nm: int | None = None,
) -> RecutMoves:
    """The same from any two diameters: where other rolls are larger, ``removed`` is negative.

    Raises ValueError for a lead that is not positive.
    """
    if screw_lead_nm is not None and screw_lead_nm <= 0:
        raise ValueError("the lead of a screw is more than nothing")
    half_top, half_bottom = Fraction(top_removed_nm, 2), Fraction(bottom_removed_nm, 2)
    if bottom_adjustable:
        pass_line, top, bottom = Fraction(0), -half_top, half_bottom
    else:
        pass_line, top, bottom = -half_bottom, -(half_top + half_bottom), Fraction(0)
    inputs = {
        "top_removed_nm": top_removed_nm,
        "bottom_removed_nm": bottom_removed_nm,
        "bottom_adjustable": bottom_adjustable,
        "screw_lead_nm": screw_lead_nm,
    }
    told = (
        ("pass line", "fixed: −c_b/2; adjustable: 0", float(pass_line)),
        ("top shaft", "fixed: −(c_t + c_b)/2; adjustable: −c_t/2", float(top)),
        ("bottom shaft", "fixed: 0; adjustable: +c_b/2", float(bottom)),
    )
    steps = tuple(
        Step(what=f"{what} moves by nm", formula=formula, source=GEOMETRY, inputs=inputs, value=v)
        for what, formula, v in told
    )
    return RecutMoves(
        pass_line_nm=pass_line,
        top_shaft_nm=top,
        bottom_shaft_nm=bottom,
        centres_nm=-(half_top + half_bottom),
        top_turns=_turns(top, screw_lead_nm),
        bottom_turns=_turns(bottom, screw_lead_nm),
        reset=pass_line != 0,
        steps=steps,
    )


def _turns(move: Fraction, lead_nm: int | None) -> float | None:
    return None if lead_nm is None else float(move / lead_nm)

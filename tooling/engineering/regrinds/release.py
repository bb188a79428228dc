"""Whether a set may run with the diameters it has, or would have: speeds, centres, least ones."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding
from tooling.engineering.regrinds.facts import facts_of
from tooling.engineering.regrinds.model import drive_pass
from tooling.engineering.regrinds.specs import GapPoint, Line, LinePass, Problem
from tooling.engineering.speeds import SpeedLimits, check_speeds


def check_release(problem: Problem, off_nm: Mapping[str, int] | None = None) -> tuple[Finding, ...]:
    """Every check of every line with so much off the pieces (nothing: as they are now).

    A level ``no`` refuses the release: ``speed_slack``, ``centres_below_stop``,
    ``below_least_diameter``. A ratio that is off warns.
    """
    off = dict(off_nm or {})
    found = [each for line in problem.lines for each in check_line(problem, line, off)]
    return (*found, *check_least(problem, off))


def check_line(problem: Problem, line: Line, off_nm: Mapping[str, int]) -> tuple[Finding, ...]:
    """Speeds and centres of one set on one mill."""
    limits = SpeedLimits(ratio_warn=problem.limits.ratio_tolerance)
    passes = [drive_pass(problem, one, dict(off_nm)) for one in line.passes]
    driven = [one for one in passes if one.top is not None or one.bottom is not None]
    found = list(check_speeds(driven, limits))
    for one in line.passes:
        told = _centres(one, off_nm)
        if told is not None:
            found.append(told)
    return tuple(found)


def check_least(problem: Problem, off_nm: Mapping[str, int]) -> tuple[Finding, ...]:
    """The pieces that would be cut under their least diameter."""
    found = []
    for piece in problem.pieces:
        facts = facts_of(piece, problem.limits, None)
        off = off_nm.get(piece.name, 0)
        if facts.governing is not None and off > 0 and off > facts.room_nm:
            found.append(
                Finding(
                    "least", "no", "below_least_diameter",
                    _("{piece} would be {after}, under its least {least} ({diameter})."),
                    {"piece": piece.name, "least_nm": facts.governing.least_nm,
                     "after_nm": facts.governing.least_nm + facts.room_nm - off,
                     "diameter": facts.governing.diameter},
                )
            )  # fmt: skip
    return tuple(found)


def centres_nm(gap: GapPoint, off_nm: Mapping[str, int]) -> Fraction:
    """C = (d_top + d_bottom) / 2 + g, at the gap point, with so much off the pieces."""
    total = gap.top_nm + gap.bottom_nm - off_nm.get(gap.top, 0) - off_nm.get(gap.bottom, 0)
    return Fraction(total, 2) + gap.gap_nm


def _centres(one: LinePass, off_nm: Mapping[str, int]) -> Finding | None:
    if one.gap is None or one.vertical_least_nm is None:
        return None
    centres = centres_nm(one.gap, off_nm)
    is_low = centres < one.vertical_least_nm
    return Finding(
        "centres", "no" if is_low else "ok",
        "centres_below_stop" if is_low else "centres_kept",
        _("Pass {pass_number}: centres of {centres} are below the mill's least of {least}.")
        if is_low else
        _("Pass {pass_number}: centres {centres}, least {least}."),
        {"pass_number": one.number, "centres_nm": int(centres),
         "least_nm": one.vertical_least_nm},
        station=one.station, pass_number=one.number,
    )  # fmt: skip

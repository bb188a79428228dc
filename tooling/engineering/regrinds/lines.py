"""What a set is like on a mill before and after: speeds, centres, pass line."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from tooling.engineering.gaps import moves_between
from tooling.engineering.regrinds.answer import LineTold, PassTold, ShaftTold
from tooling.engineering.regrinds.model import drive_pass, driver
from tooling.engineering.regrinds.release import centres_nm, check_line
from tooling.engineering.regrinds.specs import Line, LinePass, Problem
from tooling.engineering.speeds import Shaft, equal_speed_nm


def tell_line(problem: Problem, line: Line, off_nm: Mapping[str, int]) -> LineTold:
    """One set on one mill with so much off its pieces (negative: a new roll is larger)."""
    return LineTold(
        name=line.name,
        mill=line.mill,
        is_other=line.is_other,
        passes=tuple(_tell_pass(problem, one, off_nm) for one in line.passes),
        findings=check_line(problem, line, off_nm),
    )


def _tell_pass(problem: Problem, one: LinePass, off_nm: Mapping[str, int]) -> PassTold:
    at_gap = (one.gap.top, one.gap.bottom) if one.gap else (
        driver(problem, one.top), driver(problem, one.bottom))  # fmt: skip
    top, bottom = (off_nm.get(name, 0) if name else 0 for name in at_gap)
    moves = moves_between(
        top_removed_nm=top, bottom_removed_nm=bottom, bottom_adjustable=one.bottom_adjustable,
        screw_lead_nm=one.screw_lead_nm,
    )  # fmt: skip
    return PassTold(
        number=one.number,
        station=one.station,
        top=_tell_shaft(problem, one, "top", off_nm),
        bottom=_tell_shaft(problem, one, "bottom", off_nm),
        centres_before_nm=centres_nm(one.gap, {}) if one.gap else None,
        centres_after_nm=centres_nm(one.gap, off_nm) if one.gap else None,
        pass_line_nm=moves.pass_line_nm,
        top_shaft_nm=moves.top_shaft_nm,
        bottom_shaft_nm=moves.bottom_shaft_nm,
        top_turns=moves.top_turns,
        reset=moves.reset,
    )


def _tell_shaft(
    problem: Problem, one: LinePass, shaft: Shaft, off_nm: Mapping[str, int]
) -> ShaftTold | None:
    name = driver(problem, one.top if shaft == "top" else one.bottom)
    drive = problem.by_name[name].drive if name else None
    if name is None or drive is None:
        return None
    after = drive.now_nm - off_nm.get(name, 0)
    as_drawn = drive_pass(problem, one)

    def speed(diameter_nm: int) -> Fraction:
        return equal_speed_nm(as_drawn, shaft, diameter_nm)

    return ShaftTold(name, drive.now_nm, after, speed(drive.now_nm), speed(after))

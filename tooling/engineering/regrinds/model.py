"""The problem as requirements on what comes off each piece, x in nanometres on diameter.

Every requirement is either about one piece, or of the form ``a · x_j ≥ b · x_i + c`` with positive
a and b, or ``x_i + x_j ≤ c``. A set of amounts that keeps the first two kinds keeps them still when
the smaller of two such sets is taken piece by piece: so there is a least one, which also leaves the
centres largest. Source of that: lattice theory, the fixed point of Knaster and Tarski.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import lcm

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding
from tooling.engineering.regrinds.facts import Facts, facts_of
from tooling.engineering.regrinds.specs import Line, LinePass, Problem, ShaftRun
from tooling.engineering.speeds import (
    DrivePass,
    DriveRoll,
    Shaft,
    counted_steps,
    equal_speed_nm,
    uncertainty_of_step,
)

ONE = Fraction(1)


def reason(code: str, template: object, /, **values: object) -> Finding:
    """A sentence of a plan with its numbers."""
    return Finding("regrind", "ok", code, template, values)


@dataclass(frozen=True)
class Requirement:
    """Something that the answer must keep. ``keep_step`` and the like say it as a reason."""

    kind: str
    told: Finding
    piece: int | None = None
    line: str = ""
    pass_number: int | None = None
    other_pass: int | None = None


@dataclass(frozen=True)
class Arc:
    """``target · x[second] ≥ source · x[first] + least``, all whole numbers."""

    requirement: int
    first: int
    second: int
    source: int
    target: int
    least: int


@dataclass(frozen=True)
class Sum:
    """``x[first] + x[second] ≤ most_nm``."""

    requirement: int
    first: int
    second: int
    most_nm: int


@dataclass(frozen=True)
class Model:
    """The problem in numbers. ``contours`` pair each contour's requirement with its pieces."""

    problem: Problem
    facts: tuple[Facts, ...]
    low_nm: tuple[int, ...]
    requirements: tuple[Requirement, ...]
    arcs: tuple[Arc, ...]
    sums: tuple[Sum, ...]
    contours: tuple[tuple[int, tuple[int, ...]], ...]
    of_piece: tuple[dict[str, int], ...]

    @property
    def step_nm(self) -> int:
        return self.problem.limits.step_nm


def build(problem: Problem) -> Model:
    """All requirements of a problem, in a fixed order."""
    return _Builder(problem).model()


def driver(problem: Problem, run: ShaftRun | None) -> str | None:
    """The piece that runs at strip speed on a driven shaft: the largest drive diameter."""
    if run is None or not run.driven:
        return None
    sizes = {
        name: drive.now_nm
        for name in run.pieces
        if (drive := problem.by_name[name].drive) is not None
    }
    return max(sizes, key=lambda name: sizes[name], default=None)


def drive_pass(problem: Problem, one: LinePass, off_nm: dict[str, int] | None = None) -> DrivePass:
    """A pass as the check of speeds takes it, with so much off the pieces."""

    def roll(run: ShaftRun | None) -> DriveRoll | None:
        name = driver(problem, run)
        drive = problem.by_name[name].drive if name else None
        if name is None or drive is None or run is None:
            return None
        now_nm = drive.now_nm - (off_nm or {}).get(name, 0)
        return DriveRoll(now_nm, drive.drawn_nm, drive.uncertainty_nm, True, run.rpm_factor)

    return DrivePass(one.number, roll(one.top), roll(one.bottom), one.station, one.ratio)


class _Builder:
    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.at = {piece.name: n for n, piece in enumerate(problem.pieces)}
        limits = problem.limits
        self.facts = tuple(
            facts_of(piece, limits, problem.pin(piece.name)) for piece in problem.pieces
        )
        self.low_nm = [each.low_nm for each in self.facts]
        self.requirements: list[Requirement] = []
        self.arcs: list[Arc] = []
        self.sums: list[Sum] = []
        self.contours: list[tuple[int, tuple[int, ...]]] = []
        self.of_piece: list[dict[str, int]] = []

    def model(self) -> Model:
        for n in range(len(self.facts)):
            self.of_piece.append(dict(self._alone(n)))
        for names in self.problem.contours:
            self._contour(tuple(dict.fromkeys(names)))
        for line in self.problem.lines:
            for one in line.passes:
                self._drivers_stay(line, one)
                self._ratio(line, one)
                self._centres(line, one)
            self._steps(line)
        return Model(
            self.problem, self.facts, tuple(self.low_nm), tuple(self.requirements),
            tuple(self.arcs), tuple(self.sums), tuple(self.contours), tuple(self.of_piece),
        )  # fmt: skip

    def _require(self, kind: str, told: Finding, **spot: object) -> int:
        self.requirements.append(Requirement(kind, told, **spot))  # type: ignore[arg-type]
        return len(self.requirements) - 1

    def _alone(self, n: int) -> Iterator[tuple[str, int]]:
        """What a piece asks by itself: kind and requirement."""
        facts, name = self.facts[n], self.facts[n].piece.name
        if not facts.piece.in_plan:
            told = reason("not_in_plan", _("{piece} is not in this plan and stays as it is."),
                          piece=name)  # fmt: skip
            yield "fixed", self._require("fixed", told, piece=n)
            return
        if facts.must:
            yield "must", self._require("must", _must_told(facts), piece=n)
        if not facts.piece.may_replace:
            told = reason("not_replaced", _("{piece} may not be replaced."), piece=name)
            yield "kept", self._require("kept", told, piece=n)
        yield "least", self._require("least", _least_told(facts), piece=n)
        if facts.has_flank and not facts.can_face:
            told = reason("face_too_narrow", _("{piece} cannot be faced by {face}: its face of "
                          "{width} would be too narrow."), piece=name, face_nm=facts.face_nm,
                          width_nm=facts.piece.width_nm)  # fmt: skip
            yield "narrow", self._require("narrow", told, piece=n)
        pin = self.problem.pin(name)
        if facts.told_to_face and not facts.has_flank:
            told = reason("no_worn_face", _("No face of {piece} is known to be worn at {angle}° to "
                          "its shaft or more, so nothing says how much to cut off it."), piece=name,
                          angle=f"{self.problem.limits.face_from_degrees:g}")  # fmt: skip
            yield "unfaced", self._require("unfaced", told, piece=n)
        if pin is not None and pin.kind != "cut":
            templates = {
                "leave": _("You left {piece} as it is."),
                "cut_to": _("You cut {piece} to {diameter}."),
                "face": _("You faced {piece} and left its diameters as they are."),
                "replace": _("You replaced {piece}."),
            }
            told = reason(f"pinned_{pin.kind}", templates[pin.kind], piece=name,
                          diameter_nm=pin.diameter_nm)  # fmt: skip
            yield "pin", self._require("pin", told, piece=n)

    def _contour(self, names: tuple[str, ...]) -> None:
        told = reason("one_contour", _("{pieces} share one contour and are cut alike."),
                      pieces=", ".join(names))  # fmt: skip
        at = self._require("contour", told)
        spots = tuple(self.at[name] for name in names)
        self.contours.append((at, spots))
        for first, second in pairwise(spots):
            self.arcs += [Arc(at, first, second, 1, 1, 0), Arc(at, second, first, 1, 1, 0)]

    def _drivers_stay(self, line: Line, one: LinePass) -> None:
        """The piece that runs at strip speed stays the largest of its shaft."""
        for run in (one.top, one.bottom):
            first = driver(self.problem, run)
            if run is None or first is None:
                continue
            for name in run.pieces:
                drive, lead = self.problem.by_name[name].drive, self.problem.by_name[first].drive
                if name != first and drive is not None and lead is not None:
                    told = reason(
                        "stays_drive",
                        _("{set}, pass {number}: {piece} stays the one that runs at strip speed, "
                          "so {other} may not stand above it."),
                        set=line.name, number=one.number, piece=first, other=name,
                    )  # fmt: skip
                    at = self._require("drives", told, line=line.name, pass_number=one.number)
                    self._at_least(at, first, ONE, name, ONE, Fraction(drive.now_nm - lead.now_nm))

    def _ratio(self, line: Line, one: LinePass) -> None:
        names = driver(self.problem, one.top), driver(self.problem, one.bottom)
        if None in names or one.top is None or one.bottom is None:
            return
        top, bottom = (self.problem.by_name[name].drive for name in names)  # type: ignore[index]
        assert top is not None
        assert bottom is not None
        turns = one.ratio * one.bottom.rpm_factor / one.top.rpm_factor
        off = top.now_nm - turns * bottom.now_nm
        tolerance = self.problem.limits.ratio_tolerance
        is_outside = abs(off) > tolerance * turns * bottom.now_nm
        told = reason(
            "keep_ratio_now" if is_outside else "keep_ratio",
            _("{set} on {mill}, pass {number}: top and bottom are outside the ratio today and may "
              "not get worse.") if is_outside else
            _("{set} on {mill}, pass {number}: top and bottom keep the ratio {ratio}."),
            set=line.name, mill=line.mill, number=one.number, ratio=round(float(turns), 6),
        )  # fmt: skip
        at = self._require("ratio", told, line=line.name, pass_number=one.number)
        high, low = ((turns, turns) if is_outside
                     else ((1 + tolerance) * turns, (1 - tolerance) * turns))  # fmt: skip
        slack = abs(off) if is_outside else Fraction(0)
        self._at_least(at, names[1], high, names[0], ONE, top.now_nm - high * bottom.now_nm - slack)
        self._at_least(at, names[0], ONE, names[1], low, low * bottom.now_nm - top.now_nm - slack)

    def _centres(self, line: Line, one: LinePass) -> None:
        gap = one.gap
        if gap is None:
            return
        now = gap.top_nm + gap.bottom_nm + 2 * gap.gap_nm
        if one.vertical_least_nm is not None:
            told = reason("keep_centres", _("{set} on {mill}, pass {number}: the centres stay at "
                          "least {least}."), set=line.name, mill=line.mill, number=one.number,
                          least_nm=one.vertical_least_nm)  # fmt: skip
            at = self._require("centres", told, line=line.name, pass_number=one.number)
            most = max(0, now - 2 * one.vertical_least_nm)
            self.sums.append(Sum(at, self.at[gap.top], self.at[gap.bottom], most))
        if one.vertical_most_nm is not None:
            self._room_above(gap.top, gap.bottom, 2 * one.vertical_most_nm - now)

    def _room_above(self, top: str, bottom: str, room: int) -> None:
        """New rolls share what the shafts can still open, where drawn ones would not fit."""
        spots = (self.at[top], self.at[bottom])
        if -sum(self.low_nm[n] for n in spots) > room:
            for n in spots:
                self.low_nm[n] = max(self.low_nm[n], -(max(0, room) // 2))

    def _steps(self, line: Line) -> None:
        passes = [drive_pass(self.problem, one) for one in line.passes]
        runs = {id(drive): one for drive, one in zip(passes, line.passes, strict=True)}
        for before, from_shaft, after, to_shaft in counted_steps(passes):
            ends = (runs[id(before)], from_shaft), (runs[id(after)], to_shaft)
            names = [driver(self.problem, one.top if shaft == "top" else one.bottom)
                     for one, shaft in ends]  # fmt: skip
            self._step(line, before, from_shaft, after, to_shaft, names)

    def _step(
        self, line: Line, before: DrivePass, from_shaft: Shaft, after: DrivePass, to_shaft: Shaft,
        names: list[str | None],
    ) -> None:  # fmt: skip
        old, new = before.driven(from_shaft), after.driven(to_shaft)
        assert old is not None
        assert new is not None
        start = equal_speed_nm(before, from_shaft, old.diameter_nm)
        end = equal_speed_nm(after, to_shaft, new.diameter_nm)
        least = Fraction(-uncertainty_of_step(before, from_shaft, old, after, to_shaft, new))
        code = "keep_step"
        if old.drawn_nm is not None and new.drawn_nm is not None:
            drawn = equal_speed_nm(after, to_shaft, new.drawn_nm) - equal_speed_nm(
                before, from_shaft, old.drawn_nm
            )
            if drawn < 0:
                least += min(drawn, end - start)
                code = "keep_drawn_drop"
        if (line.is_other or self.problem.limits.slack_now == "kept") and end - start < least:
            least, code = end - start, "keep_step_now"
        told = reason(code, STEP_TOLD[code], set=line.name, mill=line.mill, before=before.number,
                      after=after.number, shaft=to_shaft)  # fmt: skip
        at = self._require("step", told, line=line.name, pass_number=before.number,
                           other_pass=after.number)  # fmt: skip
        self._at_least(
            at, names[1], equal_speed_nm(after, to_shaft, 1), names[0],
            equal_speed_nm(before, from_shaft, 1), least - end + start,
        )  # fmt: skip

    def _at_least(
        self, at: int, first: str | None, source: Fraction, second: str | None, target: Fraction,
        least: Fraction,
    ) -> None:  # fmt: skip
        """target · x[second] ≥ source · x[first] + least, brought to whole numbers."""
        assert first is not None
        assert second is not None
        by = lcm(source.denominator, target.denominator, least.denominator)
        self.arcs.append(
            Arc(at, self.at[first], self.at[second], int(source * by), int(target * by),
                int(least * by))
        )  # fmt: skip


STEP_TOLD = {
    "keep_step": _("{set} on {mill}: the speed may not drop from pass {before} to {after}."),
    "keep_drawn_drop": _("{set} on {mill}: the drawn drop from pass {before} to {after} may not "
                         "get deeper."),
    "keep_step_now": _("{set} on {mill}: pass {before} to {after} is slack today and may not get "
                       "worse."),
}  # fmt: skip


def _must_told(facts: Facts) -> Finding:
    name = facts.piece.name
    if facts.must == "named":
        return reason("must_named", _("You named {piece} to be cut."), piece=name)
    points = [p for p in facts.piece.points if (p.is_beyond if facts.must == "worn" else p.crosses)]
    point = max(points, key=lambda each: each.lost_nm)
    if facts.must == "worn":
        return reason("must_worn", _("{piece} is worn {depth} at {point}, beyond its limit of "
                      "{limit}."), piece=name, depth_nm=point.lost_nm, point=point.name,
                      limit_nm=point.limit_nm)  # fmt: skip
    return reason("must_forecast", _("{piece} is forecast to pass its limit at {point} before the "
                  "next window."), piece=name, point=point.name)  # fmt: skip


LEAST_WHY = {
    "drawing": _("the drawing's minimum"),
    "wall": _("the wall over the keyway"),
    "case": _("the hardened case"),
}


def _least_told(facts: Facts) -> Finding:
    name, governs = facts.piece.name, facts.governing
    if governs is None:
        return reason("least_unknown", _("{piece} has no diameter or limit on record that says how "
                      "far it may be cut."), piece=name)  # fmt: skip
    return reason(
        "least_diameter", _("{piece} may not be cut under {least} ({diameter}, for {why})."),
        piece=name, least_nm=governs.least_nm, diameter=governs.diameter,
        why=str(LEAST_WHY[governs.why]),
    )  # fmt: skip

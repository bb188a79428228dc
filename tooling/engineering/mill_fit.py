"""Does this set fit this mill? A list of findings, each ok, warn or no, with its numbers.

Plain impossibilities are refused (a bore smaller than the shaft, centres below the mill's stop, a
negative length); where practice varies the list warns and a person may go on with a reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding, Level, steps_of, worst
from tooling.engineering.how import Step
from tooling.engineering.mill_fit_line import check_line
from tooling.engineering.mill_fit_shafts import check_shaft
from tooling.engineering.mill_fit_stations import check_station
from tooling.engineering.mill_specs import Fitting, PassSpec, StationSpec


@dataclass(frozen=True)
class Placed:
    """A pass at the station it is mounted in."""

    set_pass: PassSpec
    station: StationSpec


@dataclass(frozen=True)
class FitAnswer:
    """The whole list in the order of the mill, its gravest level and every step behind it."""

    findings: tuple[Finding, ...]

    @property
    def level(self) -> Level:
        return worst(self.findings)

    @property
    def refused(self) -> bool:
        """Whether something is plainly impossible."""
        return any(finding.refused for finding in self.findings)

    @property
    def unmeasured(self) -> tuple[str, ...]:
        """Everything nobody has measured that the list depends on, each once, in order."""
        return tuple(dict.fromkeys(name for f in self.findings for name in f.unmeasured))

    @property
    def how(self) -> tuple[Step, ...]:
        return steps_of(self.findings)


def fit_set_to_mill(fitting: Fitting) -> FitAnswer:
    """Every check of a set on a mill: stations, set as a whole, each pass, each shaft, the line."""
    placed, stations = place_passes(fitting)
    findings = [stations, *_check_set(fitting)]
    for each in placed:
        findings += check_station(fitting, each.set_pass, each.station)
        for which in ("top", "bottom"):
            findings += check_shaft(fitting, each.set_pass, each.station, which)
    findings += check_line(fitting, [(each.set_pass, each.station) for each in placed])
    return FitAnswer(tuple(findings))


def place_passes(fitting: Fitting) -> tuple[list[Placed], Finding]:
    """Passes to stations: as charted, else one after another from the first station.

    A pass without a station left is not placed, and the finding says how many are lacking.
    """
    passes, stations = fitting.tool_set.passes, fitting.mill.stations
    charted = [each for each in passes if each.station is not None]
    if not charted:
        placed = [Placed(p, s) for p, s in zip(passes, stations, strict=False)]
        return placed, _enough_stations(len(passes), len(stations))
    placed = []
    for each in passes:
        station = fitting.mill.station(each.station) if each.station is not None else None
        if station is not None:
            placed.append(Placed(each, station))
    order = [each.station.number for each in placed]
    return placed, _charted_stations(passes, order, len(placed))


def _enough_stations(needed: int, there: int) -> Finding:
    enough = needed <= there
    return Finding(
        "stations", "ok" if enough else "no", "stations_enough" if enough else "stations_lacking",
        _("{needed} passes, {there} stations.") if enough else
        _("The set has {needed} passes and the mill only {there} stations."),
        {"needed": needed, "there": there},
    )  # fmt: skip


def _charted_stations(passes: Sequence[PassSpec], order: list[int], placed: int) -> Finding:
    values = {"needed": len(passes), "there": placed}
    if placed < len(passes):
        return Finding(
            "stations", "no", "passes_without_station",
            _("Only {there} of {needed} passes are charted to a station of this mill."), values,
        )  # fmt: skip
    if any(after <= before for before, after in pairwise(order)):
        return Finding(
            "stations", "no", "stations_out_of_order",
            _("The chart puts passes on stations out of order or twice on one station."), values,
        )  # fmt: skip
    return Finding(
        "stations", "ok", "stations_charted", _("All {needed} passes have their station."), values
    )


def _check_set(fitting: Fitting) -> Iterator[Finding]:
    yield _check_hand(fitting)
    if fitting.strip is not None:
        yield _check_grade(fitting.tool_set.grades, fitting.strip.grade)
        yield _check_thickness(fitting)


def _check_hand(fitting: Fitting) -> Finding:
    values = {"set_hand": fitting.tool_set.hand, "mill_hand": fitting.mill.hand}
    if not all(values.values()):
        unmeasured = tuple(name for name, value in values.items() if not value)
        return Finding(
            "hand", "ok", "hand_free", _("The hand is not bound: set or mill names none."),
            values, unmeasured=unmeasured,
        )  # fmt: skip
    if fitting.tool_set.hand == fitting.mill.hand:
        return Finding("hand", "ok", "hand_same", _("Set and mill have the same hand."), values)
    return Finding(
        "hand", "warn", "hand_turned",
        _("The set is for the {set_hand} hand and the mill is {mill_hand}: its chart is turned "
          "and must be proved."),
        values,
    )  # fmt: skip


def _check_grade(grades: Sequence[str], grade: str) -> Finding:
    values = {"grade": grade, "grades": ", ".join(grades)}
    if grade and grade.casefold() in {each.casefold().strip() for each in grades}:
        return Finding("strip_grade", "ok", "grade_approved", _("{grade} is approved."), values)
    if not grade or not grades:
        return Finding(
            "strip_grade", "warn", "grade_unknown",
            _("The strip's grade or the set's approved grades were never entered."), values,
            unmeasured=("grade",) if not grade else ("grades",),
        )  # fmt: skip
    return Finding(
        "strip_grade", "warn", "grade_not_approved",
        _("{grade} is not among the set's approved grades ({grades}). Springback and gaps may "
          "differ; ask the tooling engineer."),
        values,
    )  # fmt: skip


def _check_thickness(fitting: Fitting) -> Finding:
    strip, tool_set = fitting.strip, fitting.tool_set
    thickness_nm = strip.thickness_nm if strip else 0
    least_nm, most_nm = tool_set.thickness_least_nm, tool_set.thickness_most_nm
    values = {"thickness_nm": thickness_nm, "least_nm": least_nm, "most_nm": most_nm}
    if most_nm is not None and thickness_nm > most_nm:
        return Finding(
            "strip_thickness", "no", "strip_too_thick",
            _("Strip of {thickness} is thicker than the {most} the rolls are cut for."), values,
        )  # fmt: skip
    if least_nm is not None and thickness_nm < least_nm:
        return Finding(
            "strip_thickness", "warn", "strip_thin",
            _("Strip of {thickness} is thinner than {least}: it lies loose in the bends and comes "
              "out with other angles."),
            values,
        )  # fmt: skip
    missing = tuple(
        name
        for name, value in (("thickness_least_nm", least_nm), ("thickness_most_nm", most_nm))
        if value is None
    )
    if missing:
        return Finding(
            "strip_thickness", "warn", "thickness_range_unknown",
            _("The set's thickness range was never entered."), values, unmeasured=missing,
        )  # fmt: skip
    return Finding(
        "strip_thickness", "ok", "thickness_in_range",
        _("Strip of {thickness} lies within {least} to {most}."), values,
    )  # fmt: skip

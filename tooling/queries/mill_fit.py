"""Which mills a set fits, and the whole list of checks behind the answer for one of them.

The pieces are those allotted to a copy, as they measure now; a position without one is taken as
drawn. The strip is the thickest that the set is cut for. The diameters at the gap point are those
kept with the positions, less what was cut off since; on a shaft that keeps none it is the drive
diameter, where the roll runs at strip speed. A near-vertical face is gapped by spacers.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding
from tooling.engineering.how import Step
from tooling.engineering.lengths import Unit, say_length
from tooling.engineering.mill_fit import FitAnswer, fit_set_to_mill
from tooling.engineering.mill_specs import (
    FitLimits,
    Fitting,
    PassSpec,
    RollSpec,
)
from tooling.errors import Unknown
from tooling.models import (
    Allotment,
    ChartPass,
    DrawingRevision,
    Mill,
    Piece,
    SetCopy,
    SetPass,
    SetPosition,
    Shaft,
    ToolSet,
)
from tooling.queries.fit_specs import (
    KINDS,
    mill_spec,
    roll_spec,
    set_spec,
    sleeve_specs,
    stations_of_mills,
    strip_spec,
)
from tooling.queries.settings import setting_values

LEVELS = ("no", "warn", "ok")


@dataclass(frozen=True)
class FitLine:
    """One check in the reader's words and unit."""

    level: str
    code: str
    said: str
    station: int | None
    pass_number: int | None
    unmeasured: tuple[str, ...]
    is_refused: bool
    how: tuple[Step, ...]


@dataclass(frozen=True)
class MillFit:
    """How a set fits a mill, in numbers."""

    mill_number: str
    mill_name: str
    level: str
    impossible: int
    warnings: int
    unmeasured: int
    worst: str


@dataclass(frozen=True)
class FitPage:
    """Every check of a set on a mill, the gravest first."""

    set_number: str
    set_name: str
    mill_number: str
    mill_name: str
    copy: str
    strip_nm: int | None
    unit: str
    level: str
    lines: tuple[FitLine, ...]

    def of(self, level: str) -> tuple[FitLine, ...]:
        return tuple(line for line in self.lines if line.level == level)

    @property
    def refused(self) -> tuple[FitLine, ...]:
        return self.of("no")

    @property
    def warned(self) -> tuple[FitLine, ...]:
        return self.of("warn")

    @property
    def fine(self) -> tuple[FitLine, ...]:
        return self.of("ok")


def mills_for_set(number: str, *, unit: Unit = "mm") -> tuple[MillFit, ...]:
    """Each mill in use with how the set fits it. Eleven queries, ten without a copy."""
    asked = _Asked(_set(number), Mill.objects.filter(is_active=True))
    return tuple(_summary(mill, asked.answer(mill), unit) for mill in asked.mills)


def fit_page(number: str, mill_number: str, *, unit: Unit = "mm") -> FitPage:
    """The whole list for one mill. Raises Unknown ``unknown_set``, ``unknown_mill``."""
    tool_set = _set(number)
    asked = _Asked(tool_set, Mill.objects.filter(number=mill_number))
    if not asked.mills:
        raise Unknown("unknown_mill", _("There is no mill {number}."), number=mill_number)
    mill = asked.mills[0]
    answer = asked.answer(mill)
    lines = sorted(
        (_line(each, unit) for each in answer.findings), key=lambda each: LEVELS.index(each.level)
    )
    return FitPage(
        set_number=tool_set.number,
        set_name=tool_set.name,
        mill_number=mill.number,
        mill_name=mill.name,
        copy=asked.copy.letter if asked.copy else "",
        strip_nm=asked.strip.thickness_nm if asked.strip else None,
        unit=unit,
        level=answer.level,
        lines=tuple(lines),
    )


def _set(number: str) -> ToolSet:
    found = ToolSet.objects.filter(number=number).first()
    if found is None:
        raise Unknown("unknown_set", _("There is no tool set {number}."), number=number)
    return found


class _Asked:
    """What is read once, whatever the number of mills."""

    def __init__(self, tool_set: ToolSet, mills: Any) -> None:
        self.tool_set = tool_set
        self.mills: list[Mill] = list(mills.order_by("number"))
        self.copy = SetCopy.objects.filter(tool_set=tool_set).order_by("letter").first()
        self.rolls = _rolls(tool_set, self.copy)
        self.stations = stations_of_mills(self.mills)
        self.charted = _charted(tool_set)
        self.sleeves = sleeve_specs()
        given = setting_values(["ratio_mismatch_warn", "gap_near_vertical"])
        percent, steep = given["ratio_mismatch_warn"], given["gap_near_vertical"]
        self.limits = FitLimits(ratio_warn=Fraction(str(percent)) / 100)
        self.by_spacers = _by_spacers(tool_set, steep)
        self.strip = strip_spec(tool_set)

    def answer(self, mill: Mill) -> FitAnswer:
        spec = mill_spec(mill, self.stations.get(mill.pk, ()))
        charted = self.charted.get(mill.pk, {})
        passes = tuple(
            PassSpec(
                number=number,
                rolls=tuple(rolls),
                station=charted.get(number),
                has_gap=number not in self.by_spacers,
            )
            for number, rolls in sorted(self.rolls.items())
        )
        return fit_set_to_mill(
            Fitting(
                mill=spec,
                tool_set=set_spec(self.tool_set, passes),
                strip=self.strip,
                sleeves=self.sleeves,
                limits=self.limits,
            )
        )


def _by_spacers(tool_set: ToolSet, degrees: float) -> frozenset[int]:
    """Numbers of the passes whose gap point lies on a face too steep for a feeler. One query."""
    rows = SetPass.objects.filter(tool_set=tool_set, gap_degrees__gte=degrees)
    return frozenset(rows.values_list("number", flat=True))


def _rolls(tool_set: ToolSet, copy: SetCopy | None) -> dict[int, list[RollSpec]]:
    """Pass number → what stands at its positions, as measured where it was measured."""
    pieces = _pieces(copy)
    rows = (
        SetPosition.objects.filter(
            set_pass__tool_set=tool_set, variant=None, drawing__kind__in=KINDS
        )
        .exclude(shaft=Shaft.LINE)
        .select_related("set_pass", "drawing")
    )
    positions = list(rows.order_by("set_pass__number", "shaft", "order"))
    wanted = {row.drawing_id for row in positions}
    revisions = {
        row.drawing_id: row
        for row in DrawingRevision.objects.filter(drawing__in=wanted, is_current=True)
    }
    kept = {(row.set_pass_id, row.shaft) for row in positions if row.gap_diameter_nm is not None}
    found: dict[int, list[RollSpec]] = defaultdict(list)
    for row in positions:
        if row.drawing_id in revisions:
            has_gap = (row.set_pass_id, row.shaft) in kept
            spec = roll_spec(
                row, revisions[row.drawing_id], pieces.get(row.pk), gap_is_kept=has_gap
            )
            found[row.set_pass.number].append(spec)
    return found


def _pieces(copy: SetCopy | None) -> dict[int, Piece]:
    if copy is None:
        return {}
    rows = Allotment.objects.filter(copy=copy).select_related("piece__revision")
    return {row.position_id: row.piece for row in rows}


def _charted(tool_set: ToolSet) -> dict[int, dict[int, int]]:
    """Mill → pass number → station number, as the current charts say. One query."""
    rows = ChartPass.objects.filter(chart__tool_set=tool_set, chart__is_current=True)
    found: dict[int, dict[int, int]] = defaultdict(dict)
    for mill, number, station in rows.values_list(
        "chart__mill_id", "set_pass__number", "station__number"
    ):
        found[mill][number] = station
    return found


def _summary(mill: Mill, answer: FitAnswer, unit: Unit) -> MillFit:
    levels = [finding.level for finding in answer.findings]
    gravest = next((f for f in answer.findings if f.level == answer.level), None)
    return MillFit(
        mill_number=mill.number,
        mill_name=mill.name,
        level=answer.level,
        impossible=levels.count("no"),
        warnings=levels.count("warn"),
        unmeasured=len(answer.unmeasured),
        worst=_said(gravest, unit) if gravest and answer.level != "ok" else "",
    )


def _line(finding: Finding, unit: Unit) -> FitLine:
    return FitLine(
        level=finding.level,
        code=finding.code,
        said=_said(finding, unit),
        station=finding.station,
        pass_number=finding.pass_number,
        unmeasured=finding.unmeasured,
        is_refused=finding.refused,
        how=finding.steps,
    )


def _said(finding: Finding, unit: Unit) -> str:
    return finding.text(lambda nm: say_length(nm, unit))

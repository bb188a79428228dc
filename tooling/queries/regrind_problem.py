"""A regrind plan's problem as the records have it now, for the engine.

Wear is what the forecasts say of each gauge point since its last cut; of a drawing without gauge
points, what a diameter lost since its last work or since it was made. Segments of a split roll that
stand side by side share one contour.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import cos, radians

from tooling.engineering.regrinds import (
    Diameter,
    GapPoint,
    Limits,
    Line,
    LinePass,
    Piece,
    Pin,
    Prices,
    Problem,
    ShaftRun,
    WearPoint,
)
from tooling.models import (
    Allotment,
    ChartPass,
    DrawingKind,
    MillShaft,
    SetCopy,
    SetPosition,
)
from tooling.models import Piece as PieceRow
from tooling.queries.gap_diameters import Size, gap_diameter
from tooling.queries.pieces import size_of
from tooling.queries.regrind_asks import Asks
from tooling.queries.regrind_facts import Facts
from tooling.queries.regrind_points import keyway_of, wear_point
from tooling.queries.strip_left import with_job

NAMES = {"drive": "drive_diameter", "root": "root_diameter", "outside": "outside_diameter"}
SHAFTS = ("top", "bottom")


@dataclass(frozen=True)
class Asked:
    """A problem with its key: another key, and what was worked out from it is stale."""

    problem: Problem
    key: str
    unit: str
    on_order: tuple[str, ...]


def problem_of(facts: Facts, copy_ids: Collection[int], asks: Asks) -> Asked:
    """The problem of these copies. No query."""
    return _Build(facts, tuple(copy_ids), asks).asked()


def copy_name(copy: SetCopy) -> str:
    """Such as 1472-A."""
    return f"{copy.tool_set.number}-{copy.letter}"


class _Build:
    def __init__(self, facts: Facts, copy_ids: tuple[int, ...], asks: Asks) -> None:
        self.facts, self.copy_ids, self.asks = facts, copy_ids, asks
        self.others = facts.sharing(copy_ids)
        first = facts.copies[copy_ids[0]]
        self.unit, self.set_id = first.tool_set.unit, first.tool_set_id
        self.mine = {row.piece_id for pk in copy_ids for row in facts.allotted.get(pk, ())}

    def asked(self) -> Asked:
        problem = Problem(
            pieces=tuple(self._pieces()),
            lines=tuple(self._lines()),
            contours=tuple(self._contours()),
            pins=tuple(self._pins()),
            limits=self._limits(),
            prices=self._prices(),
        )
        digest = hashlib.blake2s(repr(problem).encode(), digest_size=16).hexdigest()
        rows = {row.piece_id: row.piece for pk in self.copy_ids
                for row in self.facts.allotted.get(pk, ())}  # fmt: skip
        away = sorted(row.code for pk, row in rows.items() if pk in self.facts.on_order)
        return Asked(problem, digest, self.unit, tuple(away))

    def _shop(self, name: str) -> float:
        return self.facts.given.value(name, unit=self.unit, set_id=self.set_id)

    def _own(self, name: str, setting: str) -> float:
        return self.asks.own.get(name, self._shop(setting))

    def _limits(self) -> Limits:
        percent = self._own("ratio_percent", "ratio_mismatch_warn")
        return Limits(
            allowance_nm=int(self._own("allowance_nm", "clean_up_allowance")),
            step_nm=int(self._own("step_nm", "grinder_step")),
            face_from_degrees=float(self._own("face_from_degrees", "flank_by_face")),
            usual_stock_nm=int(self._own("usual_stock_nm", "usual_stock_per_cut")),
            least_wall_nm=int(self._own("least_wall_nm", "wall_at_key_corner_warn")),
            ratio_tolerance=Fraction(str(percent)) / 100,
            slack_now="kept" if self.asks.keeps_slack else "mend",
        )

    def _prices(self) -> Prices | None:
        given = self.asks.prices
        if not given:
            return None
        return Prices(
            setup_cents=given.get("setup_cents", 0),
            cents_per_mm=Fraction(given.get("cents_per_mm", 0)),
            face_cents=given.get("face_cents", 0),
            new_cents=given.get("new_cents", 0),
        )

    def _pieces(self) -> Iterator[Piece]:
        users: dict[int, list[SetCopy]] = {}
        rows: dict[int, PieceRow] = {}
        split: set[int] = set()
        wanted = [*self.copy_ids, *(self.others if self.asks.hold_others else ())]
        for pk in sorted({*self.copy_ids, *self.others}):  # whatever else was read besides
            for row in self.facts.allotted.get(pk, ()):
                users.setdefault(row.piece_id, []).append(self.facts.copies[pk])
                if pk in wanted:
                    rows.setdefault(row.piece_id, row.piece)
                    if row.position.is_split:
                        split.add(row.piece_id)
        for each in sorted(rows.values(), key=lambda piece: piece.code):
            elsewhere = {copy_name(c) for c in users[each.pk] if c.pk not in self.copy_ids}
            yield self._piece(each, tuple(sorted(elsewhere)), users[each.pk], each.pk in split)

    def _piece(
        self, row: PieceRow, elsewhere: tuple[str, ...], users: Sequence[SetCopy], is_split: bool
    ) -> Piece:
        drawn = self.facts.drawn.get(row.drawing_id, row.revision)
        diameters = tuple(self._diameters(row))
        plated = drawn.plated_thickness_nm if row.over_chrome else 0
        room = diameters[0].now_nm - (diameters[0].least_nm or 0) if diameters else 0
        cost = drawn.new_cost_cents
        life = Fraction(0)
        if self.asks.counts_life and cost and diameters and diameters[0].least_nm and room > 0:
            whole = diameters[0].top_nm - diameters[0].least_nm
            life = Fraction(cost * 1_000_000, whole) if whole > 0 else Fraction(0)
        return Piece(
            name=row.code,
            diameters=diameters,
            points=tuple(self._points(row, users)),
            keyway=keyway_of(row),
            worn_nm=self._drive_worn_nm(row),
            case_depth_nm=drawn.case_depth_nm,
            plated_nm=plated or 0,
            width_nm=size_of(row, "face_width"),
            faced_to_nm=drawn.least_face_width_nm,
            guide_offset_nm=size_of(row, "guide_offset"),
            is_segment=is_split,
            may_replace=not self.asks.no_new,
            in_plan=row.pk in self.mine and row.pk not in self.facts.on_order,
            new_cents=cost,
            life_cents_per_mm=life,
            other_sets=elsewhere,
        )

    def _diameters(self, row: PieceRow) -> Iterator[Diameter]:
        """The drive is kept as it runs, and what comes off counts from there. What wear took at a
        throat is part of that amount, so a worn throat does not count it a second time: it stands
        as much above the drive as the last work left it."""
        drawn = self.facts.drawn.get(row.drawing_id, row.revision)
        for name, dimension in NAMES.items():
            now = size_of(row, dimension)
            if not now or now <= 0:
                continue
            if name != "drive":
                now += self._worn_nm(row, dimension) - self._drive_worn_nm(row)
            uncertainty = None
            if getattr(row, f"now_{dimension}_nm") is not None:
                uncertainty = self.facts.uncertainty.get(row.pk, 0) if name == "drive" else 0
            yield Diameter(
                name, now, getattr(drawn, f"{dimension}_nm") or None,
                getattr(drawn, f"least_{dimension}_nm") or None, uncertainty,
            )  # fmt: skip

    def _points(self, row: PieceRow, users: Sequence[SetCopy]) -> Iterator[WearPoint]:
        points = self.facts.points.get(row.drawing_id, ())
        states = {(s.point_id, s.end): s for s in self.facts.states.get(row.pk, ())}
        days = self._own("horizon_days", "regrind_horizon")
        run: dict[str, float] = {}
        for copy in users:
            for kind, length_nm in self.facts.planned(copy.tool_set_id, days=days):
                run = with_job(run, kind, length_nm)
        for point in points:
            ends = [end for pk, end in states if pk == point.pk] or [""]
            for end in ends:
                state = states.get((point.pk, end))
                name = f"{point.name}, {end}" if end else point.name
                yield wear_point(point, state, name, run, self.facts.prior)
        if not points:
            yield from self._by_size(row)

    def _by_size(self, row: PieceRow) -> Iterator[WearPoint]:
        """Without gauge points: what the throat, or the drive, lost since its last work."""
        for dimension in ("root_diameter", "drive_diameter"):
            lost = self._lost_nm(row, dimension)
            if lost is not None:
                yield WearPoint(dimension.replace("_", " "), lost // 2)
                return

    def _lost_nm(self, row: PieceRow, dimension: str) -> int | None:
        """By how much it was measured smaller than its last work left it, or than it was made."""
        now = getattr(row, f"now_{dimension}_nm")
        base = self.facts.wear_base.get(row.pk, {}).get(dimension)
        base = base or getattr(row, f"made_{dimension}_nm")
        return None if now is None or base is None else max(0, base - now)

    def _drive_worn_nm(self, row: PieceRow) -> int:
        """What wear took off the drive diameter, where its own depth is planned from: by its gauge
        point, or without any gauge point by its size."""
        if self.facts.points.get(row.drawing_id):
            return self._worn_nm(row, "drive_diameter")
        if self._lost_nm(row, "root_diameter") is None:
            return self._lost_nm(row, "drive_diameter") or 0
        return 0

    def _worn_nm(self, row: PieceRow, dimension: str) -> int:
        """What wear took off this diameter since its last work, as its gauge point was read; the
        least of two ends."""
        points = {
            point.pk: cos(radians(point.face_angle_deg))
            for point in self.facts.points.get(row.drawing_id, ())
            if point.dimension == dimension and point.is_diameter
        }
        lost = [
            2 * state.depth_nm / points[state.point_id]
            for state in self.facts.states.get(row.pk, ())
            if state.point_id in points and state.readings > 0 and state.depth_nm is not None
        ]
        return max(0, round(min(lost, default=0)))

    def _contours(self) -> Iterator[tuple[str, ...]]:
        seen: set[tuple[str, ...]] = set()
        for pk in self.copy_ids:
            shafts: dict[tuple[int, str], list[Allotment]] = {}
            for row in self.facts.allotted.get(pk, ()):
                if row.position.is_split and row.position.shaft in SHAFTS:
                    key = (row.position.set_pass_id, row.position.shaft)
                    shafts.setdefault(key, []).append(row)
            for rows in shafts.values():
                for run in _runs(rows):
                    names = tuple(dict.fromkeys(row.piece.code for row in run))
                    if len(names) > 1 and names not in seen:
                        seen.add(names)
                        yield names

    def _pins(self) -> Iterator[Pin]:
        rows = {row.piece.code: row.piece for pk in self.copy_ids
                for row in self.facts.allotted.get(pk, ())}  # fmt: skip
        for code, pin in sorted(self.asks.pins.items()):
            if code in rows:
                first = next(self._diameters(rows[code]), None)
                yield Pin(code, pin.kind, pin.nm, first.name if first else "drive")

    def _lines(self) -> Iterator[Line]:
        others = self.others if self.asks.hold_others else []
        for pk in (*self.copy_ids, *others):
            copy, is_other = self.facts.copies[pk], pk in others
            for chart in self.facts.charts.get(copy.tool_set_id, ()):
                passes = tuple(
                    made for row in self.facts.charted.get(chart.pk, ())
                    if (made := self._pass(copy, row)) is not None
                )  # fmt: skip
                if passes:
                    yield Line(copy_name(copy), chart.mill.name, passes, is_other)
            if not self.facts.charts.get(copy.tool_set_id):
                yield from self._uncharted(copy, is_other)

    def _uncharted(self, copy: SetCopy, is_other: bool) -> Iterator[Line]:
        """A set without a chart: its passes one after the other, geared alike."""
        numbers = sorted({row.position.set_pass.number
                          for row in self.facts.allotted.get(copy.pk, ())})  # fmt: skip
        passes = []
        for number in numbers:
            runs = self._runs_of(copy, number, {})
            if runs:
                passes.append(LinePass(number, top=runs.get("top"), bottom=runs.get("bottom")))
        if passes:
            yield Line(copy_name(copy), "–", tuple(passes), is_other)

    def _runs_of(
        self, copy: SetCopy, number: int, shafts: Mapping[str, MillShaft]
    ) -> dict[str, ShaftRun]:
        found = {}
        for which in SHAFTS:
            names = tuple(row.piece.code for row in self._on(copy, number, which))
            shaft = shafts.get(which)
            if names:
                group = shaft.drive_group if shaft is not None else None
                found[which] = ShaftRun(
                    names,
                    driven=shaft is None or shaft.drive != "idle",
                    rpm_factor=Fraction(str(group.rpm_factor)) if group else Fraction(1),
                )
        return found

    def _on(self, copy: SetCopy, number: int, which: str) -> list[Allotment]:
        return [row for row in self.facts.allotted.get(copy.pk, ())
                if row.position.set_pass.number == number and row.position.shaft == which
                and row.piece.drawing.kind == DrawingKind.ROLL]  # fmt: skip

    def _pass(self, copy: SetCopy, row: ChartPass) -> LinePass | None:
        station, number = row.station, row.set_pass.number
        shafts = {each.which: each for each in self.facts.shafts.get(station.pk, ())}
        runs = self._runs_of(copy, number, shafts)
        if not runs:
            return None
        return LinePass(
            number=number,
            station=station.number,
            ratio=Fraction(station.gear_ratio),
            top=runs.get("top"),
            bottom=runs.get("bottom"),
            gap=self._gap(copy, row),
            vertical_least_nm=station.vertical_least_nm,
            vertical_most_nm=station.vertical_most_nm,
            bottom_adjustable=station.bottom_adjustable,
            screw_lead_nm=station.screw_lead_nm or None,
        )

    def _gap(self, copy: SetCopy, row: ChartPass) -> GapPoint | None:
        ends = {}
        for which in SHAFTS:
            found = self._at_gap(self._on(copy, row.set_pass.number, which))
            if found is None:
                return None
            ends[which] = found
        thickest = copy.tool_set.thickness_most_nm or copy.tool_set.thickness_least_nm or 0
        gap = row.gap_nm
        if gap is None:
            gap = max(0, thickest + (row.gap_allowance_nm or 0))
        (top, top_nm), (bottom, bottom_nm) = ends["top"], ends["bottom"]
        return GapPoint(top, top_nm, bottom, bottom_nm, max(0, gap))

    def _at_gap(self, rows: Sequence[Allotment]) -> tuple[str, int] | None:
        """The roll that carries the gap point and its diameter there; else the largest drive."""
        for row in rows:
            drawn = self.facts.drawn.get(row.piece.drawing_id)
            found = gap_diameter(row.position, drawn, _size(row.piece))
            if found:
                return row.piece.code, found
        drives = [(size_of(row.piece, "drive_diameter") or 0, row.piece.code) for row in rows]
        largest = max(drives, default=(0, ""))
        return (largest[1], largest[0]) if largest[0] > 0 else None


def _size(piece: PieceRow) -> Size:
    return lambda name: size_of(piece, name)


def _runs(rows: Sequence[Allotment]) -> Iterator[list[Allotment]]:
    """Split positions that stand next to each other on one shaft."""
    run: list[Allotment] = []
    before: SetPosition | None = None
    for row in sorted(rows, key=lambda each: each.position.order):
        if before is not None and row.position.order != before.order + 1:
            yield run
            run = []
        run.append(row)
        before = row.position
    if run:
        yield run

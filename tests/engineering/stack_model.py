"""The same question as one direct integer program, every count a variable: no columns, no tables.

Written without any code of the engine's search. ``direct`` goes through the aims one by one:
shafts, shims, spacers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import highspy

from tooling.engineering.solver import Solver
from tooling.engineering.stacks import Fill, Problem, Roll, Shaft
from tooling.engineering.stacks.specs import ShaftKey

UNIT = 1_000
Answer = Mapping[ShaftKey, Mapping[str, Sequence[str]]]
"""By shaft and fill its sources."""


class Direct:
    """Model and variables: pieces by (fill, source), shafts completed."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.model = Solver()
        self.model.setOptionValue("output_flag", False)
        self.pieces: dict[tuple[str, str], Any] = {}
        self.done: dict[tuple[int, str], Any] = {}
        self.shimmed: dict[str, Any] = {}
        for station in problem.stations:
            errors = [self._shaft(station.number, shaft) for shaft in station.shafts]
            if len(errors) == 2:
                self._difference(station, errors)
        for source in problem.sources:
            used = [v for (_fill, key), v in self.pieces.items() if key == source.key]
            if used:
                self.model.addConstr(self.model.qsum(used) <= source.count)

    def _sum(self, fills: list[Fill], kind: str | None = None) -> Any:
        names = {fill.key for fill in fills}
        return self.model.qsum([
            (self.problem.by_key[key].length_nm / UNIT if kind is None else 1.0) * variable
            for (fill, key), variable in self.pieces.items()
            if fill in names and kind in (None, self.problem.by_key[key].kind)
        ])  # fmt: skip

    def _shaft(self, number: int, shaft: Shaft) -> Any:
        rules, model = self.problem.rules, self.model
        done = self.done[number, shaft.which] = model.addBinary()
        fills = [part for part in shaft.parts if isinstance(part, Fill)]
        for fill in fills:
            for source in self.problem.sources:
                if self.problem.may_use(source, fill):
                    self.pieces[fill.key, source.key] = model.addIntegral(0, source.count)
            shimmed = self.shimmed[fill.key] = model.addBinary()
            model.addConstr(self._sum([fill], "shim") - rules.most_shims * shimmed <= 0)
            model.addConstr(self._sum([fill], "spacer") - 2 * shimmed >= 0)
            if fill.target_nm is not None:
                low, high = fill.target_nm - fill.below_nm, fill.target_nm + fill.above_nm
                self._between(self._sum([fill]), low, high, done)
        first, constant = [], shaft.shoulder_offset_nm - rules.guide_plane_nm
        for part in shaft.parts:
            if isinstance(part, Fill):
                first.append(part)
            elif part.guide_offset_nm is not None:
                constant += part.guide_offset_nm
                break
            else:
                constant += part.width_nm
        front = self._sum(first)
        self._between(front, rules.guide_nm[0] - constant, rules.guide_nm[1] - constant, done)
        rolls = sum(part.width_nm for part in shaft.parts if isinstance(part, Roll))
        room = shaft.roll_space_nm - rolls
        low, high = room + rules.closing_nm[0], room + rules.closing_nm[1]
        self._between(self._sum(fills), low, high, done)
        return shaft.which, front + constant / UNIT * done, done

    def _between(self, what: Any, low: int, high: int, done: Any) -> None:
        self.model.addConstr(what - low / UNIT * done >= 0)
        self.model.addConstr(what - high / UNIT * done <= 0)

    def _difference(self, station: Any, errors: list[Any]) -> None:
        (top, one, both), (_bottom, other, second) = sorted(errors, key=lambda e: e[0] != "top")
        assert top == "top"
        far = (self.problem.rules.guide_nm[1] - self.problem.rules.guide_nm[0]) / UNIT + 1_000
        low, high = (edge / UNIT for edge in self.problem.rules.difference_nm)
        gap = one - other
        self.model.addConstr(gap + far * both + far * second <= high + 2 * far)
        self.model.addConstr(gap - far * both - far * second >= low - 2 * far)

    def _goal(self, aim: str) -> Any:
        """Shafts without a stack, or pieces: ``shim``, ``spacer`` or both as ``pieces``."""
        if aim == "uncompleted":
            return len(self.done) - self.model.qsum(list(self.done.values()))
        return self.model.qsum([v for (_fill, key), v in self.pieces.items()
                                if aim in ("pieces", self.problem.by_key[key].kind)])  # fmt: skip

    def hold(self, aim: str, most: int) -> None:
        """From now on an aim may not be more."""
        self.model.addConstr(self._goal(aim) <= most)

    def least(
        self, aim: str, seconds: float | None, begin: Answer | None = None
    ) -> tuple[int | None, bool]:
        """Make one aim least and hold it, starting from an answer where there is one; (figure or
        None where nothing was found, proven)."""
        model = self.model
        if seconds is not None:
            model.setOptionValue("time_limit", float(seconds))
        goal = self._goal(aim)
        model.setObjective(goal, highspy.ObjSense.kMinimize)
        if begin is not None:
            self._start(begin)
        model.solve()
        if not model.getSolution().value_valid:
            return None, False
        figure = round(model.val(goal))
        proven = model.getModelStatus() == highspy.HighsModelStatus.kOptimal
        model.addConstr(goal <= figure)
        return figure, proven

    def _start(self, stacks: Answer) -> None:
        values = [0.0] * self.model.getNumCol()
        for shaft, fills in stacks.items():
            values[self.done[shaft].index] = 1.0
            for fill, pieces in fills.items():
                for key in pieces:
                    values[self.pieces[fill, key].index] += 1.0
                    if self.problem.by_key[key].kind == "shim":
                        values[self.shimmed[fill].index] = 1.0
        solution = highspy.HighsSolution()
        solution.col_value = values
        self.model.setSolution(solution)


def direct(
    problem: Problem, seconds: tuple[float | None, float | None, float | None] = (None,) * 3
) -> tuple[list[int | None], bool]:
    """(uncompleted shafts, shims, spacers) and whether all are proven; None where none was found
    in its time."""
    model = Direct(problem)
    told = [
        model.least(aim, most)
        for aim, most in zip(("uncompleted", "shim", "spacer"), seconds, strict=True)
    ]
    return [figure for figure, _proven in told], all(proven for _figure, proven in told)

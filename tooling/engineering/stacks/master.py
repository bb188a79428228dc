"""The choice of one column per station within the stock, as a linear and as an integer program.

HiGHS solves both; it is imported by the worker and by ``compute`` only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import highspy
import numpy as np

from tooling.engineering.solver import Solver
from tooling.engineering.stacks.columns import Column
from tooling.engineering.stacks.tables import Array

ANY = highspy.kHighsInf


@dataclass(frozen=True)
class Relaxed:
    """An optimum of the linear program: its value, the share of each column, and what one more
    of each thing would save: per station, per piece of a kind, per unit of an aim's limit."""

    value: float
    shares: Array
    stations: Array
    pieces: Array
    limits: Array


class Master:
    """Columns gathered so far. Rows: one per station, one per kind, one per aim.

    The linear program has one row per ``cluster`` of kinds instead: near lengths have one price
    then, which is quickly found where every spacer has its own width. Its value is a little lower,
    so what is said of bounds holds all the same; whole choices know each kind.
    """

    def __init__(
        self, stations: int, counts: Sequence[int | None], aims: int, cluster: Sequence[int]
    ) -> None:
        self.columns: list[Column] = []
        self._known: set[tuple[object, ...]] = set()
        self._stations, self._aims = stations, aims
        self._kinds = len(counts)
        self._upper = [ANY if count is None else float(count) for count in counts]
        self._limits = [ANY] * aims
        self._cluster = np.array(cluster, dtype=np.int64)
        self._clusters = int(max(cluster, default=-1)) + 1
        together = [0.0] * self._clusters
        for kind, upper in enumerate(self._upper):
            together[cluster[kind]] += upper
        rows = [(1.0, 1.0)] * stations + [(-ANY, upper) for upper in together]
        self._solver = Solver()
        self._solver.setOptionValue("output_flag", False)
        self._solver.setOptionValue("threads", 1)
        none = np.zeros(0, dtype=np.int32)
        for lower, upper in rows + [(-ANY, ANY)] * aims:
            self._solver.addRow(lower, upper, 0, none, np.zeros(0))

    def _rows(self) -> list[tuple[float, float]]:
        rows = [(1.0, 1.0)] * self._stations
        rows += [(-ANY, upper) for upper in self._upper]
        return rows + [(-ANY, limit) for limit in self._limits]

    def add(self, column: Column) -> bool:
        """Take a column in; False when it is there already."""
        sign = (column.station, column.use, column.aims, column.carried)
        if sign in self._known:
            return False
        self._known.add(sign)
        self.columns.append(column)
        where, what = self._clustered(column)
        self._solver.addCol(0.0, 0.0, ANY, len(where), where, what)
        return True

    def _clustered(self, column: Column) -> tuple[Array, Array]:
        use: dict[int, float] = {}
        for kind, count in column.use:
            row = self._stations + int(self._cluster[kind])
            use[row] = use.get(row, 0.0) + count
        aims = {self._stations + self._clusters + at: float(figure)
                for at, figure in enumerate(column.aims) if figure}  # fmt: skip
        entries = {column.station: 1.0} | use | aims
        return np.array(list(entries), dtype=np.int32), np.array(list(entries.values()))

    def _entries(self, column: Column) -> tuple[Array, Array]:
        where = [column.station, *(self._stations + kind for kind, _count in column.use)]
        what = [1.0, *(float(count) for _kind, count in column.use)]
        for at, figure in enumerate(column.aims):
            if figure:
                where.append(self._stations + self._kinds + at)
                what.append(float(figure))
        return np.array(where, dtype=np.int32), np.array(what)

    def limit(self, aim: int, most: int | None) -> None:
        """From now on an aim may not be more than this."""
        self._limits[aim] = ANY if most is None else float(most)
        row = self._stations + self._clusters + aim
        self._solver.changeRowBounds(row, -ANY, self._limits[aim])

    def relax(self, goal: Sequence[float], open_to: Array | None = None) -> Relaxed | None:
        """The linear optimum for weights by aim; None where there is none. ``open_to``: most of
        each column, to leave some out."""
        count = len(self.columns)
        every = np.arange(count, dtype=np.int32)
        costs = np.array([c.aims for c in self.columns], dtype=float) @ np.array(goal, dtype=float)
        most = np.ones(count) * ANY if open_to is None else open_to
        self._solver.changeColsCost(count, every, costs)
        self._solver.changeColsBounds(count, every, np.zeros(count), most)
        self._solver.run()
        if self._solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        found = self._solver.getSolution()
        saved = -np.array(found.row_dual)
        first, second = self._stations, self._stations + self._clusters
        return Relaxed(
            value=self._solver.getObjectiveValue(),
            shares=np.array(found.col_value),
            stations=-saved[:first],
            pieces=np.maximum(saved[first:second], 0.0)[self._cluster],
            limits=np.maximum(saved[second:], 0.0),
        )

    def choose(
        self,
        goal: Sequence[float],
        *,
        among: Sequence[int] | None = None,
        start: Sequence[int] | None = None,
        nodes: int | None = None,
        should_stop: Callable[[], bool] = lambda: False,
    ) -> tuple[list[int] | None, bool]:
        """The best whole choice among columns and whether it is proven; None where none is found.

        ``nodes``: give up after so many branches.
        """
        picked = list(range(len(self.columns))) if among is None else list(among)
        model = solver(nodes, should_stop)
        model.setOptionValue("mip_rel_gap", 0.0)
        model.setOptionValue("mip_abs_gap", 0.99 if _whole(goal) else 1e-9)
        rows, entries = self._rows(), [self._entries(self.columns[at]) for at in picked]
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(picked), len(rows)
        lp.col_cost_ = np.array(
            [float(np.dot(self.columns[at].aims, goal)) for at in picked], dtype=float
        )
        lp.col_lower_, lp.col_upper_ = np.zeros(len(picked)), np.ones(len(picked))
        lp.row_lower_ = np.array([low for low, _high in rows])
        lp.row_upper_ = np.array([high for _low, high in rows])
        lp.integrality_ = [highspy.HighsVarType.kInteger] * len(picked)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        lp.a_matrix_.start_ = np.cumsum([0, *(len(where) for where, _what in entries)])
        lp.a_matrix_.index_ = np.concatenate([where for where, _what in entries])
        lp.a_matrix_.value_ = np.concatenate([what for _where, what in entries])
        model.passModel(lp)
        if start is not None:
            begin(model, [float(at in set(start)) for at in picked])
        model.run()
        status = model.getModelStatus()
        if status == highspy.HighsModelStatus.kInfeasible:
            return None, True
        values = model.getSolution().col_value
        if not model.getSolution().value_valid or not len(values):
            return None, False
        chosen = [at for at, value in zip(picked, values, strict=True) if value > 0.5]
        return chosen, status == highspy.HighsModelStatus.kOptimal


def _whole(goal: Sequence[float]) -> bool:
    return all(float(weight).is_integer() for weight in goal)


def solver(nodes: int | None, should_stop: Callable[[], bool]) -> Solver:
    """HiGHS for an integer program that gives up after so many branches, or when asked to."""

    def ask(event: object) -> None:
        if should_stop():
            event.interrupt()  # type: ignore[attr-defined]

    model = Solver()
    model.setOptionValue("output_flag", False)
    model.setOptionValue("threads", 1)
    if nodes is not None:
        model.setOptionValue("mip_max_nodes", nodes)
    model.cbMipInterrupt += ask
    return model


def begin(model: Solver, values: list[float]) -> None:
    """Start an integer program from a choice that is known."""
    solution = highspy.HighsSolution()
    solution.col_value = values
    model.setSolution(solution)

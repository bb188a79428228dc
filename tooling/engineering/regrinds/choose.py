"""Which pieces to replace: an integer program for HiGHS, proven, over whole grinder steps.

Which are replaced is all that is taken from it: the amounts are then worked out anew and exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import highspy
import numpy as np

from tooling.engineering.regrinds.least import Search, contour_groups
from tooling.engineering.regrinds.weigh import Weights
from tooling.engineering.solver import Solver

ANY = highspy.kHighsInf
Terms = list[tuple[int, float]]


@dataclass
class Program:
    """Columns: cut or not, steps, what comes off a new roll, replaced or not. Lengths in steps.

    ``most_nm``: no best answer takes more off a piece. ``open_to``: no best answer replaces others.
    """

    search: Search
    weights: Weights
    should_stop: Callable[[], bool] = lambda: False
    most_nm: Sequence[int] | None = None
    open_to: frozenset[int] | None = None
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: list[tuple[float, Terms, float]] = field(default_factory=list)
    goals: list[Terms] = field(default_factory=list)

    def __post_init__(self) -> None:
        free = self.search.may_be_new()
        if self.open_to is not None:
            free &= self.open_to
        self.groups = contour_groups(self.search.model, free)
        self.is_new = {n: self._column(0, 1, True) for group in self.groups for n in group[:1]}
        for group in self.groups:
            for n in group[1:]:
                self.is_new[n] = self.is_new[group[0]]
        count = len(self.search.model.facts)
        self.off: list[Terms] = [[] for _n in range(count)]
        self.is_cut: list[int | None] = [None] * count
        for n in range(count):
            self._piece(n)
        self._between()
        self.goals = self._goals()

    def _column(self, lower: float, upper: float, whole: bool) -> int:
        self.lower.append(lower)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.lower) - 1

    def _piece(self, n: int) -> None:
        step, domain = self.search.model.step_nm, self.search.domain(n, is_new=False)
        new = self.is_new.get(n)
        if domain.is_empty:
            self._row(1, [(new, 1.0)] if new is not None else [], ANY)
        elif domain.exact_nm is not None:
            self._exact(n, domain.exact_nm, new)
        elif domain.high_nm > 0 and domain.high_nm >= domain.need_nm:
            most = float(min(domain.high_nm, self._most(n)) // step)
            if most < domain.need_nm // step:
                self._row(
                    1 if domain.low_nm > 0 else -ANY, [(new, 1.0)] if new is not None else [], ANY
                )
                self._new(n, new)
                return
            cut, steps = self._column(0, 1, True), self._column(0, most, True)
            self.is_cut[n] = cut
            self.off[n].append((steps, 1.0))
            self._row(-ANY, [(steps, 1.0), (cut, -most)], 0)
            self._row(0, [(steps, 1.0), (cut, -float(domain.need_nm // step))], ANY)
            either: Terms = [(cut, 1.0)] + ([(new, 1.0)] if new is not None else [])
            self._row(1 if domain.low_nm > 0 else 0, either, 1)
        elif domain.low_nm > 0:
            self._row(1, [(new, 1.0)] if new is not None else [], ANY)
        self._new(n, new)

    def _most(self, n: int) -> float:
        return float("inf") if self.most_nm is None else self.most_nm[n]

    def _new(self, n: int, new: int | None) -> None:
        step = self.search.model.step_nm
        if new is not None:
            made = self.search.domain(n, is_new=True)
            low, high = made.low_nm / step, made.high_nm / step
            off = self._column(min(0.0, low), max(0.0, high), False)
            self.off[n].append((off, 1.0))
            self._row(0, [(off, 1.0), (new, -low)], ANY)
            self._row(-ANY, [(off, 1.0), (new, -high)], 0)

    def _exact(self, n: int, off_nm: int, new: int | None) -> None:
        """So much, unless the piece is replaced, which a pin does not allow."""
        amount = off_nm / self.search.model.step_nm
        self.off[n].append((self._column(amount, amount, False), 1.0))
        if off_nm > 0:
            self.is_cut[n] = self._column(1, 1, True)

    def _row(self, lower: float, terms: Terms, upper: float) -> None:
        self.rows.append((lower, terms, upper))

    def _between(self) -> None:
        model, step = self.search.model, self.search.model.step_nm
        for arc in model.arcs:
            ratio = arc.source / arc.target
            least = float(Fraction(arc.least, arc.target * step))
            if arc.first == arc.second:
                terms = [(at, by * (1 - ratio)) for at, by in self.off[arc.first]]
            else:
                terms = self.off[arc.second] + [(at, -ratio * by) for at, by in self.off[arc.first]]
            self._row(least, terms, ANY)
        for each in model.sums:
            terms = self.off[each.first] + self.off[each.second]
            if each.first == each.second:
                terms = [(at, 2 * by) for at, by in self.off[each.first]]
            self._row(-ANY, terms, each.most_nm / step)

    def _goals(self) -> list[Terms]:
        """Cost where there are prices; else replaced, cut, and steps taken off."""
        facts, goals = self.search.model.facts, self.weights
        if goals.has_prices:
            return [self._cost()]
        replaced = [(at, 1.0) for at in self.is_new.values()]
        worked: Terms = []
        for n, each in enumerate(facts):
            if each.is_faced:
                if n in self.is_new:
                    worked.append((self.is_new[n], -1.0))
            elif self.is_cut[n] is not None:
                worked.append((self.is_cut[n], 1.0))  # type: ignore[arg-type]
        steps = [self.off[n][0] for n in range(len(facts)) if self.is_cut[n] is not None]
        return [replaced, worked, steps]

    def _cost(self) -> Terms:
        step, terms = self.search.model.step_nm, []
        for n in range(len(self.search.model.facts)):
            price = self.weights.prices[n]
            cut, new = self.is_cut[n], self.is_new.get(n)
            if cut is not None:
                terms.append((cut, float(price.cut - price.leave)))
                terms.append((self.off[n][0][0], float(price.per_nm * step)))
            if new is not None:
                low = self.search.model.low_nm[n]
                terms.append((new, float(price.new - price.leave - price.life_per_nm * low)))
                terms.append((self.off[n][-1][0], float(price.life_per_nm * step)))
        return terms

    def solve(self) -> tuple[frozenset[int] | None, bool, list[float]]:
        """The pieces to replace, whether that is proven best, and each goal's bound."""
        bounds: list[float] = []
        if not self.lower:  # nothing is open: every piece has one way only
            return frozenset(), True, bounds
        lp = self._lp()
        new: frozenset[int] | None = None
        for goal in self.goals:
            model = self._model(lp, goal)
            model.run()
            status, info = model.getModelStatus(), model.getInfo()
            values = np.array(model.getSolution().col_value)
            if not model.getSolution().value_valid or not len(values):
                return new, False, bounds
            new = frozenset(n for n, at in self.is_new.items() if values[at] > 0.5)
            bounds.append(float(info.mip_dual_bound))
            if status != highspy.HighsModelStatus.kOptimal:
                return new, False, bounds
            reached = sum(by * values[at] for at, by in _summed(goal))
            limit = round(reached) if not self.weights.has_prices else reached
            self._row(-ANY, list(_summed(goal)), float(limit))
            lp = self._lp()
        return new, True, bounds

    def forbid(self, new: frozenset[int]) -> None:
        """Never again exactly these: the exact check found that they do not do."""
        firsts = {group[0] for group in self.groups}
        terms = [(self.is_new[n], -1.0 if n in new else 1.0) for n in sorted(firsts)]
        self.rows.append((1.0 - len(firsts & new), terms, ANY))

    def _lp(self) -> highspy.HighsLp:
        lp = highspy.HighsLp()
        count = len(self.lower)
        lp.num_col_, lp.num_row_ = count, len(self.rows)
        lp.col_cost_ = np.zeros(count)
        lp.col_lower_, lp.col_upper_ = np.array(self.lower), np.array(self.upper)
        lp.row_lower_ = np.array([low for low, _terms, _high in self.rows])
        lp.row_upper_ = np.array([high for _low, _terms, high in self.rows])
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[whole] for whole in self.whole]
        entries = [_summed(terms) for _low, terms, _high in self.rows]
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.cumsum([0, *(len(each) for each in entries)])
        flat = [pair for each in entries for pair in each]
        lp.a_matrix_.index_ = np.array([at for at, _by in flat], dtype=np.int32)
        lp.a_matrix_.value_ = np.array([by for _at, by in flat], dtype=float)
        return lp

    def _model(self, lp: highspy.HighsLp, goal: Terms) -> Solver:
        def ask(event: object) -> None:
            if self.should_stop():
                event.interrupt()  # type: ignore[attr-defined]

        costs = np.zeros(len(self.lower))
        for at, by in _summed(goal):
            costs[at] = by
        lp.col_cost_ = costs
        model = Solver()
        model.setOptionValue("output_flag", False)
        model.setOptionValue("threads", 1)
        model.setOptionValue("mip_rel_gap", 0.0)
        model.setOptionValue("mip_abs_gap", 1e-3 if self.weights.has_prices else 0.99)
        model.setOptionValue("mip_feasibility_tolerance", 1e-7)
        model.setOptionValue("primal_feasibility_tolerance", 1e-9)
        model.cbMipInterrupt += ask
        model.passModel(lp)
        return model


def _summed(terms: Sequence[tuple[int, float]]) -> Sequence[tuple[int, float]]:
    """Each column once."""
    found: dict[int, float] = {}
    for at, by in terms:
        found[at] = found.get(at, 0.0) + by
    return sorted((at, by) for at, by in found.items() if by)

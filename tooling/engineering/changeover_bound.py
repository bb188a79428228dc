"""What no order of the jobs can beat, aim by aim, by integer programming with subtour cuts.

Due dates and what must run before what are left out, so the figures are bounds: an order that
meets them all is proven best. After Dantzig, Fulkerson and Johnson (1954): assignment first, then a
cut for each tour that leaves somebody out, until one tour is left. HiGHS solves the programs; it is
imported by the worker and by ``compute`` only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import highspy

from tooling.engineering.solver import Solver

if TYPE_CHECKING:
    from tooling.engineering.changeover_order import Problem

MOST_ROUNDS = 400
Arc = tuple[int, int]
"""From and to: 0 is the mill as it stands and the end of the list, k + 1 is job k."""


@dataclass(frozen=True)
class Least:
    """Per aim the least that any order costs while the aims before it are at theirs; None from
    where it was cut off. ``orders`` are orders that cost just that, rules of precedence aside."""

    least: tuple[int | None, ...]
    orders: tuple[tuple[int, ...], ...]


def least_costs(problem: Problem, should_stop: Callable[[], bool] = lambda: False) -> Least:
    """The bounds of a problem. An aim whose program has no solution ends the list with None."""
    arcs = _arcs(problem)
    model = Solver()
    taken = {arc: model.addBinary() for arc in arcs}
    nodes = range(len(problem.jobs) + 1)
    for node in nodes:
        model.addConstr(_sum(model, taken, [arc for arc in arcs if arc[0] == node]) == 1)
        model.addConstr(_sum(model, taken, [arc for arc in arcs if arc[1] == node]) == 1)
    least: list[int | None] = []
    orders: list[tuple[int, ...]] = []
    for aim in problem.costs:
        cost = {arc: aim[arc[0]][arc[1] - 1] if arc[1] else 0 for arc in arcs}
        tour = _solve(model, taken, cost, len(nodes), should_stop)
        if tour is None:
            break
        figure = sum(cost[arc] for arc in tour.items())
        least.append(figure)
        orders.append(_order(tour))
        total = sum((cost[arc] * taken[arc] for arc in arcs if cost[arc]), start=0 * taken[arcs[0]])
        model.addConstr(total <= figure)
    least += [None] * (len(problem.costs) - len(least))
    return Least(tuple(least), tuple(dict.fromkeys(orders)))


def _arcs(problem: Problem) -> list[Arc]:
    """Every step that some order may take."""
    count, rules = len(problem.jobs), problem.rules
    barred = {(a + 1, b + 1) for a, b in rules.apart}
    barred |= {(b + 1, a + 1) for a, b in rules.before} | {(0, b + 1) for _a, b in rules.before}
    barred |= {(a + 1, 0) for a, _b in rules.before}
    if rules.last is not None:
        barred |= {(k + 1, 0) for k in range(count) if k != rules.last}
    return [(i, j) for i in range(count + 1) for j in range(count + 1)
            if i != j and (i, j) not in barred]  # fmt: skip


def _sum(model: Any, taken: Mapping[Arc, Any], arcs: list[Arc]) -> Any:
    return model.qsum([taken[arc] for arc in arcs])


def _solve(
    model: Any,
    taken: Mapping[Arc, Any],
    cost: Mapping[Arc, int],
    count: int,
    should_stop: Callable[[], bool],
) -> dict[int, int] | None:
    """The cheapest single tour as who follows whom; None when there is none or it was cut off."""
    aim = model.qsum([figure * taken[arc] for arc, figure in cost.items() if figure])
    for _round in range(MOST_ROUNDS):
        if should_stop():
            return None
        model.minimize(aim)
        if model.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        values = model.getSolution().col_value
        tour = {arc[0]: arc[1] for arc, column in taken.items() if values[column.index] > 0.5}
        left_out = _subtours(tour, count)
        if not left_out:
            return tour
        for group in left_out:
            inside = [arc for arc in taken if arc[0] in group and arc[1] in group]
            model.addConstr(_sum(model, taken, inside) <= len(group) - 1)
    return None


def _subtours(tour: Mapping[int, int], count: int) -> list[set[int]]:
    """The groups that are tours of their own; none when one tour has all."""
    seen: set[int] = set()
    groups = []
    for start in range(count):
        if start in seen:
            continue
        group, node = {start}, tour[start]
        while node != start:
            group.add(node)
            node = tour[node]
        seen |= group
        groups.append(group)
    return groups if len(groups) > 1 else []


def _order(tour: Mapping[int, int]) -> tuple[int, ...]:
    order, node = [], tour[0]
    while node:
        order.append(node - 1)
        node = tour[node]
    return tuple(order)

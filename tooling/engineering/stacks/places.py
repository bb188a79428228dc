"""From which places the pieces come: the fewest places, then those that are nearest to walk to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

import highspy
import numpy as np

from tooling.engineering.stacks.columns import GROUND, Column, Maker
from tooling.engineering.stacks.master import solver

Row = tuple[float, float, dict[int, float]]


def nearest(
    maker: Maker,
    columns: Sequence[Column],
    figures: Sequence[int],
    should_stop: Callable[[], bool] = lambda: False,
) -> tuple[list[Column], dict[str, int], bool] | None:
    """One column per station with no aim worse than ``figures``, how many of each source are
    fetched, and whether fewer or nearer places are impossible among these columns.

    Pieces of stations that stay closed are not fetched. None where it was cut off before anything
    was found.
    """
    problem, kinds = maker.problem, maker.kinds.kinds
    sources = [key for kind in kinds for key in kind.sources]
    places = sorted({problem.by_key[key].place for key in sources}, key=problem.rank.__getitem__)
    first, second = len(columns), len(columns) + len(sources)
    at_source = {key: first + at for at, key in enumerate(sources)}
    at_place = {place: second + at for at, place in enumerate(places)}
    rows = _choice_rows(maker, columns, figures)
    fetched: dict[int, dict[int, float]] = {}
    for at, column in enumerate(columns):
        for number, pieces in () if column.carried else column.use:
            fetched.setdefault(number, {})[at] = float(pieces)
    upper = [1.0] * len(columns)
    for number, kind in enumerate(kinds):
        entries = fetched.get(number, {})
        most = min(kind.count, int(sum(entries.values())))
        for key in kind.sources:
            entries = entries | {at_source[key]: -1.0}
            count = float(min(problem.by_key[key].count, most))
            upper.append(count)
            place = at_place[problem.by_key[key].place]
            rows.append((-highspy.kHighsInf, 0.0, {at_source[key]: 1.0, place: -count}))
        if not kind.made:
            rows.append((0.0, 0.0, entries))
    upper += [1.0] * len(places)
    far = 1 + sum(problem.rank[place] for place in places)
    costs = [0.0] * second + [float(far + problem.rank[place]) for place in places]
    values, proven = _solve(costs, upper, rows, should_stop)
    if values is None:
        return None
    chosen = [column for column, value in zip(columns, values[:first], strict=True) if value > 0.5]
    taken = {key: round(values[at]) for key, at in at_source.items()}
    return chosen, {key: count for key, count in taken.items() if count}, proven


def _choice_rows(maker: Maker, columns: Sequence[Column], figures: Sequence[int]) -> list[Row]:
    inf = highspy.kHighsInf
    rows: list[Row] = []
    for station in range(len(maker.problem.stations)):
        mine = {at: 1.0 for at, column in enumerate(columns) if column.station == station}
        rows.append((1.0, 1.0, mine))
    for aim, most in enumerate(figures):
        each = {at: float(c.aims[aim]) for at, c in enumerate(columns) if c.aims[aim]}
        rows.append((-inf, float(most), each))
    for number, kind in enumerate(maker.kinds.kinds):
        use = {at: float(dict(c.use)[number]) for at, c in enumerate(columns)
               if number in dict(c.use)}  # fmt: skip
        if use and not kind.made:
            rows.append((-inf, float(kind.count), use))
    return rows


def _solve(
    costs: list[float], upper: list[float], rows: list[Row], should_stop: Callable[[], bool]
) -> tuple[list[float] | None, bool]:
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(costs), len(rows)
    lp.col_cost_, lp.col_upper_ = np.array(costs), np.array(upper)
    lp.col_lower_ = np.zeros(len(costs))
    lp.row_lower_ = np.array([row[0] for row in rows])
    lp.row_upper_ = np.array([row[1] for row in rows])
    lp.integrality_ = [highspy.HighsVarType.kInteger] * len(costs)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *(len(row[2]) for row in rows)])
    lp.a_matrix_.index_ = np.array([at for row in rows for at in row[2]], dtype=np.int32)
    lp.a_matrix_.value_ = np.array([x for row in rows for x in row[2].values()], dtype=float)
    program = solver(None, should_stop)
    program.setOptionValue("mip_rel_gap", 0.0)
    program.setOptionValue("mip_abs_gap", 0.99)
    program.passModel(lp)
    program.run()
    found = program.getSolution()
    if not found.value_valid or not len(found.col_value):
        return None, False
    proven = program.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return list(found.col_value), proven


def handed_out(
    maker: Maker, columns: Sequence[Column], fetched: dict[str, int]
) -> dict[int, list[list[list[str]]]]:
    """By station, shaft and fill the sources: those fetched, and those that stay where they are."""
    left: Counter[str] = Counter(fetched)
    answer: dict[int, list[list[list[str]]]] = {}
    for column in sorted(columns, key=lambda each: each.station):
        shafts = []
        for stack in column.stacks:
            fills = []
            for pile in stack.fills if stack is not None else ():
                pieces = []
                for kind in pile:
                    if kind == GROUND or maker.kinds.kinds[kind].made:
                        continue
                    pieces.append(_one(maker.kinds.kinds[kind].sources, left, column.carried))
                fills.append(pieces)
            shafts.append(fills)
        answer[column.station] = shafts
    return answer


def _one(sources: tuple[str, ...], left: Counter[str], carried: bool) -> str:
    if carried:
        return sources[0]
    key = next(key for key in sources if left[key] > 0)
    left[key] -= 1
    return key


def least_places(capacities: Sequence[int], pieces: int) -> int:
    """No fewer places than this hold so many pieces."""
    number, held = 0, 0
    for capacity in sorted(capacities, reverse=True):
        if held >= pieces:
            break
        number, held = number + 1, held + capacity
    return number

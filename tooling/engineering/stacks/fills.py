"""Whole choices put together fill by fill from the stacks of all columns gathered so far.

Far more combinations than whole columns give; windows are rows of an integer program, and what it
finds is checked in exact nanometres like everything else.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field

import highspy
import numpy as np

from tooling.engineering.stacks.columns import GROUND, Column, ShaftStack, made_stack
from tooling.engineering.stacks.master import begin, solver
from tooling.engineering.stacks.offers import Prices
from tooling.engineering.stacks.search import Search
from tooling.engineering.stacks.windows import before_window, sum_window

UNIT_NM = 1_000
"""Lengths are told to the integer program in micrometres."""
Pile = tuple[int, ...]


@dataclass
class _Model:
    """Columns and rows as they are gathered."""

    costs: list[float] = field(default_factory=list)
    starts: list[float] = field(default_factory=list)
    piles: list[tuple[int, int, int, Pile]] = field(default_factory=list)
    rows: list[tuple[float, float, list[int], list[float]]] = field(default_factory=list)

    def row(self, low: float, high: float, entries: Sequence[tuple[int, float]]) -> None:
        self.rows.append((low, high, [at for at, _x in entries], [x for _at, x in entries]))

    def window(
        self, window_nm: tuple[int, int], now_nm: int, moves: Sequence[tuple[int, float]]
    ) -> None:
        """What may be added to what is there now."""
        low, high = ((edge - now_nm) / UNIT_NM for edge in window_nm)
        self.row(low, high, [(at, move) for at, move in moves if move])


def recombine(
    search: Search, goal: Sequence[float], prices: Prices, *,
    most: int = 60, nodes: int = 200, stations: Collection[int] | None = None,
) -> bool:  # fmt: skip
    """Better stacks for the shafts that the best choice completes, out of ``most`` piles per fill.

    Stations that stay as they stand on the mill, or as they were, are left alone.
    """
    free = [
        column for column in search.best
        if not column.carried and any(column.stacks) and not _is_kept(column)
        and (stations is None or column.station in stations)
    ]  # fmt: skip
    if not free:
        return False
    model = _model(search, goal, prices, free, most)
    chosen = _solved(model, nodes, search.stop)
    if chosen is None:
        return False
    piles: dict[tuple[int, int], dict[int, Pile]] = {}
    for at in chosen:
        station, shaft, fill, pile = model.piles[at]
        piles.setdefault((station, shaft), {})[fill] = pile
    columns = [_column(search, column, piles) for column in free]
    if None in columns:
        return False
    for column in columns:
        search.master.add(column)  # type: ignore[arg-type]
    others = [column for column in search.best if column not in free]
    return search.take([*others, *columns])  # type: ignore[list-item]


def _is_kept(column: Column) -> bool:
    return any(stack is not None and stack.kept for stack in column.stacks)


def _column(
    search: Search, column: Column, piles: dict[tuple[int, int], dict[int, Pile]]
) -> Column | None:
    maker = search.maker
    station = maker.problem.stations[column.station]
    stacks: list[ShaftStack | None] = []
    for turn, (shaft, old) in enumerate(zip(station.shafts, column.stacks, strict=True)):
        if old is None:
            stacks.append(None)
            continue
        chosen = piles.get((column.station, turn), {})
        fills = [chosen[at] for at in range(len(shaft.fills))]
        made = made_stack(maker.problem, maker.kinds, shaft, fills)
        if made is None:
            return None
        stacks.append(made)
    return maker.column(column.station, stacks)


def _model(
    search: Search, goal: Sequence[float], prices: Prices, free: Sequence[Column], most: int
) -> _Model:
    model = _Model()
    names = search.maker.aims
    weights = {True: goal[names.index("shims")], False: goal[names.index("spacers")]}
    kinds = search.maker.kinds.kinds
    supply: dict[int, list[tuple[int, float]]] = {}
    gathered = _gathered(search, {column.station for column in free})
    price = search.pricer.piece_prices(prices.pieces, prices.aims)
    for column in free:
        for turn, stack in enumerate(column.stacks):
            for fill, mine in enumerate(stack.fills if stack is not None else ()):
                found = gathered[column.station, turn, fill]
                cheap = sorted(found, key=lambda pile: (int(sum(price[k] for k in pile)), pile))
                entries = []
                for pile in [mine, *(p for p in cheap[:most] if p != mine)]:
                    at = len(model.costs)
                    model.costs.append(sum(weights[kinds[kind].is_shim] for kind in pile))
                    model.starts.append(float(pile == mine))
                    model.piles.append((column.station, turn, fill, pile))
                    entries.append((at, 1.0))
                    for kind in set(pile):
                        supply.setdefault(kind, []).append((at, float(pile.count(kind))))
                model.row(1.0, 1.0, entries)
        _windows(search, model, column)
    left = search.left(column for column in search.best if column not in free)
    for kind, entries in supply.items():
        model.row(-highspy.kHighsInf, float(left[kind]), entries)
    return model


def _gathered(search: Search, stations: set[int]) -> dict[tuple[int, int, int], set[Pile]]:
    found: dict[tuple[int, int, int], set[Pile]] = {}
    for column in search.master.columns:
        if column.station not in stations:
            continue
        for turn, stack in enumerate(column.stacks):
            for fill, pile in enumerate(stack.fills if stack is not None else ()):
                if GROUND not in pile:
                    found.setdefault((column.station, turn, fill), set()).add(pile)
    return found


def _windows(search: Search, model: _Model, column: Column) -> None:
    """Guide plane and closing window of each shaft, and top minus bottom."""
    problem = search.maker.problem
    station = problem.stations[column.station]
    mine = [(at, pile) for at, pile in enumerate(model.piles) if pile[0] == column.station]
    guides: dict[str, list[tuple[int, float]]] = {}
    for turn, shaft in enumerate(station.shafts):
        now = column.stacks[turn]
        if now is None:
            continue
        moves = [
            (at, pile[2], (_length(search, pile[3]) - now.fills_nm[pile[2]]) / UNIT_NM)
            for at, pile in mine if pile[1] == turn
        ]  # fmt: skip
        guides[shaft.which] = [(at, nm) for at, fill, nm in moves if fill < shaft.before]
        window = before_window(problem.rules, shaft)
        model.window(window, sum(now.fills_nm[: shaft.before]), guides[shaft.which])
        window = sum_window(problem.rules, shaft)
        model.window(window, sum(now.fills_nm), [(at, nm) for at, _fill, nm in moves])
    if len(guides) == 2:
        error = {s.which: now.guide_error_nm
                 for s, now in zip(station.shafts, column.stacks, strict=True) if now}  # fmt: skip
        entries = guides["top"] + [(at, -nm) for at, nm in guides["bottom"]]
        model.window(problem.rules.difference_nm, error["top"] - error["bottom"], entries)


def _length(search: Search, pile: Pile) -> int:
    return sum(search.maker.kinds.kinds[kind].length_nm for kind in pile)


def _solved(model: _Model, nodes: int, should_stop: Callable[[], bool]) -> list[int] | None:
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(model.costs), len(model.rows)
    lp.col_cost_ = np.array(model.costs)
    lp.col_lower_, lp.col_upper_ = np.zeros(lp.num_col_), np.ones(lp.num_col_)
    lp.row_lower_ = np.array([row[0] for row in model.rows])
    lp.row_upper_ = np.array([row[1] for row in model.rows])
    lp.integrality_ = [highspy.HighsVarType.kInteger] * lp.num_col_
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *(len(row[2]) for row in model.rows)])
    lp.a_matrix_.index_ = np.concatenate([np.array(r[2], dtype=np.int32) for r in model.rows])
    lp.a_matrix_.value_ = np.concatenate([np.array(r[3], dtype=float) for r in model.rows])
    program = solver(nodes, should_stop)
    program.setOptionValue("mip_rel_gap", 1e-3)
    program.setOptionValue("mip_heuristic_effort", 0.1)
    program.passModel(lp)
    begin(program, model.starts)
    program.run()
    found = program.getSolution()
    if not found.value_valid:
        return None
    return [at for at, value in enumerate(found.col_value) if value > 0.5]

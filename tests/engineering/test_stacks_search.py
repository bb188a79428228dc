"""What the search for large mills is made of, each against plain enumeration."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from tests.engineering import stack_world
from tests.engineering.stack_shop import shop
from tests.engineering.stack_world import best_figures, by_chance
from tests.engineering.test_stacks import holds
from tooling.engineering.stacks import Fill, Problem, Stacks
from tooling.engineering.stacks.columns import Maker, fixed_of, fixed_widened
from tooling.engineering.stacks.engine import WEIGHTS, solve_stacks
from tooling.engineering.stacks.kinds import kinds_of, widened
from tooling.engineering.stacks.lengthwise import least_spacers, least_uncompleted
from tooling.engineering.stacks.reach import hopeless
from tooling.engineering.stacks.search import Bound, Search
from tooling.engineering.stacks.solve import Effort
from tooling.engineering.stacks.subsets import fewest, part_of
from tooling.engineering.stacks.tables import FAR
from tooling.engineering.stacks.wide import WideTable

QUICK = Effort(every_most=0, exchanges=200, rounds=40, dives=1, rebuilds=2)
"""The way of large problems, not for long."""


@pytest.mark.parametrize("seed", range(20))
def test_the_fewest_pieces_and_the_part_of_a_pile_are_those_of_every_choice(seed: int) -> None:
    dice = random.Random(seed)
    lengths = [dice.randint(1, 30) for _piece in range(8)]
    window = sorted(dice.randint(0, 90) for _edge in range(2))
    every = [some for count in range(9) for some in combinations(range(8), count)
             if window[0] <= sum(lengths[at] for at in some) <= window[1]]  # fmt: skip
    pool = {nm: (nm, count) for nm, count in Counter(lengths).items()}
    chosen = fewest(pool, (window[0], window[1]), np.random.default_rng(seed))
    part = part_of(lengths, (window[0], window[1]), np.random.default_rng(seed))
    if not every:
        assert chosen is None
        assert part is None
        return
    assert chosen is not None
    assert sum(chosen.values()) == min(map(len, every))
    assert window[0] <= sum(nm * count for nm, count in chosen.items()) <= window[1]
    assert all(count <= pool[nm][1] for nm, count in chosen.items())
    assert part is not None
    assert tuple(sorted(part)) in every


@pytest.mark.parametrize("seed", range(12))
def test_a_table_of_near_widths_asks_no_more_than_any_pile_costs(seed: int) -> None:
    """Every pile of up to four spacers and up to two shims, at each of the cells beside its
    length; and what the table tells behind a price costs that price."""
    dice = random.Random(seed)
    kinds = [sorted(dice.randint(at, at + 12) for _piece in range(dice.randint(1, 4)))
             for at in (20, 55, 90)]  # fmt: skip
    shims = [[3, 4], [7]]
    price = np.array([dice.randint(0, 9) for _kind in range(5)], dtype=np.int64)
    table = WideTable(list(enumerate(kinds)), list(enumerate(shims, start=3)), 5, 60, 2)
    table.price(price)
    pieces = [(kind, nm) for kind, some in enumerate(kinds) for nm in some]
    thin = [(kind, nm) for kind, some in enumerate(shims, start=3) for nm in some]
    for count in range(5):
        for some in combinations(pieces, count):
            for number in range(3 if count >= 2 else 1):
                for more in combinations(thin, number):
                    pile = [*some, *more]
                    length, cost = sum(nm for _k, nm in pile), sum(price[k] for k, _nm in pile)
                    for cell in {length // 5, -(-length // 5)}:
                        assert cell > 60 or table.least[cell] <= cost
    for cell in np.flatnonzero(table.least < FAR):
        told = table.stack(int(cell))
        assert sum(int(price[kind]) for kind in told) == table.least[cell]


def test_no_bound_of_length_or_of_near_widths_is_above_the_optimum() -> None:
    biting: Counter[str] = Counter()
    for seed in range(60):
        problem = by_chance(seed)
        best = best_figures(problem)
        kinds = kinds_of(problem)
        maker = Maker(problem, kinds, fixed_of(problem, kinds))
        for shaft in problem.shafts.values():
            if hopeless(maker) & {fill.key for fill in shaft.fills}:
                assert not list(stack_world._shaft_stacks(problem, shaft)), seed
                biting["hopeless"] += 1
        maker = replace(maker, fixed=replace(maker.fixed, broken=hopeless(maker)))
        assert least_uncompleted(maker) <= best[0], seed
        assert least_spacers(maker, best[0], best[3]) <= best[4], seed
        biting["uncompleted"] += 0 < least_uncompleted(maker) == best[0]
        biting["spacers"] += least_spacers(maker, best[0], best[3]) > 0
        near = widened(problem, kinds, beyond=0)
        if near is None:
            continue
        bound = Bound()
        fixed = fixed_widened(maker.fixed, kinds, near)
        search = Search(Maker(problem, near, fixed), lambda: False)
        search.generate(WEIGHTS, bound, lambda _value: False, 50)
        assert bound.value is not None
        assert bound.value <= float(np.dot(best[:5], WEIGHTS)) + 1e-6, seed
        biting["near"] += bound.value > 0
    assert min(biting.values()) > 5
    assert len(biting) == 4


def test_stock_that_is_too_short_leaves_as_few_shafts_as_length_allows() -> None:
    for own in (False, True):
        problem = shop(stations=6, lengths=12, spacers=240, load=1.15, own=own, seed=5)
        found = solve_stacks(problem, effort=QUICK)
        holds(problem, found)
        assert found.figures[0] > 0
        assert found.figures[0] == found.bound[0]


def only_some(problem: Problem) -> Problem:
    """Every other station takes every other spacer only."""
    every_other = frozenset(source.key for source in problem.sources[::2])

    def part(given: object) -> object:
        return replace(given, only=every_other) if isinstance(given, Fill) else given

    return replace(problem, stations=tuple(
        replace(station, shafts=tuple(
            replace(shaft, parts=tuple(map(part, shaft.parts))) for shaft in station.shafts
        )) if station.number % 2 else station
        for station in problem.stations
    ))  # type: ignore[arg-type]  # fmt: skip


def test_pieces_are_exchanged_only_where_they_may_stand() -> None:
    problem = only_some(shop(stations=6, lengths=16, spacers=200, load=0.5, seed=2))
    found = solve_stacks(problem, effort=QUICK)
    holds(problem, found)
    fills = {fill.key: fill for _station, _shaft, fill in problem.fills}
    for shaft in found.shafts:
        for told in shaft.fills:
            assert fills[told.fill].only is None or set(told.pieces) <= fills[told.fill].only
    assert found.figures[0] == found.bound[0]


def carrying(problem: Problem, found: Stacks) -> Problem:
    """The same mill with the answer's stacks on it."""
    stacks = {(s.station, s.shaft): tuple(f.pieces for f in s.fills) for s in found.shafts}
    return replace(problem, stations=tuple(
        replace(station, carried={s.which: stacks[station.number, s.which] for s in station.shafts})
        for station in problem.stations
    ))  # fmt: skip


def test_what_the_mill_carries_is_not_exchanged() -> None:
    problem = shop(stations=3, lengths=16, spacers=100, load=0.6, seed=1)
    found = solve_stacks(problem, effort=QUICK)
    assert found.figures[0] == 0
    again = solve_stacks(carrying(problem, found), effort=QUICK)
    assert again.figures[:2] == again.bound[:2] == (0, 0)
    assert all(shaft.kept_closed for shaft in again.shafts)

"""The whole answer: which spacers go where, what it comes to, what lacks and what to make."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from tooling.engineering.how import Step
from tooling.engineering.stacks.answer import FIGURES, ShaftAnswer, Stacks, StationAnswer
from tooling.engineering.stacks.checking import check_stacks
from tooling.engineering.stacks.columns import AIMS, Column, Maker, fixed_of
from tooling.engineering.stacks.kinds import kinds_of
from tooling.engineering.stacks.lacking import lacks_of, make_list
from tooling.engineering.stacks.places import handed_out, least_places, nearest
from tooling.engineering.stacks.search import Stop
from tooling.engineering.stacks.solve import Chosen, Effort, Progress, choose
from tooling.engineering.stacks.specs import Pieces, Problem, Shaft, ShaftKey, Station
from tooling.engineering.stacks.told import (
    aim_steps,
    arranged,
    free_windows,
    shaft_steps,
    told_shaft,
    told_station,
)
from tooling.engineering.stacks.windows import length_of

WEIGHTS = (2_000.0, 400.0, 200.0, 20.0, 1.0)
"""By ``AIMS``, for the first look at a large problem; the answer keeps to the order of the aims."""
JOINT_MOST = 6_000
"""Up to so many columns the places are chosen together with the stacks."""


def solve_stacks(
    problem: Problem,
    *,
    progress: Progress = lambda fraction, said: None,
    should_stop: Stop = lambda: False,
    spent: Callable[[], float] = lambda: 0.0,
    effort: Effort | None = None,
    seed: int = 0,
    make: bool = True,
) -> Stacks:
    """The best stacks for all shafts at once, aim by aim in the order of ``FIGURES``.

    ``progress(fraction, said)`` and ``should_stop()`` are asked between the steps; an answer that
    was stopped has what was found until then. ``spent()`` says what part of the time there is has
    gone, so that no step takes the time of the next. ``seed`` decides the order in which stations
    of large problems are looked at. With ``make`` the make-list is worked out where shafts lack.
    Every stack is verified in exact nanometres; raises RuntimeError where one does not hold (a
    fault of ours).
    """
    if not problem.stations:
        return Stacks((), (), (0,) * len(FIGURES), (0,) * len(FIGURES))
    effort = effort or Effort()
    kinds = kinds_of(problem)
    maker = Maker(problem, kinds, fixed_of(problem, kinds))
    chosen = choose(
        maker, should_stop=should_stop, effort=effort, weights=WEIGHTS, seed=seed, spent=spent,
        progress=lambda fraction, said: progress(0.8 * fraction, said),
    )  # fmt: skip
    columns, stacks, places, bound = _placed(chosen, should_stop)
    answer = _told(problem, columns, stacks)
    _verify(problem, stacks)
    figures = (*chosen.figures, len(places), sum(problem.rank[place] for place in places))
    lacks = lacks_of(maker, columns)
    made = None
    if lacks and make:
        made = make_list(
            problem, should_stop=should_stop, effort=effort,
            progress=lambda fraction, said: progress(0.8 + 0.2 * fraction, said),
        )  # fmt: skip
    progress(1.0, "done")
    shafts, stations, steps = answer
    steps += aim_steps(AIMS, _by_station(columns), chosen.figures)
    return Stacks(
        shafts, stations, figures, (*chosen.bound, *bound), lacks, made,
        chosen.stopped or bool(made and made.stopped), steps,
    )  # fmt: skip


def _placed(
    chosen: Chosen, should_stop: Stop
) -> tuple[Sequence[Column], dict[ShaftKey, list[Pieces]], set[str], tuple[int | None, int | None]]:
    """Pieces by shaft and fill, the places they are fetched from, and the bounds on those."""
    maker = chosen.maker
    every = [
        column
        for column in chosen.every or ()
        if all(one <= most for one, most in zip(column.aims, chosen.figures, strict=True))
    ]
    found = None
    if 0 < len(every) <= JOINT_MOST and not chosen.stopped:
        found = nearest(maker, every, chosen.figures, should_stop)
    proven = found is not None and found[2]
    if found is None:
        found = nearest(maker, chosen.columns, chosen.figures)
    if found is None:
        raise RuntimeError("chosen stacks cannot be handed out")
    columns, fetched, _proven = found
    places = {maker.problem.by_key[key].place for key in fetched}
    walk = sum(maker.problem.rank[place] for place in places)
    bound: tuple[int | None, int | None] = (len(places), walk) if proven else _bound(chosen, places)
    return columns, _stacks(maker, columns, fetched), places, bound


def _bound(chosen: Chosen, places: set[str]) -> tuple[int | None, int | None]:
    """No fewer places hold so many pieces, and none are nearer than the nearest."""
    problem = chosen.maker.problem
    if chosen.bound[-1] is None or chosen.bound[-2] is None:
        return None, None
    stay = sum(
        count
        for stacks in chosen.maker.fixed.carried.values()
        for stack in stacks
        for count in (len(pile) for pile in stack.fills)
    )
    capacity: dict[str, int] = {}
    for source in problem.sources:
        capacity[source.place] = capacity.get(source.place, 0) + source.count
    least = least_places(list(capacity.values()), chosen.bound[-1] + chosen.bound[-2] - stay)
    nearest_walk = sum(sorted(problem.rank[place] for place in capacity)[:least])
    return least, nearest_walk if least == len(places) else None


def _stacks(
    maker: Maker, columns: Sequence[Column], fetched: dict[str, int]
) -> dict[ShaftKey, list[Pieces]]:
    problem = maker.problem
    handed = handed_out(maker, columns, fetched)
    stacks: dict[ShaftKey, list[Pieces]] = {}
    for column in columns:
        station = problem.stations[column.station]
        shafts = zip(station.shafts, column.stacks, handed[column.station], strict=True)
        for shaft, stack, fills in shafts:
            if stack is not None:
                before = _before(problem, station, shaft, column)
                stacks[station.number, shaft.which] = [
                    problem.pins.get(fill.key) or arranged(problem, pieces, old)
                    for fill, pieces, old in zip(shaft.fills, fills, before, strict=True)
                ]
    return stacks


def _before(
    problem: Problem, station: Station, shaft: Shaft, column: Column
) -> Sequence[Pieces | None]:
    """The order in which the very same pieces stand already."""
    if column.carried and station.carried is not None:
        return station.carried[shaft.which]
    return problem.keep.get((station.number, shaft.which), (None,) * len(shaft.fills))


def _told(
    problem: Problem, columns: Sequence[Column], stacks: Mapping[ShaftKey, list[Pieces]]
) -> tuple[tuple[ShaftAnswer, ...], tuple[StationAnswer, ...], tuple[Step, ...]]:
    shafts: list[ShaftAnswer] = []
    stations: list[StationAnswer] = []
    steps: list[Step] = []
    for column in sorted(columns, key=lambda each: each.station):
        station = problem.stations[column.station]
        mine = {s.which: stacks[station.number, s.which] for s in station.shafts
                if (station.number, s.which) in stacks}  # fmt: skip
        lengths: dict[str, Sequence[int]] = {
            which: [length_of(problem, p) for p in stack] for which, stack in mine.items()
        }
        windows = free_windows(problem, station, lengths)
        told = {}
        for shaft in station.shafts:
            if shaft.which in mine:
                told[shaft.which] = told_shaft(
                    problem, station, shaft, tuple(mine[shaft.which]), kept_closed=column.carried,
                    kept=_same(problem, station, shaft, mine[shaft.which]),
                    free_nm=windows[shaft.which],
                )  # fmt: skip
                shafts.append(told[shaft.which])
                steps += shaft_steps(problem, told[shaft.which])
        if len(told) == 2:
            difference, step = told_station(problem, told["top"], told["bottom"])
            stations.append(difference)
            steps.append(step)
    return tuple(shafts), tuple(stations), tuple(steps)


def _same(problem: Problem, station: Station, shaft: Shaft, stack: Sequence[Pieces]) -> bool:
    before = problem.keep.get((station.number, shaft.which))
    return before is not None and [sorted(p) for p in before] == [sorted(p) for p in stack]


def _verify(problem: Problem, stacks: Mapping[ShaftKey, Sequence[Pieces]]) -> None:
    for finding in check_stacks(problem, stacks):
        if finding.level != "ok":
            raise RuntimeError(f"station {finding.station}: {finding.code}")


def _by_station(columns: Sequence[Column]) -> dict[str, list[int]]:
    ordered = sorted(columns, key=lambda each: each.station)
    return {name: [c.aims[at] for c in ordered] for at, name in enumerate(AIMS)}

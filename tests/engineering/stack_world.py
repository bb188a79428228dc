"""Small stack problems by chance, and every answer to them by plain enumeration."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations, product
from typing import Any

from tooling.engineering.stacks import Fill, Problem, Roll, Rules, Shaft, Source, Station

UNIT = 1_000
Key = tuple[int, str]


def by_chance(seed: int) -> Problem:
    """A problem of one or two stations with lengths of a few µm, so that most windows bite."""
    dice = random.Random(seed)
    several = dice.random() < 0.5
    sources = [
        Source(
            f"s{at}", dice.randint(1, 8) * UNIT, dice.choice((1, 1, 2)), place=dice.choice("ABC")
        )
        for at in range(dice.randint(2, 4))
    ]
    sources += [
        Source(f"h{at}", dice.randint(1, 2) * UNIT, 1, kind="shim", place=dice.choice("ABC"))
        for at in range(dice.randint(0, 2))
    ]
    keys = [source.key for source in sources]
    stations = []
    for number in range(1, 2 + several):
        names = dice.choice([("top", "bottom"), ("top", "bottom"), ("top",)])
        shafts = tuple(_shaft(dice, number, which, keys) for which in names)
        stations.append(Station(number, shafts))
    rules = Rules(
        13 * UNIT, "housing", (-dice.randint(0, 3) * UNIT, 0),
        guide_nm=(-dice.randint(0, 2) * UNIT, dice.randint(0, 2) * UNIT),
        difference_nm=(-dice.randint(0, 1) * UNIT, dice.randint(0, 1) * UNIT),
        most_shims=dice.randint(0, 2),
    )  # fmt: skip
    forbid = frozenset(dice.sample(keys, 1)) if dice.random() < 0.1 else frozenset()
    plain = Problem(rules, tuple(stations), tuple(sources), ("B", "A"), forbid=forbid)
    return replace(plain, **_before(dice, plain, keys))


def _before(dice: random.Random, problem: Problem, keys: list[str]) -> dict[str, Any]:
    """What the mill carries and an earlier answer, most of it still right."""
    stations = []
    for station in problem.stations:
        stacks = {shaft.which: _stack(dice, problem, shaft, keys) for shaft in station.shafts}
        stations.append(replace(station, carried=stacks if dice.random() < 0.5 else None))
    keep = {
        key: _stack(dice, problem, shaft, keys)
        for key, shaft in problem.shafts.items() if dice.random() < 0.3
    }  # fmt: skip
    return {"stations": tuple(stations), "keep": keep}


def _shaft(dice: random.Random, number: int, which: Any, keys: list[str]) -> Shaft:
    def fill(name: str, kind: Any, target: int | None = None) -> Fill:
        some = frozenset(dice.sample(keys, max(1, len(keys) - 1)))
        only = some if dice.random() < 0.2 else None
        return Fill(f"{number}{which}{name}", kind, target, dice.randint(0, 1) * UNIT,
                    dice.randint(0, 1) * UNIT, only=only)  # fmt: skip

    inboard, outboard = fill("i", "inboard"), fill("o", "outboard")
    middle = fill("m", "middle", dice.randint(0, 5) * UNIT)
    roll, guide = Roll("r", 2 * UNIT), Roll("g", 9 * UNIT, dice.randint(2, 5) * UNIT)
    parts: tuple[Fill | Roll, ...] = dice.choice([
        (inboard, guide, outboard), (inboard, roll, middle, guide, outboard),
        (inboard, guide, middle, roll), (inboard, guide, outboard),
    ])  # fmt: skip
    rolls = sum(part.width_nm for part in parts if isinstance(part, Roll))
    return Shaft(which, rolls + dice.randint(8, 20) * UNIT, parts, dice.randint(-1, 1) * UNIT)


def _stack(
    dice: random.Random, problem: Problem, shaft: Shaft, keys: list[str]
) -> tuple[tuple[str, ...], ...]:
    """One that holds where there is one."""
    good = list(_shaft_stacks(problem, shaft))
    if good and dice.random() < 0.9:
        return tuple(map(_shims_inside, dice.choice(good)))
    return tuple(tuple(dice.choices(keys, k=dice.randint(0, 2))) for _fill in shaft.fills)


def _shims_inside(pile: tuple[str, ...]) -> tuple[str, ...]:
    spacers = [key for key in pile if key[0] == "s"]
    return (*spacers[:1], *(key for key in pile if key[0] == "h"), *spacers[1:])


# -- every answer ------------------------------------------------------------------------------


def best_figures(problem: Problem) -> tuple[int, ...]:
    """The figures of the best of all answers, written without any code of the engine's search."""
    stacks = {key: list(_shaft_stacks(problem, shaft)) for key, shaft in problem.shafts.items()}
    every = [list(_choices(problem, station, stacks)) for station in problem.stations]
    every = [sorted(set(choices)) for choices in every]
    best = [_figures(problem, [])]
    _go_on(problem, every, [], best)
    return best[0]


def _go_on(problem: Problem, every: Any, chosen: list[Any], best: list[Any]) -> None:
    """Every combination of the stations' choices, but for those that are worse already."""
    use = Counter(key for _aims, pieces, _fetched in chosen for key in pieces)
    if any(count > problem.by_key[key].count for key, count in use.items()):
        return
    if len(chosen) == len(every):
        best[0] = min(best[0], _figures(problem, chosen))
        return
    for choice in every[len(chosen)]:
        if _figures(problem, [*chosen, choice])[:5] > best[0][:5]:
            break
        _go_on(problem, every, [*chosen, choice], best)


def _figures(problem: Problem, chosen: list[Any]) -> tuple[int, ...]:
    if not chosen:
        return (99,) * 7
    figures = tuple(sum(each) for each in zip(*(aims for aims, _p, _f in chosen), strict=True))
    places = {problem.by_key[key].place for _a, _p, fetched in chosen for key in fetched}
    return (*figures, len(places), sum(problem.rank[place] for place in places))


def _choices(
    problem: Problem, station: Station, every: Any
) -> Iterator[tuple[tuple[int, ...], Any, Any]]:
    """(aims, pieces used, pieces fetched) of every way to serve a station."""
    options = [[None, *every[station.number, shaft.which]] for shaft in station.shafts]
    carried = station.carried
    mounted = carried is not None and _mounted_holds(problem, station, every)
    for stacks in product(*options):
        errors = {
            shaft.which: _error(problem, shaft, stack)
            for shaft, stack in zip(station.shafts, stacks, strict=True) if stack is not None
        }  # fmt: skip
        if len(errors) == 2:
            low, high = problem.rules.difference_nm
            if not low <= errors["top"] - errors["bottom"] <= high:
                continue
        pieces = [key for stack in stacks if stack is not None for fill in stack for key in fill]
        shims = sum(problem.by_key[key].kind == "shim" for key in pieces)
        changed = 0
        closed = mounted
        for shaft, stack in zip(station.shafts, stacks, strict=True):
            before = problem.keep.get((station.number, shaft.which))
            if before is not None:
                changed += stack is None or list(map(sorted, stack)) != list(map(sorted, before))
            if carried is not None:
                there = list(map(sorted, carried[shaft.which]))
                closed = closed and stack is not None and list(map(sorted, stack)) == there
        aims = (stacks.count(None), int(mounted and not closed), changed, shims,
                len(pieces) - shims)  # fmt: skip
        yield aims, tuple(sorted(pieces)), () if closed else tuple(sorted(set(pieces)))


def _mounted_holds(problem: Problem, station: Station, every: Any) -> bool:
    errors = {}
    use: Counter[str] = Counter()
    for shaft in station.shafts:
        stack = tuple(tuple(sorted(fill)) for fill in (station.carried or {})[shaft.which])
        if stack not in every[station.number, shaft.which]:
            return False
        errors[shaft.which] = _error(problem, shaft, stack)
        use.update(key for fill in stack for key in fill)
    if any(count > problem.by_key[key].count for key, count in use.items()):
        return False
    low, high = problem.rules.difference_nm
    return len(errors) < 2 or low <= errors["top"] - errors["bottom"] <= high


def _shaft_stacks(problem: Problem, shaft: Shaft) -> Iterator[tuple[tuple[str, ...], ...]]:
    rolls = sum(part.width_nm for part in shaft.parts if isinstance(part, Roll))
    low, high = (window + shaft.roll_space_nm - rolls for window in problem.rules.closing_nm)
    least, most = problem.rules.guide_nm
    options = [
        [(pile, sum(problem.by_key[key].length_nm for key in pile)) for pile in piles]
        for piles in (_fill_stacks(problem, fill) for fill in shaft.fills)
    ]
    for chosen in product(*options):
        lengths = [length for _pile, length in chosen]
        if low <= sum(lengths) <= high and least <= _error_of(problem, shaft, lengths) <= most:
            yield tuple(pile for pile, _length in chosen)


def _fill_stacks(problem: Problem, fill: Fill) -> Iterator[tuple[str, ...]]:
    copies = [
        source.key
        for source in problem.sources
        if source.key not in problem.forbid and (fill.only is None or source.key in fill.only)
        for _copy in range(source.count)
    ]
    seen = set()
    for count in range(len(copies) + 1):
        for pieces in combinations(copies, count):
            pile = tuple(sorted(pieces))
            if pile in seen:
                continue
            seen.add(pile)
            sources = [problem.by_key[key] for key in pile]
            shims = sum(source.kind == "shim" for source in sources)
            if shims > problem.rules.most_shims or (shims and len(pile) - shims < 2):
                continue
            length = sum(source.length_nm for source in sources)
            if fill.target_nm is not None and not (
                fill.target_nm - fill.below_nm <= length <= fill.target_nm + fill.above_nm
            ):
                continue
            if length <= 25 * UNIT:
                yield pile


def _error(problem: Problem, shaft: Shaft, stack: Any) -> int:
    """The guide error of a shaft with these pieces."""
    by_key = problem.by_key
    return _error_of(problem, shaft, [sum(by_key[key].length_nm for key in fill) for fill in stack])


def _error_of(problem: Problem, shaft: Shaft, lengths: Sequence[int]) -> int:
    """Everything before the guide roll + its guide offset + shoulder offset − guide plane."""
    total, at = shaft.shoulder_offset_nm - problem.rules.guide_plane_nm, 0
    for part in shaft.parts:
        if isinstance(part, Fill):
            total += lengths[at]
            at += 1
        elif part.guide_offset_nm is not None:
            return total + part.guide_offset_nm
        else:
            total += part.width_nm
    raise AssertionError("no roll carries the guide point")

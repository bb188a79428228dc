"""From chosen columns to the answer: exact numbers, spreads and the steps behind them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import isqrt

from tooling.engineering.how import Step
from tooling.engineering.stacks.answer import FillAnswer, ShaftAnswer, StationAnswer
from tooling.engineering.stacks.specs import Pieces, Problem, Shaft, Source, Station
from tooling.engineering.stacks.windows import (
    before_window,
    in_order,
    length_of,
    looked_up,
    placed,
    sum_window,
)

GEOMETRY = "geometry"
RECTANGULAR = "JCGM 100:2008, 4.3.7 (rectangular), shown at k = 2"
Stack = tuple[Pieces, ...]


def spread_nm(sources: Iterable[Source]) -> tuple[int, int]:
    """What unmeasured widths may add: at k = 2, each tolerance ±a being rectangular with
    u² = a²/3, and the worst case Σ a. Rounded up to 1 nm."""
    tolerances = [source.tolerance_nm for source in sources if not source.measured]
    square = sum(a * a for a in tolerances)
    # 2 √(Σ a² / 3) = √(4 Σ a² / 3)
    root = isqrt(4 * square // 3)
    while 3 * root * root < 4 * square:
        root += 1
    return root, sum(tolerances)


def arranged(problem: Problem, pieces: Sequence[str], kept: Pieces | None) -> Pieces:
    """The pieces of a fill in order; as they stand already where the very same stay."""
    if kept is not None and sorted(kept) == sorted(pieces):
        return kept
    return tuple(source.key for source in in_order(looked_up(problem, tuple(pieces))))


def told_shaft(
    problem: Problem, station: Station, shaft: Shaft, stack: Stack, *,
    kept_closed: bool, kept: bool, free_nm: Sequence[tuple[int, int]],
) -> ShaftAnswer:  # fmt: skip
    """One shaft in exact numbers. ``free_nm``: the window of each fill, others as they are."""
    lengths = [length_of(problem, pieces) for pieces in stack]
    lies = placed(problem.rules, shaft, lengths)
    before = [s for pieces in stack[: shaft.before] for s in looked_up(problem, pieces)]
    every = [s for pieces in stack for s in looked_up(problem, pieces)]
    fills = tuple(
        FillAnswer(fill.key, pieces, length, window)
        for fill, pieces, length, window in zip(shaft.fills, stack, lengths, free_nm, strict=True)
    )
    return ShaftAnswer(
        station.number, shaft.which, fills, lies.guide_error_nm, lies.total_nm, lies.over_nm,
        *spread_nm(before), *spread_nm(every), kept_closed=kept_closed, kept=kept,
    )  # fmt: skip


def free_windows(
    problem: Problem, station: Station, stacks: Mapping[str, Sequence[int]]
) -> dict[str, list[tuple[int, int]]]:
    """By shaft the least and most of each fill while every other fill stays as it is."""
    rules = problem.rules
    errors = {
        shaft.which: placed(rules, shaft, stacks[shaft.which]).guide_error_nm
        for shaft in station.shafts if shaft.which in stacks
    }  # fmt: skip
    answer: dict[str, list[tuple[int, int]]] = {}
    for shaft in station.shafts:
        if shaft.which not in stacks:
            continue
        lengths = stacks[shaft.which]
        windows = []
        for at, (fill, length) in enumerate(zip(shaft.fills, lengths, strict=True)):
            total = sum(lengths)
            low, high = sum_window(rules, shaft)
            room = [(low - total, high - total)]
            if fill.window_nm is not None:
                room.append((fill.window_nm[0] - length, fill.window_nm[1] - length))
            if at < shaft.before:
                front = sum(lengths[: shaft.before])
                low, high = before_window(rules, shaft)
                room.append((low - front, high - front))
                if len(errors) == 2:
                    gap = errors["top"] - errors["bottom"]
                    low, high = rules.difference_nm[0] - gap, rules.difference_nm[1] - gap
                    room.append((low, high) if shaft.which == "top" else (-high, -low))
            windows.append(
                (max(0, length + max(r[0] for r in room)), length + min(r[1] for r in room))
            )
        answer[shaft.which] = windows
    return answer


def shaft_steps(problem: Problem, told: ShaftAnswer) -> tuple[Step, ...]:
    """Guide error, closing and spread of a shaft."""
    shaft = problem.shafts[told.station, told.shaft]
    name = f"station {told.station}, {told.shaft}"
    lengths = [fill.length_nm for fill in told.fills]
    before = [s for f in told.fills[: shaft.before] for s in looked_up(problem, f.pieces)]
    every = [s for f in told.fills for s in looked_up(problem, f.pieces)]
    guessed = ("fills_nm",) if any(not s.measured for s in every) else ()
    own = tuple(what for what in ("shoulder_offset_nm", "guide_offset_nm", "rolls_nm")
                if what in shaft.unmeasured)  # fmt: skip
    return (
        Step(
            what=f"{name}: guide error",
            formula="Σ fills before + Σ rolls before + guide offset + shoulder offset − guide "
            "plane",
            source=GEOMETRY,
            inputs={
                "fills_nm": lengths[: shaft.before],
                "rolls_nm": shaft.rolls_before_nm,
                "guide_offset_nm": shaft.guide.guide_offset_nm or 0,
                "shoulder_offset_nm": shaft.shoulder_offset_nm,
                "guide_plane_nm": problem.rules.guide_plane_nm,
            },
            value=told.guide_error_nm,
            unmeasured=guessed + own,
        ),
        Step(
            what=f"{name}: stack total − roll space",
            formula="Σ fills + Σ rolls − roll space",
            source=GEOMETRY,
            inputs={
                "fills_nm": lengths,
                "rolls_nm": shaft.rolls_nm,
                "roll_space_nm": shaft.roll_space_nm,
            },
            value=told.over_nm,
            unmeasured=guessed + tuple(what for what in own if what == "rolls_nm"),
        ),
        _spread_step(f"{name}: spread of the guide error", before, told.spread_nm),
        _spread_step(f"{name}: spread of the total", every, told.total_spread_nm),
    )


def _spread_step(what: str, sources: Sequence[Source], value: int) -> Step:
    tolerances = [source.tolerance_nm for source in sources if not source.measured]
    return Step(
        what=what,
        formula="2 · √(Σ tolerance² / 3)",
        source=RECTANGULAR,
        inputs={"tolerances_nm": tolerances},
        value=value,
        rounding="up to 1 nm",
    )


def told_station(
    problem: Problem, top: ShaftAnswer, bottom: ShaftAnswer
) -> tuple[StationAnswer, Step]:
    """Top minus bottom of a station, with the spread of both."""
    both = [
        source
        for told in (top, bottom)
        for fill in told.fills[: problem.shafts[told.station, told.shaft].before]
        for source in looked_up(problem, fill.pieces)
    ]
    difference = top.guide_error_nm - bottom.guide_error_nm
    step = Step(
        what=f"station {top.station}: top minus bottom",
        formula="guide error top − guide error bottom",
        source=GEOMETRY,
        inputs={"top_nm": top.guide_error_nm, "bottom_nm": bottom.guide_error_nm},
        value=difference,
    )
    return StationAnswer(top.station, difference, *spread_nm(both)), step


def aim_steps(
    names: Sequence[str], per_station: Mapping[str, list[int]], figures: Sequence[int]
) -> tuple[Step, ...]:
    """Each aim's figure as the sum over the stations."""
    return tuple(
        Step(
            what=name,
            formula="Σ over stations",
            source="least, aim by aim in this order",
            inputs={"by_station": per_station[name]},
            value=figure,
        )
        for name, figure in zip(names, figures, strict=True)
        if name in per_station
    )

"""The three windows of a station in exact nanometres, and the rules within one fill."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from tooling.engineering.stacks.specs import Fill, Pieces, Problem, Rules, Shaft, ShaftKey, Source


@dataclass(frozen=True)
class Placed:
    """Where a shaft comes to lie with fills of given lengths. Signs as in ``specs``."""

    fills_nm: tuple[int, ...]
    guide_error_nm: int
    total_nm: int
    over_nm: int


def placed(rules: Rules, shaft: Shaft, fills_nm: Sequence[int]) -> Placed:
    """Guide error, total and (total − roll space) of a shaft. Source: geometry."""
    guide_nm = sum(fills_nm[: shaft.before]) + guide_constant(rules, shaft)
    total_nm = sum(fills_nm) + shaft.rolls_nm
    return Placed(tuple(fills_nm), guide_nm, total_nm, total_nm - shaft.roll_space_nm)


def guide_constant(rules: Rules, shaft: Shaft) -> int:
    """The guide error with every fill before the guide roll at nothing."""
    offset_nm = shaft.guide.guide_offset_nm or 0
    return shaft.rolls_before_nm + offset_nm + shaft.shoulder_offset_nm - rules.guide_plane_nm


def before_window(rules: Rules, shaft: Shaft) -> tuple[int, int]:
    """Least and most sum of the fills before the guide roll."""
    constant = guide_constant(rules, shaft)
    return rules.guide_nm[0] - constant, rules.guide_nm[1] - constant


def sum_window(rules: Rules, shaft: Shaft) -> tuple[int, int]:
    """Least and most sum of all fills."""
    room_nm = shaft.roll_space_nm - shaft.rolls_nm
    return room_nm + rules.closing_nm[0], room_nm + rules.closing_nm[1]


def shaft_holds(rules: Rules, shaft: Shaft, fills_nm: Sequence[int]) -> bool:
    """Whether one shaft by itself is within its windows."""
    for fill, length_nm in zip(shaft.fills, fills_nm, strict=True):
        window = fill.window_nm
        if window is not None and not window[0] <= length_nm <= window[1]:
            return False
    least, most = before_window(rules, shaft)
    if not least <= sum(fills_nm[: shaft.before]) <= most:
        return False
    least, most = sum_window(rules, shaft)
    return least <= sum(fills_nm) <= most


def difference_holds(rules: Rules, top_nm: int, bottom_nm: int) -> bool:
    """Whether two guide errors of one station go together."""
    return rules.difference_nm[0] <= top_nm - bottom_nm <= rules.difference_nm[1]


def fill_windows(rules: Rules, shaft: Shaft) -> list[tuple[int, int]]:
    """Least and most of each fill by itself, the others being free within their own windows."""
    own = [fill.window_nm for fill in shaft.fills]
    first, whole = before_window(rules, shaft), sum_window(rules, shaft)
    found = []
    for at, window in enumerate(own):
        if window is None and at < shaft.before:
            others = [w for i, w in enumerate(own[: shaft.before]) if i != at and w]
            window = _less(first, others)
        elif window is None:
            others = [w for i, w in enumerate(own) if i >= shaft.before and i != at and w]
            window = _less((whole[0] - first[1], whole[1] - first[0]), others)
        found.append((max(0, window[0]), min(window[1], whole[1])))
    return found


def _less(window: tuple[int, int], others: Iterable[tuple[int, int]]) -> tuple[int, int]:
    taken = list(others)
    return window[0] - sum(w[1] for w in taken), window[1] - sum(w[0] for w in taken)


def aimed(rules: Rules, shaft: Shaft) -> list[int]:
    """The length that each fill should have: drawn, on the guide plane, and in the middle of the
    closing window (towards the shoulder where that is half a nanometre)."""
    lengths = [fill.target_nm or 0 for fill in shaft.fills]
    for at, fill in enumerate(shaft.fills):
        if fill.kind == "inboard":
            lengths[at] = -guide_constant(rules, shaft) - sum(lengths[: shaft.before])
        if fill.kind == "outboard":
            least, most = sum_window(rules, shaft)
            lengths[at] = (least + most) // 2 - sum(lengths[:at])
    return lengths


def shims_hold(rules: Rules, sources: Sequence[Source]) -> bool:
    """Few enough shims, and a spacer at both ends of a fill that has any."""
    shims = sum(source.kind == "shim" for source in sources)
    if not shims:
        return True
    ends = sources[0].kind == sources[-1].kind == "spacer"
    return shims <= rules.most_shims and len(sources) - shims >= 2 and ends


def in_order(sources: Iterable[Source]) -> tuple[Source, ...]:
    """Longest spacer at the shoulder, shims together in the first gap, then the other spacers."""
    ranked = sorted(sources, key=lambda each: (-each.length_nm, each.key))
    spacers = [each for each in ranked if each.kind == "spacer"]
    shims = [each for each in ranked if each.kind == "shim"]
    return (*spacers[:1], *shims, *spacers[1:])


def looked_up(problem: Problem, pieces: Pieces) -> tuple[Source, ...]:
    return tuple(problem.by_key[key] for key in pieces)


def length_of(problem: Problem, pieces: Pieces) -> int:
    return sum(problem.by_key[key].length_nm for key in pieces)


def fill_holds(problem: Problem, fill: Fill, pieces: Pieces) -> bool:
    """Whether pieces may stand in a fill in that order: eligible, and shims as they must be."""
    sources = looked_up(problem, pieces)
    return shims_hold(problem.rules, sources) and all(problem.may_use(s, fill) for s in sources)


def stack_holds(problem: Problem, shaft: Shaft, stack: Sequence[Pieces]) -> bool:
    """Whether the pieces of a whole shaft may stand and are within the shaft's own windows."""
    fills_nm = [length_of(problem, pieces) for pieces in stack]
    return shaft_holds(problem.rules, shaft, fills_nm) and all(
        fill_holds(problem, fill, pieces) for fill, pieces in zip(shaft.fills, stack, strict=True)
    )


def used(stacks: Mapping[ShaftKey, Sequence[Pieces]]) -> dict[str, int]:
    """How many of each source stand in stacks."""
    count: dict[str, int] = {}
    for stack in stacks.values():
        for pieces in stack:
            for key in pieces:
                count[key] = count.get(key, 0) + 1
    return count

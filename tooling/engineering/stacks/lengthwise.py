"""What total length alone says: stock that is too short leaves shafts without, and long fills need
so many pieces. Quickly known, and nearly all that there is to say where little is left over."""

from __future__ import annotations

from collections.abc import Iterator

from tooling.engineering.stacks.columns import Maker
from tooling.engineering.stacks.specs import Shaft
from tooling.engineering.stacks.windows import before_window, sum_window


def least_uncompleted(maker: Maker) -> int:
    """No fewer shafts lack a stack: those with a fill that nothing can fill, and of the others, for
    those that may take no more than a part of the stock, part by part, what even the shortest of
    them are longer together than the part."""
    if maker.making:
        return 0
    asked, least = list(_asked(maker)), 0
    hopeless = len(maker.problem.shafts) - len(asked)
    for part in {part for part, _nm in asked}:
        there = sum(kind.length_nm * kind.count for at, kind in enumerate(maker.kinds.kinds)
                    if at in part)  # fmt: skip
        mine = sorted(nm for some, nm in asked if some <= part)
        least = max(least, len(mine) - _reached(mine, there))
    return hopeless + least


def least_spacers(maker: Maker, uncompleted: int, shims: int) -> int:
    """No fewer spacers fill all shafts but so many, with no more than so many shims."""
    asked = sorted(nm for _part, nm in _asked(maker))
    uncompleted -= len(maker.problem.shafts) - len(asked)
    need = sum(asked[: max(0, len(asked) - uncompleted)])
    need -= sum(_longest(maker, is_shim=True)[:shims])
    count = 0
    for nm in _longest(maker, is_shim=False):
        if need <= 0:
            break
        need, count = need - nm, count + 1
    return count


def _asked(maker: Maker) -> Iterator[tuple[frozenset[int], int]]:
    """Of each shaft without a hopeless fill the kinds that it may take, and the least length that
    fills it."""
    parts: dict[frozenset[int], frozenset[int]] = {}
    for station in maker.problem.stations:
        for shaft in station.shafts:
            if any(fill.key in maker.fixed.broken for fill in shaft.fills):
                continue
            groups = frozenset(maker.kinds.group_of[fill.key] for fill in shaft.fills)
            if groups not in parts:
                parts[groups] = frozenset(k for g in groups for k in maker.kinds.eligible(g))
            yield parts[groups], _need(maker, shaft)


def _need(maker: Maker, shaft: Shaft) -> int:
    """The least length of a shaft's fills."""
    rules = maker.problem.rules
    return max(0, sum_window(rules, shaft)[0], before_window(rules, shaft)[0])


def _reached(needs: list[int], there: int) -> int:
    """How many of these, the least first, are not longer than what is there."""
    for number, nm in enumerate(needs):
        there -= nm
        if there < 0:
            return number
    return len(needs)


def _longest(maker: Maker, *, is_shim: bool) -> list[int]:
    lengths = (nm for kind in maker.kinds.kinds if kind.is_shim == is_shim
               for nm in [kind.length_nm] * kind.count)  # fmt: skip
    return sorted(lengths, reverse=True)

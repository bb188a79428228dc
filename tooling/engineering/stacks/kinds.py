"""Sources that are alike for the search: same kind, same length, same fills, on one grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import gcd

import numpy as np

from tooling.engineering.stacks.specs import Pieces, Problem
from tooling.engineering.stacks.windows import sum_window

GRAIN_NM = 1_000
"""Grid where lengths have no common one that is coarse enough: 1 µm."""
CELLS_MOST = 600_000
WIDE_CELLS_MOST = 25_000_000
"""The cells of one table of clusters, all its parts together: four bytes each are kept."""
CLUSTER_FROM = 150
"""With more kinds than this, those within ``CLUSTER_NM`` have one price."""
CLUSTER_NM = 25_000


@dataclass(frozen=True)
class Kind:
    """Sources that may stand for each other. ``groups``: the fill groups where they may be used.

    ``made``: to be made on the grid; then it has no sources and no limit. ``alone``: pinned, so
    that its own length counts.
    """

    length_nm: int
    count: int
    is_shim: bool
    groups: tuple[bool, ...]
    sources: tuple[str, ...]
    made: bool = False
    alone: bool = False


@dataclass(frozen=True)
class Kinds:
    """All kinds of a problem; ``group_of``: by fill its group of equal eligibility."""

    kinds: tuple[Kind, ...]
    group_of: Mapping[str, int]
    of_source: Mapping[str, int]
    grid_nm: int
    off_nm: int
    """The most by which a kind's length lies beside the grid; 0: everything is exact."""
    wide: tuple[tuple[int, ...], ...] = ()
    """By kind all its lengths, from the least, where near ones count as one kind."""

    @property
    def cells(self) -> np.ndarray:
        """Each kind's length in cells of the grid, nearest, one at least."""
        return np.array([max(1, round(k.length_nm / self.grid_nm)) for k in self.kinds], dtype=int)

    def eligible(self, group: int) -> list[int]:
        return [at for at, kind in enumerate(self.kinds) if kind.groups[group]]


def kinds_of(problem: Problem, made_nm: tuple[int, ...] = (), *, fine: bool = False) -> Kinds:
    """The kinds of a problem, with lengths that could be made besides. ``fine``: on a grid of 1 µm
    at the coarsest, for pieces that are ground to any length.

    A source that a pin, a carried or an earlier stack names stands alone, so that those stacks
    keep their own pieces.
    """
    masks: dict[tuple[bool, ...], int] = {}
    group_of: dict[str, int] = {}
    for key, mask in _masks(problem).items():
        group_of[key] = masks.setdefault(mask, len(masks))
    table = list(masks)
    alone = _named(problem)
    pinned = {key for pieces in problem.pins.values() for key in pieces}
    found: dict[tuple[object, ...], list[int]] = {}
    for at, source in enumerate(problem.sources):
        groups = tuple(mask[at] for mask in table)
        if source.count and (any(groups) or source.key in alone):
            own = source.key if source.key in alone else ""
            found.setdefault((source.length_nm, source.kind, groups, own), []).append(at)
    kinds = [
        Kind(
            length_nm=key[0], count=sum(problem.sources[at].count for at in members),  # type: ignore[arg-type]
            is_shim=key[1] == "shim", groups=key[2],  # type: ignore[arg-type]
            sources=tuple(problem.sources[at].key for at in members), alone=key[3] in pinned,
        )
        for key, members in sorted(found.items(), key=lambda item: item[1])
    ]  # fmt: skip
    everywhere = (True,) * len(table)
    kinds += [Kind(length, 0, False, everywhere, (), made=True) for length in made_nm]
    of_source = {key: at for at, kind in enumerate(kinds) for key in kind.sources}
    lengths = [kind.length_nm for kind in kinds] + [GRAIN_NM] * fine
    grid_nm = _grid(problem, lengths)
    off_nm = max(
        (abs(k.length_nm - grid_nm * max(1, round(k.length_nm / grid_nm))) for k in kinds),
        default=0,
    )
    return Kinds(tuple(kinds), group_of, of_source, grid_nm, off_nm)


def _masks(problem: Problem) -> dict[str, tuple[bool, ...]]:
    """By fill which sources may stand there; fills and sources of one shape are judged once."""
    known: dict[object, tuple[bool, ...]] = {}
    masks = {}
    for _station, _shaft, fill in problem.fills:
        alike = (fill.seat, fill.only)
        if alike not in known:
            known[alike] = tuple(problem.may_use(source, fill) for source in problem.sources)
        masks[fill.key] = known[alike]
    return masks


def _named(problem: Problem) -> set[str]:
    stacks: list[tuple[Pieces, ...]] = [tuple(problem.pins.values()), *problem.keep.values()]
    for station in problem.stations:
        stacks += (station.carried or {}).values()
    return {key for stack in stacks for pieces in stack for key in pieces}


def _grid(problem: Problem, lengths: list[int]) -> int:
    """The common measure of all lengths, or 1 µm (coarser for very long shafts) where that would
    be too fine."""
    longest = max((sum_window(problem.rules, s)[1] for s in problem.shafts.values()), default=1)
    common = gcd(*lengths) if lengths else GRAIN_NM
    if longest // common <= CELLS_MOST:
        return common
    return max(GRAIN_NM, -(-longest // CELLS_MOST))


def clusters(kinds: Sequence[Kind], beyond: int = CLUSTER_FROM) -> list[int]:
    """By kind the number of its cluster: each by itself while they are no more than ``beyond``,
    else those of nearly one length together."""
    if len(kinds) <= beyond:
        return list(range(len(kinds)))
    order = sorted(
        range(len(kinds)),
        key=lambda at: (
            kinds[at].made,
            kinds[at].is_shim,
            kinds[at].alone,
            kinds[at].groups,
            kinds[at].length_nm,
        ),
    )
    found, number, first = [0] * len(kinds), -1, None
    for at in order:
        kind = kinds[at]
        alike = (kind.made, kind.is_shim, kind.alone, kind.groups)
        if (
            first is None
            or kind.alone
            or alike != first[0]
            or kind.length_nm - first[1] > CLUSTER_NM
        ):
            number, first = number + 1, (alike, kind.length_nm)
        found[at] = number
    return found


def widened(problem: Problem, kinds: Kinds, beyond: int = CLUSTER_FROM) -> Kinds | None:
    """The clusters as kinds of many lengths each, for bounds that are quickly found; None where
    that is no help."""
    number = clusters(kinds.kinds, beyond)
    size = max(number, default=-1) + 1
    if size == len(kinds.kinds) or any(kind.made for kind in kinds.kinds):
        return None
    members: list[list[int]] = [[] for _cluster in range(size)]
    for at, cluster in enumerate(number):
        members[cluster].append(at)
    told, wide = [], []
    for some in members:
        lengths = sorted(nm for at in some for nm in [kinds.kinds[at].length_nm]
                         * kinds.kinds[at].count)  # fmt: skip
        first = kinds.kinds[some[0]]
        sources = tuple(key for at in some for key in kinds.kinds[at].sources)
        mean = sum(lengths) // len(lengths)
        told.append(replace(first, length_nm=mean, count=len(lengths), sources=sources))
        wide.append(tuple(lengths))
    of_source = {key: at for at, kind in enumerate(told) for key in kind.sources}
    grid_nm = _coarse(problem, kinds, wide)
    return Kinds(tuple(told), kinds.group_of, of_source, grid_nm, grid_nm, tuple(wide))


def _coarse(problem: Problem, kinds: Kinds, wide: Sequence[tuple[int, ...]]) -> int:
    """A grid of a tenth of the narrowest window, coarser where the tables were too large."""
    rules = problem.rules
    windows = [rules.guide_nm, rules.difference_nm, rules.closing_nm]
    windows += [fill.window_nm for _s, _h, fill in problem.fills if fill.window_nm is not None]
    narrow = min((high - low for low, high in windows if high > low), default=0)
    longest = max((sum_window(rules, s)[1] for s in problem.shafts.values()), default=1)
    parts = sum(len(lengths).bit_length() for lengths in wide)
    least = -(-longest * parts // WIDE_CELLS_MOST)
    return max(kinds.grid_nm, narrow // 10, least)

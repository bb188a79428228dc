"""What one station may get: a stack on each of its shafts, or none, with all that it counts for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from tooling.engineering.stacks.kinds import Kinds
from tooling.engineering.stacks.specs import Problem, Shaft, Station
from tooling.engineering.stacks.windows import (
    difference_holds,
    fill_holds,
    placed,
    shaft_holds,
    stack_holds,
)

AIMS = ("uncompleted_shafts", "opened_stations", "changed_shafts", "shims", "spacers")
"""What is made least, one after the other; places come after these."""
MAKE_AIMS = ("uncompleted_shafts", "ground", "made", "made_nm", "shims", "spacers")
"""The same for a make-list."""
Fills = tuple[tuple[int, ...], ...]
"""By fill the kinds of its pieces, sorted."""
GROUND = -1
"""Stands for a piece that is ground to whatever length is needed."""


@dataclass(frozen=True)
class ShaftStack:
    """Kinds by fill with what they come to. ``kept``: these very pieces stand there already or
    stood there in the answer to keep."""

    fills: Fills
    fills_nm: tuple[int, ...]
    guide_error_nm: int
    kept: bool = False


@dataclass(frozen=True)
class Column:
    """One way to serve a station. ``aims`` in the order of the problem's aims; ``use``: pieces by
    kind; ``carried``: the mill's own stacks, left alone."""

    station: int
    stacks: tuple[ShaftStack | None, ...]
    aims: tuple[int, ...]
    use: tuple[tuple[int, int], ...]
    carried: bool = False


@dataclass(frozen=True)
class Fixed:
    """Stacks that somebody has chosen already, as far as the rules allow them: by shaft the earlier
    answer; by station what the mill carries; by fill what is pinned."""

    keep: Mapping[tuple[int, str], ShaftStack]
    carried: Mapping[int, tuple[ShaftStack, ...]]
    pins: Mapping[str, tuple[int, ...]]
    broken: frozenset[str]
    """Fills whose pin breaks a rule: nothing can stand there."""


def fixed_of(problem: Problem, kinds: Kinds) -> Fixed:
    """The stacks of keep, carried and pins that the rules of today allow."""
    pins: dict[str, tuple[int, ...]] = {}
    broken = set()
    for _station, _shaft, fill in problem.fills:
        if fill.key not in problem.pins:
            continue
        pieces = problem.pins[fill.key]
        if not fill_holds(problem, fill, pieces) or not all(p in kinds.of_source for p in pieces):
            broken.add(fill.key)
        else:
            pins[fill.key] = tuple(sorted(kinds.of_source[piece] for piece in pieces))
    fixed = Fixed({}, {}, pins, frozenset(broken))
    keep = {
        key: stack
        for key, pieces in problem.keep.items()
        if (stack := _stack(problem, kinds, fixed, problem.shafts[key], pieces)) is not None
    }
    carried = {}
    for station in problem.stations:
        stacks = [
            _stack(problem, kinds, fixed, shaft, (station.carried or {})[shaft.which])
            for shaft in station.shafts
            if station.carried is not None
        ]
        told = tuple(stack for stack in stacks if stack is not None)
        whole = len(told) == len(station.shafts) and _together(problem, station, told)
        if whole and not overused(kinds, use_of(told)):
            carried[station.number] = told
    return Fixed(keep, carried, pins, frozenset(broken))


def fixed_widened(fixed: Fixed, kinds: Kinds, wide: Kinds) -> Fixed:
    """The same stacks, as exact as they are, by kinds of many lengths."""
    of = [wide.of_source[kind.sources[0]] for kind in kinds.kinds]

    def told(stack: ShaftStack) -> ShaftStack:
        fills = tuple(tuple(sorted(of[kind] for kind in pile)) for pile in stack.fills)
        return replace(stack, fills=fills)

    return Fixed(
        keep={key: told(stack) for key, stack in fixed.keep.items()},
        carried={at: tuple(map(told, stacks)) for at, stacks in fixed.carried.items()},
        pins={fill: tuple(of[kind] for kind in pile) for fill, pile in fixed.pins.items()},
        broken=fixed.broken,
    )


def _stack(
    problem: Problem, kinds: Kinds, fixed: Fixed, shaft: Shaft, stack: Sequence[tuple[str, ...]]
) -> ShaftStack | None:
    if not all(piece in kinds.of_source for pieces in stack for piece in pieces):
        return None
    if not stack_holds(problem, shaft, stack):
        return None
    fills = tuple(tuple(sorted(kinds.of_source[p] for p in pieces)) for pieces in stack)
    for fill, chosen in zip(shaft.fills, fills, strict=True):
        if fill.key in fixed.broken or fixed.pins.get(fill.key, chosen) != chosen:
            return None
    made = made_stack(problem, kinds, shaft, fills, kept=True)
    return None if made is None or overused(kinds, use_of([made])) else made


def made_stack(
    problem: Problem,
    kinds: Kinds,
    shaft: Shaft,
    fills: Sequence[Sequence[int]],
    *,
    kept: bool = False,
    ground_nm: Mapping[int, int] | None = None,
    loose: bool = False,
) -> ShaftStack | None:
    """The stack with its exact lengths, or None where the shaft's own windows are not kept.

    ``ground_nm``: by fill the length of the piece that is ground for it. ``loose``: whether its
    windows are kept or not.
    """
    lengths = [
        sum(kinds.kinds[kind].length_nm if kind != GROUND else 0 for kind in chosen)
        + (ground_nm or {}).get(at, 0)
        for at, chosen in enumerate(fills)
    ]
    if not loose and not shaft_holds(problem.rules, shaft, lengths):
        return None
    error_nm = placed(problem.rules, shaft, lengths).guide_error_nm
    told = tuple(tuple(sorted(chosen)) for chosen in fills)
    return ShaftStack(told, tuple(lengths), error_nm, kept)


def _together(problem: Problem, station: Station, stacks: Sequence[ShaftStack | None]) -> bool:
    errors = {
        shaft.which: stack.guide_error_nm
        for shaft, stack in zip(station.shafts, stacks, strict=True)
        if stack is not None
    }
    if len(errors) < 2:
        return True
    return difference_holds(problem.rules, errors["top"], errors["bottom"])


def use_of(stacks: Sequence[ShaftStack | None]) -> dict[int, int]:
    """How many pieces of each kind stacks take."""
    use: Counter[int] = Counter()
    for stack in stacks:
        for chosen in stack.fills if stack is not None else ():
            use.update(chosen)
    return dict(use)


def overused(kinds: Kinds, use: Mapping[int, int]) -> bool:
    """Whether there are not so many."""
    return any(
        count > kinds.kinds[kind].count
        for kind, count in use.items()
        if kind != GROUND and not kinds.kinds[kind].made
    )


@dataclass(frozen=True)
class Maker:
    """Makes columns of one problem, each checked in exact nanometres."""

    problem: Problem
    kinds: Kinds
    fixed: Fixed
    making: bool = False
    """Counts what is to be made instead of what stays as it was."""

    @property
    def is_loose(self) -> bool:
        """Its kinds are of many lengths: columns are for bounds, not for stacks."""
        return bool(self.kinds.wide)

    @property
    def aims(self) -> tuple[str, ...]:
        return MAKE_AIMS if self.making else AIMS

    def column(
        self, at: int, stacks: Sequence[ShaftStack | None], *, carried: bool = False
    ) -> Column | None:
        """The column, or None where top and bottom do not go together.

        It may take more pieces than there are: prices are made for one fill at a time, and the
        master's rows leave such a column out of every whole choice.
        """
        station = self.problem.stations[at]
        if not self.is_loose and not _together(self.problem, station, stacks):
            return None
        use = use_of(stacks)
        aims = self._making(use, stacks) if self.making else self._keeping(station, stacks, carried)
        shims = sum(n for k, n in use.items() if k != GROUND and self.kinds.kinds[k].is_shim)
        aims += [shims, sum(use.values()) - shims]
        kept = tuple(sorted((kind, count) for kind, count in use.items() if kind != GROUND))
        return Column(at, tuple(stacks), tuple(aims), kept, carried)

    def _keeping(
        self, station: Station, stacks: Sequence[ShaftStack | None], carried: bool
    ) -> list[int]:
        opened = station.number in self.fixed.carried and not carried
        changed = 0
        for shaft, stack in zip(station.shafts, stacks, strict=True):
            before = self.problem.keep.get((station.number, shaft.which))
            if before is not None:
                same = self.fixed.keep.get((station.number, shaft.which))
                changed += not (stack and same and stack.fills == same.fills)
        return [sum(stack is None for stack in stacks), int(opened), changed]

    def _making(self, use: Mapping[int, int], stacks: Sequence[ShaftStack | None]) -> list[int]:
        made = {k: n for k, n in use.items() if k != GROUND and self.kinds.kinds[k].made}
        length_nm = sum(n * self.kinds.kinds[kind].length_nm for kind, n in made.items())
        step_nm = self.problem.rules.make.step_nm if self.problem.rules.make else 1
        return [
            sum(stack is None for stack in stacks), use.get(GROUND, 0), sum(made.values()),
            length_nm // step_nm,
        ]  # fmt: skip

    def first(self) -> list[Column]:
        """Columns that need no search: nothing, what the mill carries, what stood before."""
        found = []
        for at, station in enumerate(self.problem.stations):
            found.append(self.column(at, [None] * len(station.shafts)))
            if self.making:
                continue
            if station.number in self.fixed.carried:
                found.append(self.column(at, self.fixed.carried[station.number], carried=True))
            before = [self.fixed.keep.get((station.number, s.which)) for s in station.shafts]
            if any(before):
                found.append(self.column(at, before))
                found += [
                    self.column(at, [b if j == i else None for j, b in enumerate(before)])
                    for i in range(len(before))
                ]
        return [column for column in found if column is not None]

"""Who may have how many of a count that several kits want, now and when they gather.

A kit wants its spacers from when it is gathered until its run is over; then they come back. Of
two that want them at the same time the one that gathers first is served first. A count is of
some kind (whose it is), and a kit may use some kinds and not others; it takes those that fewest
may use before those that everybody may.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

Kind = int


@dataclass(frozen=True)
class Claimant:
    """A kit that wants ``wants`` more of a drawing, between ``begins`` and ``ends``.

    ``turn`` orders the kits as they gather. ``may_use``: the kinds it may take, in that order;
    ``bound``: of which kind so many were chosen by hand. ``gathered``: by kind what lies gathered
    for it already and comes back when it ends.
    """

    key: int
    begins: datetime
    ends: datetime
    turn: tuple[datetime, str]
    wants: int
    may_use: tuple[Kind, ...]
    bound: Mapping[Kind, int] = field(default_factory=dict)
    gathered: Mapping[Kind, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Holder:
    """Another kit that has, or has first, what is wanted: how many, and until when."""

    key: int
    count: int
    until: datetime


@dataclass(frozen=True)
class Share:
    """What of a kit's wants it may fetch when it gathers, what others have then, what nobody has.

    The three add up to what it wants. ``holders``: the first to bring some back comes first.
    """

    to_fetch: int
    taken: int
    missing: int
    holders: tuple[Holder, ...]

    def holder_of(self, nth: int) -> Holder | None:
        """Who brings back the nth (from 1) of those that are taken."""
        for holder in self.holders:
            nth -= holder.count
            if nth <= 0:
                return holder
        return None


def share_of(
    me: Claimant, others: Iterable[Claimant], free: Mapping[Kind, int], *, now: datetime
) -> Share:
    """What is there for ``me`` when it gathers: what is free now, plus what comes back before,
    less what kits that gather before it want at that time.

    When its time to gather has come, only what lies free counts: what should be back by now and
    is not, is not there.
    """
    moment = me.begins
    left = dict(free)
    held: dict[int, Holder] = {}
    for other in others:
        if other.ends <= moment and now < moment:
            _add(left, other.gathered)
        else:
            _hold(held, other, sum(other.gathered.get(kind, 0) for kind in me.may_use))
    before = [o for o in others if o.turn < me.turn and moment < o.ends and o.key != me.key]
    for other in sorted(before, key=lambda each: each.turn):
        gone = take(left, other)
        _hold(held, other, sum(gone.get(kind, 0) for kind in me.may_use))
    there = sum(left.get(kind, 0) for kind in me.may_use)
    exist = there + sum(holder.count for holder in held.values())
    to_fetch = min(me.wants, there)
    missing = max(0, me.wants - exist)
    holders = tuple(sorted(held.values(), key=lambda holder: (holder.until, holder.key)))
    return Share(to_fetch, me.wants - to_fetch - missing, missing, holders)


def _add(left: dict[Kind, int], back: Mapping[Kind, int]) -> None:
    for kind, count in back.items():
        left[kind] = left.get(kind, 0) + count


def _hold(held: dict[int, Holder], other: Claimant, count: int) -> None:
    if count > 0:
        more = held[other.key].count if other.key in held else 0
        held[other.key] = Holder(other.key, count + more, other.ends)


def take(left: dict[Kind, int], kit: Claimant) -> dict[Kind, int]:
    """Take what the kit wants out of what is left, as far as it goes; by kind what it got."""
    gone: dict[Kind, int] = {}
    steps = [*kit.bound.items(), *((kind, kit.wants) for kind in kit.may_use)]
    for kind, most in steps:
        got = min(most, left.get(kind, 0), kit.wants - sum(gone.values()))
        if got > 0:
            left[kind] -= got
            gone[kind] = gone.get(kind, 0) + got
    return gone


@dataclass(frozen=True)
class Bin:
    """A bin with some of the count in it; bins are given in walking order."""

    key: int
    kind: Kind
    count: int


@dataclass(frozen=True)
class Wanted:
    """A kit as it stands before the bins: ``bound`` says how many of which bin were chosen."""

    kit: Claimant
    bound: Mapping[int, int] = field(default_factory=dict)


def bins_for(
    me: Wanted, others: Iterable[Wanted], bins: Sequence[Bin], *, most: int, now: datetime
) -> dict[int, int]:
    """From which bins ``me`` takes at most ``most``, after those that gather before it.

    By bin key, in walking order: the fewest bins, then the nearest. Kits whose time is over want
    nothing any more.
    """
    left = {each.key: each.count for each in bins}
    before = [o for o in others if o.kit.turn < me.kit.turn and now < o.kit.ends]
    for other in sorted(before, key=lambda each: each.kit.turn):
        for key, count in _pick(other, bins, left, other.kit.wants).items():
            left[key] -= count
    return _pick(me, bins, left, min(most, me.kit.wants))


def _pick(
    wanted: Wanted, bins: Sequence[Bin], left: Mapping[int, int], most: int
) -> dict[int, int]:
    picked: dict[int, int] = {}
    for key, count in wanted.bound.items():
        got = min(count, left.get(key, 0), most - sum(picked.values()))
        if got > 0:
            picked[key] = got
    for kind in wanted.kit.may_use:
        there = [(b.key, left[b.key] - picked.get(b.key, 0)) for b in bins if b.kind == kind]
        for key, count in fewest_bins(there, most - sum(picked.values())):
            picked[key] = picked.get(key, 0) + count
    order = {each.key: turn for turn, each in enumerate(bins)}
    return dict(sorted(picked.items(), key=lambda item: order.get(item[0], -1)))


def fewest_bins(bins: Sequence[tuple[int, int]], wanted: int) -> list[tuple[int, int]]:
    """Of (key, count) in walking order: the fewest that together hold as many as are wanted, of
    these the nearest; how many of each. All that there are when they are too few."""
    holding = [(key, count) for key, count in bins if count > 0]
    goal = min(wanted, sum(count for _key, count in holding))
    if goal <= 0:
        return []
    size = _how_many(holding, goal)
    chosen: list[tuple[int, int]] = []
    for turn, (key, count) in enumerate(holding):
        rest = sorted((c for _key, c in holding[turn + 1 :]), reverse=True)
        lacking = goal - sum(c for _key, c in chosen) - count
        if len(chosen) < size and sum(rest[: size - len(chosen) - 1]) >= lacking:
            chosen.append((key, count))
    return _share_out(chosen, goal)


def _how_many(bins: Sequence[tuple[int, int]], goal: int) -> int:
    """The least number of bins that together hold the goal."""
    held = 0
    for number, count in enumerate(sorted((c for _key, c in bins), reverse=True), start=1):
        held += count
        if held >= goal:
            return number
    return len(bins)


def _share_out(chosen: Sequence[tuple[int, int]], goal: int) -> list[tuple[int, int]]:
    out: list[tuple[int, int]] = []
    for key, count in chosen:
        got = min(count, goal - sum(taken for _key, taken in out))
        if got > 0:
            out.append((key, got))
    return out

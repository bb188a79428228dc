"""Counts over time: nobody is told of more than there is, and bins are few and near."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tooling.engineering.counts_over_time import (
    Bin,
    Claimant,
    Wanted,
    bins_for,
    fewest_bins,
    share_of,
)

pytestmark = pytest.mark.one_database
START = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
SHOP, CUSTOMER = 0, 1


def hour(n: float) -> datetime:
    return START + timedelta(hours=n)


def kit(key: int, begins: float, ends: float, wants: int, **fields: object) -> Claimant:
    fields.setdefault("may_use", (SHOP,))
    turn = (hour(begins), f"J{key:03d}")
    return Claimant(key, hour(begins), hour(ends), turn, wants, **fields)  # type: ignore[arg-type]


def told(share: object) -> tuple[int, int, int]:
    return (share.to_fetch, share.taken, share.missing)  # type: ignore[attr-defined]


def test_alone_it_has_what_there_is_and_lacks_the_rest() -> None:
    assert told(share_of(kit(1, 2, 9, 6), [], {SHOP: 4}, now=START)) == (4, 0, 2)


def test_a_kit_that_gathers_first_at_the_same_time_has_them_first() -> None:
    first, second = kit(1, 2, 9, 6), kit(2, 5, 12, 6)
    assert told(share_of(first, [second], {SHOP: 8}, now=START)) == (6, 0, 0)
    share = share_of(second, [first], {SHOP: 8}, now=START)
    assert told(share) == (2, 4, 0)
    assert [(h.key, h.count, h.until) for h in share.holders] == [(1, 6, hour(9))]


def test_what_is_gathered_comes_back_when_the_kit_that_has_it_ends() -> None:
    running = kit(1, -5, 4, 0, gathered={SHOP: 6})
    assert told(share_of(kit(2, 4, 9, 6), [running], {SHOP: 1}, now=START)) == (6, 0, 0)
    share = share_of(kit(2, 3.9, 9, 6), [running], {SHOP: 1}, now=START)
    assert told(share) == (1, 5, 0)
    assert share.holder_of(5) == share.holders[0]


def test_what_should_be_back_by_now_and_is_not_is_not_there() -> None:
    late = kit(1, -9, -1, 0, gathered={SHOP: 6})
    assert told(share_of(kit(2, -0.5, 9, 6), [late], {}, now=START)) == (0, 6, 0)
    assert told(share_of(kit(2, 0.5, 9, 6), [late], {}, now=START)) == (6, 0, 0)


def test_what_a_later_kit_has_gathered_already_is_taken_all_the_same() -> None:
    eager = kit(1, 50, 60, 0, gathered={SHOP: 6})
    assert told(share_of(kit(2, 2, 9, 6), [eager], {SHOP: 1}, now=START)) == (1, 5, 0)


def test_each_of_the_taken_comes_back_with_the_first_that_brings_enough() -> None:
    others = [kit(1, -2, 20, 0, gathered={SHOP: 3}), kit(2, -2, 10, 0, gathered={SHOP: 2})]
    share = share_of(kit(3, 1, 9, 5), others, {}, now=START)
    back = [share.holder_of(nth) for nth in range(1, 6)]
    assert [holder.key for holder in back if holder] == [2, 2, 1, 1, 1]
    assert share.holder_of(6) is None


def test_a_customers_own_are_taken_by_its_kits_before_the_shops() -> None:
    theirs = kit(1, 2, 9, 6, may_use=(CUSTOMER, SHOP))
    free = {CUSTOMER: 5, SHOP: 5}
    assert told(share_of(kit(2, 3, 9, 6), [theirs], free, now=START)) == (4, 1, 1)
    assert told(share_of(theirs, [], free, now=START)) == (6, 0, 0)
    assert told(share_of(kit(2, 3, 9, 6), [], {CUSTOMER: 9}, now=START)) == (0, 0, 6)


def test_what_was_chosen_by_hand_goes_first() -> None:
    theirs = kit(1, 2, 9, 4, may_use=(CUSTOMER, SHOP), bound={SHOP: 3})
    free = {CUSTOMER: 5, SHOP: 5}
    assert told(share_of(kit(2, 3, 9, 5), [theirs], free, now=START)) == (2, 3, 0)


kits = st.lists(
    st.builds(
        lambda begins, long, wants, own, mine, shops, done: (
            begins, begins + long, wants, own, {CUSTOMER: mine, SHOP: shops}, done,
        ),
        begins=st.integers(-6, 12),
        long=st.integers(1, 8),
        wants=st.integers(0, 4),
        own=st.booleans(),
        mine=st.integers(0, 2),
        shops=st.integers(0, 3),
        done=st.booleans(),
    ),
    max_size=5,
)  # fmt: skip


@given(rows=kits, free=st.tuples(st.integers(0, 5), st.integers(0, 5)))
@settings(max_examples=300, deadline=None)
def test_at_no_moment_are_kits_told_of_more_than_there_is(rows, free) -> None:
    """Of every set of kinds that some kits are bound to, they are told of no more than exists."""
    claimants = [
        kit(
            n, begins, ends, wants,
            may_use=(CUSTOMER, SHOP) if own else (SHOP,),
            gathered=gathered if own else {SHOP: gathered[SHOP]},
        )
        for n, (begins, ends, wants, own, gathered, _done) in enumerate(rows)
    ]  # fmt: skip
    there = {CUSTOMER: free[0], SHOP: free[1]}
    shares = {
        me.key: share_of(me, [o for o in claimants if o is not me], there, now=START)
        for me in claimants
    }
    for me in claimants:
        assert sum(told(shares[me.key])) == me.wants
        assert min(told(shares[me.key])) >= 0
    whole = {
        kind: there[kind] + sum(c.gathered.get(kind, 0) for c in claimants)
        for kind in (CUSTOMER, SHOP)
    }
    for moment in range(0, 22):
        bound = [c for c in claimants if c.begins <= hour(moment) < c.ends]
        has = {c.key: shares[c.key].to_fetch + sum(c.gathered.values()) for c in bound}
        only_shops = [c for c in bound if c.may_use == (SHOP,)]
        assert sum(has[c.key] for c in only_shops) <= whole[SHOP]
        assert sum(has.values()) <= whole[SHOP] + whole[CUSTOMER]


@given(
    counts=st.lists(st.integers(0, 5), max_size=6),
    wanted=st.integers(0, 14),
)
@settings(max_examples=200, deadline=None)
def test_the_fewest_bins_and_of_these_the_nearest_equal_brute_force(counts, wanted) -> None:
    bins = list(enumerate(counts))
    got = fewest_bins(bins, wanted)
    goal = min(wanted, sum(counts))
    assert sum(count for _key, count in got) == goal
    assert all(0 < count <= counts[key] for key, count in got)
    sizes = range(len(bins) + 1)
    ways = (way for size in sizes for way in combinations(range(len(bins)), size))
    best = next(way for way in ways if sum(counts[n] for n in way) >= goal)
    assert tuple(key for key, _count in got) == best


def test_bins_that_others_empty_first_are_passed_by() -> None:
    bins = [Bin(10, SHOP, 4), Bin(11, SHOP, 9)]
    first, me = Wanted(kit(1, 2, 9, 4)), Wanted(kit(2, 3, 9, 6))
    assert bins_for(me, [first], bins, most=6, now=START) == {11: 6}
    assert bins_for(me, [], bins, most=3, now=START) == {10: 3}
    assert bins_for(first, [me], bins, most=4, now=START) == {10: 4}


def test_a_bin_chosen_by_hand_is_taken_as_far_as_it_goes() -> None:
    bins = [Bin(10, SHOP, 4), Bin(11, SHOP, 2), Bin(12, CUSTOMER, 9)]
    me = Wanted(kit(1, 2, 9, 5), bound={11: 3, 12: 1})
    assert bins_for(me, [], bins, most=5, now=START) == {10: 2, 11: 2, 12: 1}


def test_a_kit_whose_time_is_over_keeps_no_bin() -> None:
    bins = [Bin(10, SHOP, 4)]
    over, me = Wanted(kit(1, -9, -1, 4)), Wanted(kit(2, 3, 9, 4))
    assert bins_for(me, [over], bins, most=4, now=START) == {10: 4}

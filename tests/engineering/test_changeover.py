"""What stays on a shaft and what is handled, by hand; minutes from a mill's own setups."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.engineering.changeover import Effort, Load, Mounted, change_between, forecast


def rolls(*keys: str) -> tuple[Mounted, ...]:
    """Rolls of 10 kg; a key that starts with s is a pooled spacer of 1 kg."""
    return tuple(Mounted(k, 1.0 if k[0] == "s" else 10.0, k[0] == "s") for k in keys)


def load(**shafts: tuple[Mounted, ...]) -> Load:
    """``t3=`` is the top shaft of station 3."""
    names = {"t": "top", "b": "bottom"}
    return Load({(int(k[1:]), names[k[0]]): stack for k, stack in shafts.items()})


def test_the_common_beginning_from_the_shoulder_stays() -> None:
    """By hand: A and B stay, C comes off, D goes on: one station, one shaft, two pieces, 20 kg."""
    change = change_between(load(t1=rolls("A", "B", "C")), load(t1=rolls("A", "B", "D")))
    [shaft] = change.shafts
    assert [p.key for p in shaft.stays] == ["A", "B"]
    assert ([p.key for p in shaft.off], [p.key for p in shaft.on]) == (["C"], ["D"])
    assert change.effort == Effort(1, 1, 2, 20.0)
    assert change.opened == (1,)


def test_what_comes_off_comes_off_outermost_first() -> None:
    change = change_between(load(t1=rolls("A", "B", "C")), load(t1=rolls("X", "B", "C")))
    assert [p.key for p in change.shafts[0].off] == ["C", "B", "A"]
    assert [p.key for p in change.shafts[0].on] == ["X", "B", "C"]


def test_a_station_whose_whole_stacks_stay_is_kept_closed() -> None:
    one = load(t1=rolls("A"), b1=rolls("B"), t2=rolls("C"))
    other = load(t1=rolls("A"), b1=rolls("B"), t2=rolls("D"))
    assert change_between(one, other).opened == (2,)
    assert change_between(one, one).effort == Effort()


def test_a_shorter_stack_opens_the_station_though_nothing_goes_on() -> None:
    """By hand: B comes off; the stack is not what is mounted, so the station is opened."""
    change = change_between(load(t1=rolls("A", "B")), load(t1=rolls("A")))
    assert change.effort == Effort(1, 1, 1, 10.0)


def test_a_pooled_fill_beside_a_roll_that_changes_is_touched() -> None:
    """By hand: s1 and s2 come off and go on again with the new roll: 2 + 1 off, 2 + 1 on."""
    change = change_between(
        load(t1=rolls("A", "s1", "s2", "B")), load(t1=rolls("A", "s1", "s2", "C"))
    )
    assert [p.key for p in change.shafts[0].stays] == ["A"]
    assert change.effort == Effort(1, 1, 6, 24.0)


def test_idle_stations_are_stripped_unless_left_on() -> None:
    now = load(t1=rolls("A"), t2=rolls("B"))
    stripped = change_between(now, load(t1=rolls("A")))
    assert (stripped.opened, stripped.effort) == ((2,), Effort(1, 1, 1, 10.0))
    left = change_between(now, Load({(1, "top"): rolls("A")}, frozenset({2})))
    assert (left.opened, left.effort) == ((2,), Effort(1, 0, 0, 0.0))


def test_a_shaft_that_must_be_stripped_is_with_its_reason() -> None:
    one = load(t1=rolls("A", "B"))
    change = change_between(one, one, must_strip={(1, "top"): "shoulder check due"})
    assert change.effort == Effort(1, 1, 4, 40.0)
    assert change.shafts[0].reason == "shoulder check due"


STACKS = st.dictionaries(
    st.tuples(st.integers(1, 3), st.sampled_from(["top", "bottom"])),
    st.lists(st.sampled_from(["A", "B", "C", "s1"]), max_size=4).map(lambda k: rolls(*k)),
)


@given(one=STACKS, other=STACKS)
def test_off_and_on_turn_one_load_into_the_other(one, other) -> None:
    """Property: what stays and goes on is the next stack, what stays and comes off the present."""
    change = change_between(Load(one), Load(other))
    for each in change.shafts:
        spot = (each.station, each.shaft)
        assert each.stays + tuple(reversed(each.off)) == one.get(spot, ())
        assert each.stays + each.on == other.get(spot, ())
    assert (change.effort == Effort()) == all(
        one.get(spot, ()) == other.get(spot, ()) for spot in {*one, *other}
    )
    assert change_between(Load(other), Load(one)).effort.pieces == change.effort.pieces


def test_until_a_mill_has_five_of_its_own_the_setting_counts() -> None:
    four = forecast(opened=6, timed=[(3, 90.0)] * 4, minutes_per_opened=20)
    assert (four.minutes, four.timed) == (120.0, 0)


def test_then_the_median_of_its_own_and_their_range() -> None:
    """By hand: 20, 25, 30, 30, 60 min a station; 6 stations: 180, from 120 to 360."""
    timed = [(2, 40.0), (4, 100.0), (1, 30.0), (10, 300.0), (1, 60.0), (0, 5.0)]
    own = forecast(opened=6, timed=timed, minutes_per_opened=20)
    assert (own.minutes, own.least, own.most, own.timed) == (180.0, 120.0, 360.0, 5)


@pytest.mark.parametrize(
    "wrong", [{"opened": -1}, {"minutes_per_opened": -1}, {"timed": [(1, -2.0)]}]
)
def test_nonsense_is_refused(wrong) -> None:
    with pytest.raises(ValueError, match="negative"):
        forecast(**{"opened": 1, "timed": [], "minutes_per_opened": 20, **wrong})

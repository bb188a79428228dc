"""The plan's own pauses are kept when jobs are laid out in another order."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tooling.engineering.mill_time import Slot, mill_time

DAY = 24 * 60


def test_two_day_shifts_with_a_night_between() -> None:
    """08:00 to 16:00 on two days, an hour's changeover before each; now is 06:00."""
    time = mill_time([Slot(120, 480, 60), Slot(120 + DAY, 480, 60)])
    assert time.spans == ((60, 600), (60 + DAY, float("inf")))
    assert time.worked(600) == 540
    assert time.worked(1_000) == 540, "nothing is worked in the night"
    assert time.starting(60) == 120
    assert time.ending(540) == 600
    assert time.starting(540) == 60 + DAY, "what starts after the night starts in the morning"
    assert time.starting(600) == 120 + DAY


def test_no_job_is_open_time_from_now() -> None:
    time = mill_time([])
    assert (time.worked(90), time.starting(90), time.ending(90)) == (90, 90, 90)


def test_a_plan_that_overlaps_runs_on() -> None:
    time = mill_time([Slot(0, 100, 10), Slot(50, 100, 10)])
    assert time.spans == ((0, float("inf")),)


def test_what_should_have_started_starts_now() -> None:
    assert mill_time([Slot(-500, 60, 20)]).starting(20) == 20


def test_negative_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="not negative"):
        Slot(0, -1)


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.integers(0, 5_000), st.integers(1, 900), st.integers(0, 300)), max_size=6
    ),
    st.integers(0, 9_000),
)
def test_reading_back_is_reading(rows: list[tuple[int, int, int]], worked: int) -> None:
    time = mill_time([Slot(*row) for row in rows])
    assert time.worked(time.starting(worked)) == pytest.approx(worked)
    assert time.worked(time.ending(worked)) == pytest.approx(worked)
    assert time.ending(worked) <= time.starting(worked)


@settings(max_examples=60)
@given(
    st.lists(st.tuples(st.integers(0, 600), st.integers(1, 900), st.integers(0, 300)), max_size=6)
)
def test_the_plan_itself_stays_where_it_is(rows: list[tuple[int, int, int]]) -> None:
    """Slots with room for their changeovers come back at their own times."""
    slots, clock = [], 0.0
    for pause, runs, changes in rows:
        slots.append(Slot(clock + pause + changes, runs, changes))
        clock = slots[-1].starts + runs
    time, worked = mill_time(slots), 0.0
    for slot in slots:
        assert time.starting(worked + slot.changes) == pytest.approx(slot.starts)
        worked += slot.changes + slot.runs

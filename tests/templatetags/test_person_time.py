"""Times as a person says them, on the day of the shop's zone."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from tooling.templatetags.person_time import say_day, say_time

AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)  # a Wednesday


@pytest.mark.parametrize(
    ("ahead", "said"),
    [
        (timedelta(seconds=30), "now"),
        (timedelta(seconds=-30), "now"),
        (timedelta(minutes=1), "in 1 min"),
        (timedelta(minutes=25), "in 25 min"),
        (timedelta(minutes=-89), "89 min ago"),
        (timedelta(minutes=90), "in 2 h"),
        (timedelta(hours=3), "in 3 h"),
        (timedelta(hours=-3, minutes=-20), "3 h ago"),
        (timedelta(hours=14), "today 23:00"),
        (timedelta(hours=21), "tomorrow 06:00"),
        (timedelta(hours=-13), "yesterday 20:00"),
        (timedelta(days=2), "Friday 09:00"),
        (timedelta(days=-2), "Mon 23 Nov 09:00"),
        (timedelta(days=7), "2 Dec"),
        (timedelta(days=-30), "26 Oct"),
        (timedelta(days=60), "24 Jan 2027"),
    ],
)
def test_a_time_is_said_as_a_person_would(ahead: timedelta, said: str) -> None:
    assert say_time(AT + ahead, at=AT) == said


@pytest.mark.parametrize(
    ("day", "said"),
    [
        (date(2026, 11, 25), "today"),
        (date(2026, 11, 24), "yesterday"),
        (date(2026, 11, 26), "tomorrow"),
        (date(2026, 11, 23), "Mon 23 Nov"),
        (date(2026, 10, 26), "26 Oct"),
        (date(2025, 11, 25), "25 Nov 2025"),
    ],
)
def test_a_day_is_said_without_a_clock(day: date, said: str) -> None:
    assert say_day(day, today=AT.date()) == said


def test_the_day_is_the_shops_day_not_utc() -> None:
    late = datetime(2026, 11, 25, 23, 30, tzinfo=UTC)
    with timezone.override(ZoneInfo("Europe/Berlin")):  # an hour ahead of UTC in November
        assert say_time(late, at=AT) == "tomorrow 00:30"


def test_hours_are_real_hours_over_a_clock_change() -> None:
    # Berlin, 25 October 2026: clocks go back from 03:00 to 02:00, at 01:00 UTC.
    with timezone.override(ZoneInfo("Europe/Berlin")):
        before, after = datetime(2026, 10, 25, 0, tzinfo=UTC), datetime(2026, 10, 25, 3, tzinfo=UTC)
        assert say_time(after, at=before) == "in 3 h"


@given(st.integers(min_value=60, max_value=11 * 3600))
def test_ahead_and_ago_name_the_same_span(seconds: int) -> None:
    span = timedelta(seconds=seconds)
    ahead, ago = say_time(AT + span, at=AT), say_time(AT - span, at=AT)
    assert ahead.removeprefix("in ") == ago.removesuffix(" ago")

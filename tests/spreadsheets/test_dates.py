"""Dates read the one way they can be meant; where there are two, a person is asked."""

from __future__ import annotations

from datetime import date, datetime, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.errors import ToolingError
from tooling.spreadsheets.dates import to_date, to_time

PI_DAY = date(2026, 3, 14)


@pytest.mark.parametrize(
    "written",
    [
        *("2026-03-14", "2026/3/14", "20260314", 20260314, "14.3.2026", "14/03/26", "3/14/2026"),
        *("14 Mar 2026", "14-March-26", "March 14, 2026", "Mar 14th 2026", "2026-03-14 06:30"),
        *(datetime(2026, 3, 14, 6, 30), PI_DAY),  # noqa: DTZ001
    ],
)
def test_a_date_that_can_be_read_one_way_needs_no_order(written: object) -> None:
    assert to_date(written, order=None) == PI_DAY  # type: ignore[arg-type]


@pytest.mark.parametrize(("order", "month"), [("dmy", 4), ("mdy", 3)])
def test_the_order_that_a_person_chose_decides(order: str, month: int) -> None:
    assert to_date("03/04/2026", order=order).month == month


def test_year_first_with_two_figures_is_read_when_chosen() -> None:
    assert to_date("26-03-14", order="ymd") == PI_DAY


def test_a_date_with_two_readings_is_asked_about_with_both() -> None:
    with pytest.raises(ToolingError) as raised:
        to_date("03/04/2026", order=None)
    assert raised.value.code == "ambiguous_date"
    assert "2026-04-03" in raised.value.message
    assert "2026-03-04" in raised.value.message


@pytest.mark.parametrize(("written", "order"), [("25/03/2026", "mdy"), ("03/25/2026", "dmy")])
def test_a_date_of_the_other_order_is_refused_by_name(written: str, order: str) -> None:
    with pytest.raises(ToolingError) as raised:
        to_date(written, order=order)
    assert raised.value.code == "other_date_order"
    assert "no month 25" in raised.value.message


def test_same_day_and_month_read_one_way() -> None:
    assert to_date("05/05/2026", order=None) == date(2026, 5, 5)


def test_two_figures_of_a_year_mean_the_nearer_century() -> None:
    assert to_date("1.2.98", order="dmy").year == 1998
    assert to_date("1.2.26", order="dmy").year == 2026


@pytest.mark.parametrize("written", ["yesterday", "31.2.2026", "14 Foo 2026", 45000, 2.5, True])
def test_what_is_no_date_is_refused(written: object) -> None:
    with pytest.raises(ToolingError) as raised:
        to_date(written, order=None)  # type: ignore[arg-type]
    assert raised.value.code == "not_a_date"


@pytest.mark.parametrize("written", ["1889-03-14", "2206-03-14"])
def test_a_date_of_another_century_is_absurd(written: str) -> None:
    with pytest.raises(ToolingError) as raised:
        to_date(written, order=None)
    assert raised.value.code == "absurd_value"


@given(st.dates(date(1950, 1, 1), date(2099, 12, 31)), st.sampled_from(["dmy", "mdy"]))
def test_every_date_reads_back_in_its_order(day: date, order: str) -> None:
    written = day.strftime("%d/%m/%Y" if order == "dmy" else "%m/%d/%Y")
    assert to_date(written, order=order) == day


@pytest.mark.parametrize(
    ("written", "moment"),
    [
        ("06:30", time(6, 30)),
        ("6:30 pm", time(18, 30)),
        ("12 am", time(0)),
        ("6 AM", time(6)),
        ("22:15:30", time(22, 15, 30)),
        (time(6, 30), time(6, 30)),
        (datetime(2026, 3, 14, 6, 30), time(6, 30)),  # noqa: DTZ001
    ],
)
def test_a_time_of_day_is_read(written: object, moment: time) -> None:
    assert to_time(written) == moment  # type: ignore[arg-type]


@pytest.mark.parametrize("written", ["25:00", "6", "noon", "13 pm", 0.25])
def test_what_is_no_time_of_day_is_refused(written: object) -> None:
    with pytest.raises(ToolingError) as raised:
        to_time(written)  # type: ignore[arg-type]
    assert raised.value.code == "not_a_time"

"""Numbers read the one way they can be meant, and are asked about where there are two."""

from __future__ import annotations

from datetime import datetime, time
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.errors import ToolingError
from tooling.spreadsheets.numbers import to_decimal, to_integer, to_numbers, to_ratio


@pytest.mark.parametrize(
    ("written", "mark", "number"),
    [
        ("63.5", None, "63.5"),
        ("63,5", None, "63.5"),
        (".0625", None, "0.0625"),
        ("1.234,5", None, "1234.5"),
        ("1,234.5", None, "1234.5"),
        ("12 345,5", None, "12345.5"),
        ("1'234.5", None, "1234.5"),
        ("0,500", None, "0.5"),
        ("1,234", ",", "1.234"),
        ("1,234", ".", "1234"),
        ("1.234", ",", "1234"),
        ("1.234", None, "1.234"),
        ("−3.5", None, "-3.5"),
        (60, None, "60"),
        (0.1 + 0.2, None, "0.3"),
    ],
)
def test_a_number_is_read_as_it_is_meant(written: object, mark: str | None, number: str) -> None:
    assert to_decimal(written, mark=mark) == Decimal(number)  # type: ignore[arg-type]


def test_a_lone_comma_before_three_figures_is_asked_about_with_both_readings() -> None:
    with pytest.raises(ToolingError) as raised:
        to_decimal("1,234", mark=None)
    assert raised.value.code == "ambiguous_number"
    assert "1.234" in raised.value.message
    assert "1234" in raised.value.message


@pytest.mark.parametrize(
    "written",
    ["", "abc", "1..2", "1,23,4", "12,34.5", "1.2.3", "--1", "1e3", "nan", "inf", True, "9" * 80],
)
def test_what_is_no_number_is_said_to_be_none(written: object) -> None:
    with pytest.raises(ToolingError) as raised:
        to_decimal(written, mark=None)  # type: ignore[arg-type]
    assert raised.value.code == "not_a_number"


@given(st.decimals(-(10**9), 10**9, places=4))
def test_a_number_written_with_a_comma_and_its_mark_reads_back(number: Decimal) -> None:
    assert to_decimal(f"{number:f}".replace(".", ","), mark=",") == number


def test_a_whole_number_may_have_its_thousands_parted() -> None:
    assert to_integer("12,345", mark=None) == 12_345


def test_a_point_between_thousands_of_a_count_is_asked_about() -> None:
    with pytest.raises(ToolingError) as raised:
        to_integer("1.250", mark=None)
    assert raised.value.code == "ambiguous_number"
    assert to_integer("1.250", mark=",") == 1_250


@pytest.mark.parametrize("mark", [".", ","])
def test_no_thousands_begin_with_a_nought(mark: str) -> None:
    written = {".": "0,064", ",": "0.064"}[mark]
    with pytest.raises(ToolingError) as raised:
        to_decimal(written, mark=mark)
    assert raised.value.code == "not_a_number"


def test_part_of_a_roll_cannot_be_counted() -> None:
    with pytest.raises(ToolingError) as raised:
        to_integer("2.5", mark=None)
    assert raised.value.code == "not_whole"


@pytest.mark.parametrize(
    ("written", "ratio"),
    [
        ("1.05", "1.05"),
        ("1.05:1", "1.05"),
        ("21/20", "1.05"),
        ("21 to 20", "1.05"),
        ("1,05:1", "1.05"),
        ("22:21", "1.047619"),  # 22 / 21 = 1.0476190…
        (1.25, "1.25"),
    ],
)
def test_a_ratio_is_read_in_each_of_its_forms(written: object, ratio: str) -> None:
    assert to_ratio(written, mark=None) == Decimal(ratio)  # type: ignore[arg-type]


@pytest.mark.parametrize("written", ["1:0", "a:b", "1:2:3"])
def test_what_is_no_ratio_is_refused(written: str) -> None:
    with pytest.raises(ToolingError) as raised:
        to_ratio(written, mark=None)
    assert raised.value.code == "not_a_number"


@pytest.mark.parametrize("cell", [datetime(2026, 1, 2), time(21, 20)])  # noqa: DTZ001
def test_a_fraction_that_a_program_turned_into_a_date_is_named_as_such(cell: object) -> None:
    with pytest.raises(ToolingError) as raised:
        to_ratio(cell, mark=None)  # type: ignore[arg-type]
    assert raised.value.code == "date_not_expected"


@pytest.mark.parametrize(
    ("written", "numbers"),
    [
        (7, (7,)),
        ("7", (7,)),
        ("1-4", (1, 2, 3, 4)),
        ("1 to 3", (1, 2, 3)),
        ("1–3", (1, 2, 3)),
        ("5, 1, 3-4", (1, 3, 4, 5)),
    ],
)
def test_stations_may_be_written_as_a_run(written: object, numbers: tuple[int, ...]) -> None:
    assert to_numbers(written) == numbers  # type: ignore[arg-type]


@pytest.mark.parametrize("written", ["4-1", "1-", "a", "1-999999999", ""])
def test_what_is_no_run_of_numbers_is_refused(written: str) -> None:
    with pytest.raises(ToolingError) as raised:
        to_numbers(written)
    assert raised.value.code == "not_a_number"

"""Money is whole hundredths, however it is written."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.engineering.money import MOST_CENTS, parse_money, plain_money, say_money
from tooling.errors import ToolingError


@pytest.mark.parametrize(
    ("text", "cents"),
    [
        ("0", 0),
        ("1250", 125_000),
        (" 1250.5 ", 125_050),
        ("1250,50", 125_050),
        ("1,250.00", 125_000),
        ("1.250,00", 125_000),
        ("1 250,05", 125_005),
        ("12,345,678.90", 1_234_567_890),
        (".50", 50),
    ],
)
def test_an_amount_is_read_as_people_write_it(text: str, cents: int) -> None:
    assert parse_money(text) == cents


@pytest.mark.parametrize(
    "text", ["", "much", "-5", "1.2345", "0.005", "1/2", "12 mm", "1e9", "NaN", "9" * 20]
)
def test_what_is_no_amount_is_refused(text: str) -> None:
    with pytest.raises(ToolingError) as problem:
        parse_money(text)
    assert problem.value.code == "not_money"


@pytest.mark.parametrize("text", ["1,250", "1.250", " 999.000"])
def test_what_two_countries_read_differently_is_asked_about(text: str) -> None:
    with pytest.raises(ToolingError) as problem:
        parse_money(text)
    assert problem.value.code == "ambiguous_money"
    assert problem.value.values["large"] in problem.value.message


@given(st.integers(min_value=0, max_value=MOST_CENTS))
def test_what_is_shown_in_a_field_is_read_back_exactly(cents: int) -> None:
    assert parse_money(plain_money(cents)) == cents


def test_it_is_said_with_the_currency_if_the_shop_has_one() -> None:
    assert say_money(123_456_789, "USD") == "1\u202f234\u202f567.89 USD"
    assert say_money(5, "") == "0.05"

"""What a spreadsheet program would run never reaches it, and comes back as it went out."""

from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.spreadsheets.cells import CellError, clean, guard, is_blank, shown, unguard

# The characters that OWASP's page on CSV injection names as starting a formula.
FORMULA_STARTS = "=+-@\t\r\n"


@pytest.mark.parametrize("text", ["=1+1", "+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1"])
def test_a_text_like_a_formula_is_written_so_that_it_does_not_start_as_one(text: str) -> None:
    assert guard(text)[0] == "'"


@given(st.text(alphabet=st.sampled_from("=+-@'\t\n a#REF!/N"), max_size=12))
def test_no_guarded_text_starts_like_a_formula(text: str) -> None:
    assert not guard(text).startswith(tuple(FORMULA_STARTS))


@given(st.text(alphabet=st.sampled_from("=+-@'\t\n a#REF!/N"), max_size=12))
def test_a_guarded_text_reads_back_as_itself(text: str) -> None:
    assert unguard(guard(text)) == text


@given(st.text(max_size=30))
def test_any_text_reads_back_as_its_clean_self(text: str) -> None:
    assert unguard(guard(text)) == clean(text)


@pytest.mark.parametrize("text", ["#REF!", "#N/A", "#div/0!"])
def test_a_text_that_looks_like_an_error_is_guarded(text: str) -> None:
    assert guard(text) == "'" + text


def test_a_harmless_text_is_written_as_it_is() -> None:
    assert guard("1472-07-T2") == "1472-07-T2"


def test_an_apostrophe_that_guards_nothing_is_kept() -> None:
    assert unguard("'t Hooft") == "'t Hooft"


def test_foreign_texts_lose_their_outer_spaces() -> None:
    assert unguard("  top \u00a0") == "top"


@pytest.mark.parametrize("cell", [None, "", "  ", "\t\u00a0"])
def test_nothing_and_spaces_are_blank(cell: str | None) -> None:
    assert is_blank(cell)


@pytest.mark.parametrize("cell", [0, 0.0, False, "0", CellError("#REF!")])
def test_zero_and_errors_are_not_blank(cell: object) -> None:
    assert not is_blank(cell)  # type: ignore[arg-type]


def test_a_float_is_shown_with_the_fifteen_figures_that_a_workbook_keeps() -> None:
    assert shown(0.1 + 0.2) == "0.3"


def test_a_date_is_shown_without_midnight() -> None:
    assert shown(datetime(2026, 3, 14)) == "2026-03-14"  # noqa: DTZ001

"""One cell with its field gives one value in nm, g and plain types, or one stated problem."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.errors import ToolingError
from tooling.spreadsheets.cells import CellError
from tooling.spreadsheets.fields import Field, FieldType
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.measures import Reading
from tooling.spreadsheets.values import read_value

BORE = KINDS["drawings"].field("bore")
OFFSET = KINDS["mills"].field("shoulder_offset")
RUN = KINDS["length_run"].field("length")
MASS = KINDS["pieces"].field("mass")
CONDITION = KINDS["pieces"].field("condition")
MM, INCH = Reading(unit="mm"), Reading(unit="in")


def value(field: Field, cell: Any, how: Reading = MM) -> Any:
    return read_value(field, cell, how)[0]


def refusal(field: Field, cell: Any, how: Reading = MM) -> ToolingError:
    with pytest.raises(ToolingError) as raised:
        read_value(field, cell, how)
    return raised.value


@pytest.mark.parametrize(
    ("cell", "how", "nm"),
    [
        ("63.5", MM, 63_500_000),
        ("63,5 mm", INCH, 63_500_000),
        ("2.500", INCH, 63_500_000),
        ("2 1/2", INCH, 63_500_000),
        ('2-1/2"', MM, 63_500_000),
        ("Ø 60", MM, 60_000_000),
        (60, MM, 60_000_000),
        (2.5, INCH, 63_500_000),
        ("1.234,5 mm", Reading(unit="mm", decimal_mark=","), 1_234_500_000),
        ("63,500", Reading(unit="mm", decimal_mark=","), 63_500_000),
    ],
)
def test_a_bore_is_read_in_whole_nanometres(cell: object, how: Reading, nm: int) -> None:
    field = Field("bore", "Bore", type=FieldType.LENGTH)
    assert value(field, cell, how) == nm


def test_the_unit_in_the_cell_is_told_beside_the_value() -> None:
    assert read_value(BORE, "2.5 in", MM) == (63_500_000, "in")


def test_a_computed_number_is_taken_to_the_nearest_nanometre() -> None:
    assert value(BORE, 60 / 25.4, INCH) == 60_000_000


def test_a_typed_number_finer_than_a_nanometre_is_refused() -> None:
    assert refusal(BORE, "2.36220472440945", INCH).code == "too_fine_length"


@pytest.mark.parametrize(
    ("field", "cell", "how", "code"),
    [
        (BORE, "63,500", MM, "ambiguous_length"),
        (BORE, "2 1/2", MM, "ambiguous_length"),
        (BORE, "2.5", MM, "improbable_value"),
        (BORE, 2.5, MM, "improbable_value"),
        (BORE, "-60", MM, "negative_length"),
        (BORE, -60, MM, "negative_length"),
        (BORE, "0 mm", MM, "absurd_length"),
        (BORE, "6000 mm", MM, "absurd_length"),
        (BORE, "60", Reading(), "unit_missing"),
        (BORE, "about 60", MM, "not_a_length"),
        (BORE, True, MM, "not_a_number"),
        (BORE, datetime(2026, 2, 1), MM, "date_not_expected"),  # noqa: DTZ001
        (BORE, CellError("#REF!"), MM, "cell_error"),
        (RUN, "12000", Reading(), "unit_missing"),
        (RUN, "-1 m", Reading(), "negative_length"),
        (MASS, "12", Reading(), "unit_missing"),
        (MASS, "12 stone", Reading(), "not_a_number"),
        (MASS, "-2 kg", Reading(), "negative_value"),
        (MASS, "90 000 kg", Reading(), "absurd_value"),
        (CONDITION, "shiny", Reading(), "unknown_choice"),
        (KINDS["stock"].field("count"), "-3", Reading(), "negative_value"),
        (KINDS["pieces"].field("hardness"), "600", Reading(), "absurd_value"),
        (KINDS["pieces"].field("over_chrome"), "perhaps", Reading(), "not_yes_or_no"),
        (KINDS["pieces"].field("unit"), "furlong", Reading(), "unknown_choice"),
        (KINDS["pieces"].field("mark"), "x" * 41, Reading(), "too_long"),
        (KINDS["pieces"].field("mark"), datetime(2026, 1, 7), Reading(), "date_not_expected"),  # noqa: DTZ001
    ],
)
def test_a_bad_cell_gets_its_own_reason(
    field: Field, cell: object, how: Reading, code: str
) -> None:
    assert refusal(field, cell, how).code == code


def test_an_improbable_value_that_a_person_accepted_is_read() -> None:
    how = Reading(unit="mm", accept_improbable=True)
    assert value(BORE, "2.5", how) == 2_500_000


def test_an_improbable_value_with_its_unit_in_the_cell_is_read() -> None:
    assert value(BORE, "2.5 mm", MM) == 2_500_000


def test_the_sentence_names_the_value_the_field_and_the_other_unit() -> None:
    message = refusal(BORE, "2.5").message
    assert "2.5" in message
    assert "Bore" in message
    assert "inch" in message


def test_an_offset_may_be_negative() -> None:
    assert value(OFFSET, -160) == -160_000_000


@pytest.mark.parametrize(
    ("cell", "unit", "nm"),
    [
        ("12000", "m", 12_000 * 10**9),
        ("12 km", "ft", 12_000 * 10**9),
        (12, "km", 12_000 * 10**9),
        ("1000 ft", "m", 304_800 * 10**6),
        (1000, "ft", 304_800 * 10**6),
    ],
)
def test_strip_length_is_read_in_metres_kilometres_and_feet(
    cell: object, unit: str, nm: int
) -> None:
    assert value(RUN, cell, Reading(unit=unit)) == nm


@pytest.mark.parametrize(
    ("cell", "unit", "grams"),
    [
        ("12.5", "kg", 12_500),
        ("12,5 kg", "lb", 12_500),
        (50, "lb", 22_680),  # 50 × 453.59237 = 22 679.6 g
        ("14 lbs", None, 6_350),  # 14 × 453.59237 = 6 350.3 g
        ("850 g", None, 850),
    ],
)
def test_mass_is_read_in_grams(cell: object, unit: str | None, grams: int) -> None:
    assert value(MASS, cell, Reading(unit=unit)) == grams


@pytest.mark.parametrize("mark", [None, ".", ","])
@pytest.mark.parametrize("cell", ["2 1/2", '2-1/2"', "2½", "2 ½ in"])
def test_a_fraction_is_one_whatever_the_decimal_mark(cell: str, mark: str | None) -> None:
    assert value(BORE, cell, Reading(unit="in", decimal_mark=mark)) == 63_500_000


@pytest.mark.parametrize(
    ("cell", "mark", "grams"),
    [("0,064", ",", 64), ("1.018,5", ",", 1_018_500), (1.018, ",", 1_018), ("1,018", ".", 1018000)],
)
def test_a_mass_is_read_by_its_decimal_mark_once(cell: object, mark: str, grams: int) -> None:
    assert value(MASS, cell, Reading(unit="kg", decimal_mark=mark)) == grams


@pytest.mark.parametrize("cell", ["build-up", "Build up", "BUILD_UP", "pickup"])
def test_a_choice_is_known_in_its_spellings(cell: str) -> None:
    assert value(CONDITION, cell) == "build_up"


def test_an_unknown_choice_is_answered_with_those_there_are() -> None:
    assert "chipped" in refusal(CONDITION, "shiny").message


@pytest.mark.parametrize(("cell", "meant"), [("Yes", True), (True, True), (0, False), ("n", False)])
def test_yes_and_no_are_known_in_their_spellings(cell: object, meant: bool) -> None:
    assert value(KINDS["owners"].field("is_shop"), cell) is meant


@pytest.mark.parametrize(
    ("cell", "code"), [(1472, "1472"), (1472.0, "1472"), (" 1472  A ", "1472 A"), ("0042", "0042")]
)
def test_a_code_typed_as_a_number_is_its_figures(cell: object, code: str) -> None:
    assert value(KINDS["sets"].field("set"), cell) == code


@given(st.integers(1, 400_000_000))
def test_every_length_written_in_mm_reads_back(nm: int) -> None:
    field = Field("any", "Any", type=FieldType.LENGTH)
    assert value(field, f"{nm // 1_000_000}.{nm % 1_000_000:06d}") == nm


@given(st.text(max_size=20) | st.floats() | st.integers() | st.booleans() | st.none())
def test_every_cell_whatever_brings_a_value_or_a_stated_problem(cell: Any) -> None:
    fields = (BORE, RUN, MASS, CONDITION, KINDS["jobs"].field("date"))
    assert all(outcome(field, cell) for field in fields)


def outcome(field: Field, cell: Any) -> str:
    """The sentence of the problem, or the value as text; anything else would be raised."""
    try:
        how = Reading(unit=field.units[0] if field.units else None)
        return repr(read_value(field, cell, how))
    except ToolingError as error:
        return error.message

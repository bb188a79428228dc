"""What people write for a length is read exactly, or refused with the reason; never guessed."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tooling.engineering import lengths
from tooling.engineering.lengths import (
    NM_PER_IN,
    NM_PER_MM,
    Length,
    StripLength,
    parse_exact,
    parse_length,
    parse_strip_length,
)
from tooling.errors import ToolingError

nanometres = st.integers(0, lengths.LONGEST_NM)
exact_inch_nm = st.integers(0, lengths.LONGEST_NM // 127).map(lambda count: 127 * count)
units = st.sampled_from(["mm", "in"])


def refused(text, code, **how):
    how.setdefault("unit", "mm")
    with pytest.raises(ToolingError) as caught:
        parse_length(text, **how)
    assert caught.value.code == code
    return caught.value.message


# 1 in = 25.4 mm exactly (international inch, 1959); the rest is arithmetic by hand
@pytest.mark.parametrize(
    ("text", "unit", "nm", "unit_written"),
    [
        ("2.5", "in", 63_500_000, "in"),
        ("2.5", "mm", 2_500_000, "mm"),
        ("2 1/2", "in", 63_500_000, "in"),
        ('2-1/2"', "mm", 63_500_000, "in"),
        ("2 - 1/2 in", "mm", 63_500_000, "in"),
        ("63,5 mm", "in", 63_500_000, "mm"),
        ("63,5", "mm", 63_500_000, "mm"),
        (".0625in", "mm", 1_587_500, "in"),
        ("1/16", "in", 1_587_500, "in"),
        ("1/64", "in", 396_875, "in"),
        ("5/4 in", "mm", 31_750_000, "in"),
        ("0.0001 in", "mm", 2_540, "in"),
        ("0,250", "mm", 250_000, "mm"),
        ("2½", "in", 63_500_000, "in"),
        ("2 ½″", "mm", 63_500_000, "in"),
        ("½ inch", "mm", 12_700_000, "in"),
        ("2\u00a01/2\u00a0in.", "mm", 63_500_000, "in"),
        ("2.5''", "mm", 63_500_000, "in"),
        ("2.5”", "mm", 63_500_000, "in"),
        ("1⁄16 in", "mm", 1_587_500, "in"),
        ("Ø63.5", "mm", 63_500_000, "mm"),
        ("  63.5 MM ", "in", 63_500_000, "mm"),
        ("12 µm", "mm", 12_000, "mm"),
        ("5 thou", "mm", 127_000, "in"),
        ("2.4 m", "mm", 2_400_000_000, "mm"),
        ("8 ft", "mm", 2_438_400_000, "in"),
        ("1,250.5", "mm", 1_250_500_000, "mm"),
        ("1.250,5", "mm", 1_250_500_000, "mm"),
        ("1 250.5", "mm", 1_250_500_000, "mm"),
        ("0", "mm", 0, "mm"),
    ],
)
def test_what_the_trade_writes_is_read_exactly(text, unit, nm, unit_written):
    assert parse_length(text, unit=unit) == Length(nm, unit_written)


@pytest.mark.parametrize(
    ("text", "unit", "readings"),
    [
        ("1,250", "mm", ("1.25 mm", "1250 mm")),
        ("1,250 in", "mm", ("1.25 in", "1250 in")),
        ("12,500", "in", ("12.5 in", "12500 in")),
        ("1 250", "mm", ("1.25 mm", "1250 mm")),
        ("1/16", "mm", ("1/16 in", "0.0625 mm")),
        ("2 1/2", "mm", ("2 1/2 in", "2.5 mm")),
        ("5 mil", "in", ("5 thou", "5 mm")),
    ],
)
def test_a_text_with_two_readings_is_refused_and_both_are_named(text, unit, readings):
    message = refused(text, "ambiguous_length", unit=unit, field="Bore")
    assert message.startswith(f"Bore “{text}”")
    assert [reading in message for reading in readings] == [True, True]


@pytest.mark.parametrize(
    "text",
    [
        *("", " ", "-", ".", ",", "mm", "abc", "1e9", "nan", "inf", "0x10", "5-", "--5", "5..2"),
        *("2 5/4 in", "5/0", "1/2/3 in", "2.5 1/2 in", "2-1/2-3 in", "1,25,5", "1,25.5", "١٢"),
        *("3 furlongs", "63.5 mm mm", "=1+1", "2 in 3", "5 kg", "9" * 61, "3' 2\""),
    ],
)
def test_what_is_no_length_is_refused_and_shown(text):
    message = refused(text, "not_a_length")
    assert text.strip()[:59] in message


def test_a_number_that_would_be_usual_in_inches_is_asked_about():
    message = refused(
        "0.060", "improbable_value", expected_nm=(1 * NM_PER_MM, 6 * NM_PER_MM), field="Strip"
    )
    assert "0.060 in a mm field: did you mean inches?" in message.replace("“", "").replace("”", "")
    assert "1 mm to 6 mm" in message


def test_a_number_that_would_be_usual_in_mm_is_asked_about_in_an_inch_field():
    message = refused("63.5", "improbable_value", unit="in", expected_nm=(NM_PER_IN, 4 * NM_PER_IN))
    assert "did you mean millimetres?" in message


def test_a_number_unusual_in_both_units_is_asked_about_without_a_guess():
    message = refused("700", "improbable_value", expected_nm=(NM_PER_MM, 60 * NM_PER_MM))
    assert "write it with its unit: 700 mm" in message


@pytest.mark.parametrize("text", ["0.060 mm", "0.060 in"])
def test_writing_the_unit_answers_the_question(text):
    expected = (1 * NM_PER_MM, 6 * NM_PER_MM)
    assert parse_length(text, unit="mm", expected_nm=expected).nm in {60_000, 1_524_000}


@pytest.mark.parametrize("text", ["1", "6", "3,3"])
def test_the_usual_range_includes_its_ends(text):
    assert parse_length(text, unit="mm", expected_nm=(NM_PER_MM, 6 * NM_PER_MM)).nm >= NM_PER_MM


@pytest.mark.parametrize(
    ("text", "unit", "neighbours"),
    [
        # 1/128 in = 198 437.5 nm, between 1562 × 127 nm and 1563 × 127 nm
        ("1/128", "in", ("0.00781 ", "0.007815 in")),
        ("1/3", "in", ("0.33333 ", "0.333335 in")),
        ("0.000001", "in", ("0 ", "0.000005 in")),
        ("0.1234567", "mm", ("0.123456 ", "0.123457 mm")),
    ],
)
def test_what_is_finer_than_a_nanometre_is_refused_with_its_neighbours(text, unit, neighbours):
    message = refused(text, "too_fine_length", unit=unit)
    assert [each in message for each in neighbours] == [True, True]


def test_the_neighbours_named_for_a_fine_fraction_can_be_written():
    assert parse_length("0.00781 in", unit="mm").nm == 1562 * 127
    assert parse_length("0.007815 in", unit="mm").nm == 1563 * 127


def test_a_negative_length_is_refused_unless_the_field_is_signed():
    refused("-0.05", "negative_length")
    assert parse_length("−0.05", unit="mm", signed=True).nm == -50_000
    assert parse_length("-2 1/2", unit="in", signed=True).nm == -63_500_000
    assert parse_length("+0.05", unit="mm").nm == 50_000


@pytest.mark.parametrize("text", ["999999", "101 m", "2,500,000", "9" * 60])
def test_a_length_beyond_anything_real_is_refused(text):
    refused(text, "absurd_length")


@given(nanometres)
def test_mm_written_out_read_back_as_the_same_length(nm):
    assert parse_length(lengths.format_length(nm, "mm"), unit="mm").nm == nm


@given(exact_inch_nm)
def test_exact_inches_written_out_read_back_as_the_same_length(nm):
    assert parse_length(lengths.format_length(nm, "in"), unit="in").nm == nm


@given(exact_inch_nm)
def test_an_inch_and_a_mm_reading_of_one_length_agree(nm):
    in_inches = parse_length(f"{lengths.exact_in(nm)} in", unit="mm")
    in_mm = parse_length(f"{lengths.exact_mm(nm)} mm", unit="in")
    assert in_inches.nm == in_mm.nm == nm


@given(st.integers(0, 400), st.integers(0, 63), st.sampled_from([" ", "-", " - "]))
def test_every_64th_of_an_inch_is_exact(whole, sixty_fourths, between):
    nm = parse_length(f"{whole}{between}{sixty_fourths}/64", unit="in").nm
    assert Fraction(nm, NM_PER_IN) == whole + Fraction(sixty_fourths, 64)


@given(st.decimals(0, 1000, places=4), units)
def test_a_comma_means_what_a_point_means(value, unit):
    text = f"{value:f}"
    assert parse_length(text.replace(".", ","), unit=unit) == parse_length(text, unit=unit)


@given(st.integers(-lengths.LONGEST_NM, lengths.LONGEST_NM), units, st.integers(0, 6))
def test_rounding_is_never_off_by_more_than_half_the_last_place(nm, unit, decimals):
    shown = Fraction(lengths.format_length(nm, unit, decimals=decimals))
    exact = Fraction(nm, lengths.NM_PER_UNIT[unit])
    assert abs(shown - exact) <= Fraction(1, 2 * 10**decimals)


@given(st.integers(0, 10**9), st.integers(0, 10**9), units)
def test_a_longer_length_never_shows_a_smaller_number(one, other, unit):
    assume(one <= other)
    shown = [Decimal(lengths.format_length(nm, unit, decimals=3)) for nm in (one, other)]
    assert shown[0] <= shown[1]


@given(st.text(max_size=30), units)
def test_any_text_is_a_length_or_a_stated_problem(text, unit):
    try:
        read = parse_length(text, unit=unit)
    except ToolingError as problem:
        read = None
        message = problem.message
    assert (read is not None and 0 <= read.nm <= lengths.LONGEST_NM) or message.endswith(".")


@pytest.mark.parametrize(
    ("nm", "unit", "decimals", "shown"),
    [
        (63_500_000, "in", None, "2.500"),
        (63_500_000, "mm", None, "63.5"),
        (58_737_500, "in", None, "2.3125"),
        (60_000_000, "mm", None, "60"),
        (60_000_000, "in", None, "2.3622"),  # 60 / 25.4 = 2.362204…
        (63_500_000, "mm", 3, "63.500"),
        (500, "mm", 3, "0.001"),  # half away from zero
        (-500, "mm", 3, "-0.001"),
        (-400, "mm", 3, "0.000"),
        (1_524_000, "in", 2, "0.06"),
        (63_500_000, "in", 0, "3"),
    ],
)
def test_lengths_are_shown_as_the_trade_writes_them(nm, unit, decimals, shown):
    assert lengths.format_length(nm, unit, decimals=decimals) == shown


@pytest.mark.parametrize(
    ("nm", "unit", "said"),
    [
        (63_507_620, "mm", "63.508 mm"),
        (63_507_620, "in", "2.5003 in"),
        (63_500_000, "mm", "63.5 mm"),
        (63_500_000, "in", "2.500 in"),
        (60_000_000, "mm", "60 mm"),
    ],
)
def test_a_length_is_said_with_its_unit_and_no_finer_than_a_gauge(nm, unit, said):
    assert lengths.say_length(nm, unit) == said


def test_exact_decimals_exist_for_every_mm_and_only_for_some_inches():
    assert lengths.exact_mm(1) == "0.000001"
    assert lengths.exact_in(127) == "0.000005"
    assert lengths.exact_in(128) is None


@given(st.integers(-lengths.LONGEST_NM, lengths.LONGEST_NM))
def test_what_a_program_gets_it_can_send_back(nm):
    assert parse_exact(lengths.exact_mm(nm), unit="mm", signed=True) == nm


@pytest.mark.parametrize("text", ["63,5", "63.5 mm", "1/2", " 1", "1e3", "", ".5", "٣", "1" * 41])
def test_a_program_sends_plain_decimals_only(text):
    with pytest.raises(ToolingError) as caught:
        parse_exact(text, unit="mm", field="bore_mm")
    assert caught.value.code == "not_a_length"


@pytest.mark.parametrize(
    ("text", "code"),
    [("-1", "negative_length"), ("100001", "absurd_length"), ("0.0000001", "too_fine_length")],
)
def test_a_programs_impossible_length_is_refused(text, code):
    with pytest.raises(ToolingError) as caught:
        parse_exact(text, unit="mm")
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("1000", "ft", StripLength(304_800_000_000, "ft")),  # 1 ft = 0.3048 m exactly
        ("1.5 km", "ft", StripLength(1_500_000_000_000, "m")),
        ("12500 feet", "m", StripLength(3_810_000_000_000, "ft")),
        ("1,250,000 ft", "m", StripLength(381_000_000_000_000, "ft")),
        ("0,5 m", "ft", StripLength(500_000_000, "m")),
    ],
)
def test_strip_lengths_are_read_in_feet_and_metres(text, unit, expected):
    assert parse_strip_length(text, unit=unit) == expected


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("12,500 ft", "ambiguous_length"),
        ("12 in", "not_a_length"),
        ("-5", "negative_length"),
        ("9999999999 km", "absurd_length"),
        ("many", "not_a_length"),
    ],
)
def test_a_doubtful_strip_length_is_refused(text, code):
    with pytest.raises(ToolingError) as caught:
        parse_strip_length(text, unit="ft")
    assert caught.value.code == code


@given(st.integers(0, lengths.LONGEST_STRIP_NM))
def test_strip_metres_written_out_read_back(nm):
    assert parse_strip_length(lengths.format_strip_length(nm, "m"), unit="m").nm == nm


@given(st.integers(0, 10**9).map(lambda feet: feet * lengths.NM_PER_FT // 100))
def test_strip_feet_written_out_read_back_to_the_hundredth(nm):
    assert parse_strip_length(lengths.format_strip_length(nm, "ft"), unit="ft").nm == nm


def test_strip_lengths_are_rounded_when_asked():
    assert lengths.format_strip_length(500_000_000, "ft", decimals=1) == "1.6"
    assert lengths.format_strip_length(500_000_000, "ft") == "1.64"


@pytest.mark.parametrize("read", [parse_length, parse_exact, parse_strip_length])
def test_a_unit_that_does_not_exist_is_a_mistake_of_the_caller(read):
    with pytest.raises(ValueError, match="yd"):
        read("5", unit="yd")


@pytest.mark.parametrize(
    ("nm", "unit", "step", "written", "said"),
    [
        (149_900_000, "mm", 10_000, False, "149.90 mm"),
        (149_904_999, "mm", 10_000, False, "149.90 mm"),
        (149_905_000, "mm", 10_000, True, "149.905 mm"),
        (149_900_000, "mm", 1_000, False, "149.900 mm"),
        (149_900_000, "mm", None, False, "149.900 mm"),
        (152_400_000, "in", 2_540, False, "6.0000 in"),
        (152_400_000, "in", 25_400, False, "6.000 in"),
        (152_654_000, "in", 10_000, False, "6.0100 in"),
        (152_402_540, "in", 25_400, True, "6.0001 in"),
        (152_400_000, "mm", 2_540, False, "152.400 mm"),
    ],
)
def test_what_a_gauge_shows_is_said_with_its_own_decimals(nm, unit, step, written, said):
    assert lengths.say_gauged(nm, unit, step, written=written) == said

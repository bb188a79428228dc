"""Label codes hold their check, survive a person's typing, and miss no single slip."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.engineering import codes
from tooling.errors import ToolingError

CHECKS = Path(__file__).parents[2] / "fixtures" / "checks"
PUBLISHED = json.loads((CHECKS / "iso7064.json").read_text())
TYPEABLE = codes.ALPHABET

kinds = st.sampled_from(sorted(codes.KINDS))
serials = st.integers(0, codes.SERIALS - 1)
issued = (
    st.builds(codes.make_code, kinds, serials)
    .filter(lambda code: code is not None)
    .map(lambda code: str(code))
)


def error_code(text: str) -> str:
    with pytest.raises(ToolingError) as caught:
        codes.read_code(text)
    return caught.value.code


@pytest.mark.parametrize("row", PUBLISHED["vectors"], ids=lambda row: row["payload"])
def test_check_characters_agree_with_the_published_vectors(row):
    # sources of the vectors are named in fixtures/checks/iso7064.json
    assert codes.check_character(row["payload"]) == row["check"]


@pytest.mark.parametrize("payload", ["G1234896543*", "g123", "", "R 1", "É"])
def test_a_check_character_is_only_made_of_capitals_and_digits(payload):
    with pytest.raises(ValueError, match="capitals and digits"):
        codes.check_character(payload)


def test_the_check_character_by_hand():
    # R000000: value of R is 27; MOD 37-2: 27·2^7 + c ≡ 1 (mod 37); 27·128 = 3456 = 93·37 + 15,
    # so c = 1 − 15 + 37 = 23, which is the letter N (A = 10 … N = 23)
    assert codes.make_code("R", 0) == "R000000N"


@given(kinds, serials)
def test_an_issued_code_reads_back_as_its_kind_and_serial(kind, serial):
    code = codes.make_code(kind, serial)
    if code is None:
        assert codes.check_character(kind + codes._number(serial)) in "*IO"
    else:
        assert codes.read_code(code) == codes.Code(text=code, kind=kind, serial=serial)


def test_about_three_numbers_in_thirty_seven_are_not_issued():
    made = [codes.make_code("S", serial) for serial in range(3700)]
    assert 200 < made.count(None) < 400


@given(issued)
def test_an_issued_code_is_eight_characters_without_i_o_or_star(code):
    assert len(code) == 8
    assert not set(code) & set("IO*")


@given(kinds, serials, serials)
def test_different_serials_never_share_a_code(kind, one, other):
    codes_made = codes.make_code(kind, one), codes.make_code(kind, other)
    assert one == other or None in codes_made or codes_made[0] != codes_made[1]


@given(issued, st.integers(0, 7), st.sampled_from(TYPEABLE))
def test_every_single_substitution_is_caught(code, at, wrong):
    slipped = code[:at] + wrong + code[at + 1 :]
    if slipped != code:
        assert error_code(slipped) in {"bad_check_character", "not_a_code"}


def test_every_substitution_of_one_code_is_caught():
    code = str(codes.make_code("R", 41_735))
    for at in range(1, 8):
        for wrong in TYPEABLE.replace(code[at], ""):
            assert error_code(code[:at] + wrong + code[at + 1 :]) == "bad_check_character"


@given(issued, st.integers(0, 6))
def test_every_adjacent_swap_is_caught(code, at):
    swapped = code[:at] + code[at + 1] + code[at] + code[at + 2 :]
    if swapped != code:
        assert error_code(swapped) in {"bad_check_character", "not_a_code"}


@given(issued, st.randoms(use_true_random=False))
def test_what_people_type_for_a_code_reads_as_that_code(code, random):
    typed = "".join(
        random.choice([character, character.lower()])
        + random.choice(["", "", " ", "-", "\u00a0", "\u2011"])
        for character in code.replace("0", random.choice("0oO")).replace("1", random.choice("1iI"))
    )
    assert codes.looks_like_code(typed)
    assert codes.read_code(typed).text == code


@given(st.text(st.characters(codec="latin-1", exclude_categories=["Sk"]), max_size=12))
def test_folding_twice_changes_nothing(text):
    assert codes.fold(codes.fold(text)) == codes.fold(text)


@given(st.text(max_size=20).filter(lambda text: not codes.looks_like_code(text)))
def test_text_without_a_codes_shape_is_refused_with_a_sentence_that_shows_it(text):
    with pytest.raises(ToolingError) as caught:
        codes.read_code(text)
    assert caught.value.code == "not_a_code"
    assert text in caught.value.message


@pytest.mark.parametrize(
    "text",
    ["", "R00", "X000001K", "R0000001234", "R00089*", "R000000*", "24-07 TOP", "ROLL 12"],
)
def test_text_of_another_shape_is_not_a_code(text):
    assert not codes.looks_like_code(text)
    assert error_code(text) == "not_a_code"


def test_a_very_long_text_is_shortened_in_the_sentence():
    with pytest.raises(ToolingError) as caught:
        codes.read_code("R" * 500)
    assert len(caught.value.message) < 300


@pytest.mark.parametrize(("kind", "serial"), [("X", 1), ("", 1), ("R", -1), ("R", codes.SERIALS)])
def test_a_code_outside_the_numbers_is_refused(kind, serial):
    with pytest.raises(ValueError, match=r"kind letter|does not fit"):
        codes.make_code(kind, serial)


def test_a_code_says_its_kind_in_words():
    assert codes.read_code(str(codes.make_code("B", 5))).kind_name == "stock bin"

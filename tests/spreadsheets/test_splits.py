"""One column that holds several things: patterns from its own cells, and what they take apart."""

from __future__ import annotations

import pytest

from tests.spreadsheets.workbooks import csv_sheet
from tooling.errors import ToolingError
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.rows import read_rows
from tooling.spreadsheets.splits import parts_of, propose, said, take_apart
from tooling.spreadsheets.suggest_parts import suggest_parts

POSITION = "P{number} {letters}{number}"


@pytest.mark.parametrize(
    ("texts", "pattern"),
    [
        (["P07 T2", "P07 T1", "P08 B2"], POSITION),
        (["S12-P3 top 2", "S12-P4 bottom 1"], "S{number}-P{number} {letters} {number}"),
        (["1.5 x 200", "2 x 310"], "{decimal} x {number}"),
        (["D-1 rev B", "K-20-1 rev A"], "{word} rev {word}"),
        (["Rack A / Shelf 3", "Rack B/Shelf 1"], "Rack {letters}/Shelf {number}"),
        (["P07", "P12"], "P{number}"),
        (["Roll 4 (spare)", "Roll 6 (spare)"], "Roll {number}(spare)"),
    ],
)
def test_the_likeliest_pattern_is_what_the_cells_have_in_common(
    texts: list[str], pattern: str
) -> None:
    first = propose(texts)[0]
    assert first.pattern in (pattern, pattern.replace("(", " ("))
    assert (first.fits, first.of) == (len(texts), len(texts))


@pytest.mark.parametrize(
    "texts",
    [[], ["one"], ["sound", "good"], ["60", "63.5", "2 1/2"], ["03/04/2025", "4.5.2025"],
     ["{a} 1", "{b} 2"]],
)  # fmt: skip
def test_nothing_is_proposed_where_cells_hold_one_thing(texts: list[str]) -> None:
    assert propose(texts) == ()


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("P07 T2", ("07", "T", "2")),
        ("p7t2", ("7", "t", "2")),
        ("  P 07   B 12 ", ("07", "B", "12")),
        ("P07", None),
        ("spare", None),
        ("P07 T2 T3", None),
        ("P07 T" + "2" * 300, None),
    ],
)
def test_a_cell_is_taken_apart_whatever_its_case_and_spaces(
    text: str, parts: tuple[str, ...] | None
) -> None:
    assert take_apart(text, POSITION) == parts


@pytest.mark.parametrize(
    "pattern",
    ["", "P07", "{figures}", "{rest} {number}", "{word}{number}", "{letters}{letters}", "{number",
     "{number} " * 7, "x" * 90 + "{number}"],
)  # fmt: skip
def test_what_is_no_pattern_is_refused(pattern: str) -> None:
    with pytest.raises(ToolingError) as raised:
        parts_of(pattern)
    assert raised.value.code == "bad_pattern"


def test_a_pattern_is_said_without_braces() -> None:
    assert said(POSITION) == "P‹number› ‹letters›‹number›"


@pytest.mark.parametrize(
    ("pattern", "texts", "taken", "found"),
    [
        (POSITION, ["P07 T2", "P08 B1"], ["set", "drawing"], {0: "pass", 1: "shaft", 2: "order"}),
        ("S{number}-P{number} {letters} {number}", ["S12-P3 top 2"], ["drawing"],
         {0: "set", 1: "pass", 2: "shaft", 3: "order"}),
        ("{word} x {word}", ["fold x hem"], [], {}),
    ],
)  # fmt: skip
def test_parts_are_guessed_by_the_word_before_them_and_what_they_hold(
    pattern: str, texts: list[str], taken: list[str], found: dict[int, str]
) -> None:
    assert suggest_parts(pattern, texts, KINDS["sets"], taken) == found


def test_each_cell_that_does_not_follow_is_one_problem_that_names_it() -> None:
    sheet = csv_sheet("Set;Where;Dwg\n1;P01 T1;D\n1;spare;D\n1;;D\n")
    mapping = Mapping(
        "sets",
        {"set": "Set", "drawing": "Dwg", "pass": "Where ›1", "shaft": "Where ›2",
         "order": "Where ›3"},
        splits={"Where": POSITION},
    )  # fmt: skip
    rows, problems = read_rows(sheet, mapping)
    assert [(row.values["pass"], row.values["shaft"], row.values["order"]) for row in rows] == [
        (1, "top", 1)
    ]
    told = [(p.row, p.column, p.value, p.code) for p in problems]
    assert told[0] == (3, "Where", "spare", "not_split")
    assert "P‹number› ‹letters›‹number›" in problems[0].message
    assert {p.code for p in problems[1:]} == {"missing_value"}

"""Entries of an import: one for each table, found again by a kept mapping, moved by a person."""

from __future__ import annotations

import json
from typing import Any

import pytest
from openpyxl import Workbook

from tests.spreadsheets.messy import inch_crib, saved, stock_room, wall_chart
from tests.spreadsheets.workbooks import workbook
from tooling.errors import ToolingError
from tooling.spreadsheets.entries import guess_entries, moved, open_entries, titled, worth_keeping
from tooling.spreadsheets.glimpse import shown_sheet
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.rows import read_cells, read_rows
from tooling.spreadsheets.sheets import Region

GROUPS = "Mark,Dwg,Bore (mm)\nPASS 1,,\nA,D-1,60\nB,D-1,60\nPASS 2,,\nC,D-2,60\n"


def one(text: str, **more: Any) -> dict[str, Any]:
    (entry,) = guess_entries(text.encode(), name="rolls.csv", **more)
    return entry


def rows_of(text: str, entry: dict[str, Any]) -> list[int]:
    opened = open_entries(text.encode(), name="rolls.csv", entries=[entry])
    return [number for _entry, sheet in opened for number, _cells in sheet.rows()]


def test_entries_are_json_and_their_tables_have_names_of_their_own() -> None:
    entries = titled(
        [*guess_entries(inch_crib(), name="a.xlsx"), *guess_entries(stock_room(), name="b.csv"),
         *guess_entries(inch_crib(), name="c.xlsx")]
    )  # fmt: skip
    assert json.loads(json.dumps(entries)) == entries
    titles = [entry["title"] for entry in entries]
    assert titles == ["a.xlsx: Crib (1)", "a.xlsx: Crib (2)", "b (1)", "b (2)",
                      "c.xlsx: Crib (1)", "c.xlsx: Crib (2)"]  # fmt: skip


def test_an_entry_opens_as_the_table_that_it_says() -> None:
    entries = titled(guess_entries(inch_crib(), name="a.xlsx"))
    ((_entry, sheet),) = open_entries(inch_crib(), name="a.xlsx", entries=entries[1:])
    assert (sheet.name, sheet.headings) == ("Crib (2)", ("Abbr", "Company", "Ours?"))
    assert open_entries(b"", name="a.xlsx", entries=[{**entries[0], "left_out": True}]) == []


def test_a_hidden_sheet_is_there_but_left_out() -> None:
    data = workbook(("Rolls", [["Mark", "Dwg"], ["A", "D"]]))
    assert not guess_entries(data, name="r.xlsx")[0]["left_out"]
    hidden = data_with_hidden_sheet()
    assert [e["left_out"] for e in guess_entries(hidden, name="r.xlsx")] == [False, True]


def data_with_hidden_sheet() -> bytes:
    book = Workbook()
    for title in ("Rolls", "Old rolls"):
        sheet = book.create_sheet(title)
        sheet.append(["Mark", "Dwg"])
        sheet.append(["A", "D"])
    book.remove(book.worksheets[0])
    book["Old rolls"].sheet_state = "hidden"
    return saved(book)


def test_rows_of_one_cell_name_the_rows_below_unless_a_person_says_otherwise() -> None:
    entry = one(GROUPS)
    assert (entry["groups"], entry["headings"][-1]) == ("name", "[group]")
    mapping = Mapping(
        "pieces", {"mark": "Mark", "drawing": "Dwg", "note": "[group]"}, {"now_bore": "mm"}
    )
    opened = open_entries(GROUPS.encode(), name="rolls.csv", entries=[entry])
    rows, problems = read_rows(opened[0][1], mapping)
    assert problems == []
    assert [(row.values["mark"], row.values["note"]) for row in rows] == [
        ("A", "PASS 1"), ("B", "PASS 1"), ("C", "PASS 2"),
    ]  # fmt: skip
    region = Region.from_dict(entry["region"])
    for groups, rows_left in (("leave", [3, 4, 6]), ("", [2, 3, 4, 5, 6])):
        other = moved(GROUPS.encode(), entry=entry, region=region, kind="pieces", groups=groups)
        assert "[group]" not in other["headings"]
        assert rows_of(GROUPS, other) == rows_left


def test_rows_are_left_out_by_reason_or_one_by_one() -> None:
    text = "Mark,Dwg,Bore (mm)\nA,D-1,60\nTotal,,1\nB,D-1,60\n\nCounted on Monday by two\n"
    entry = one(text)
    assert rows_of(text, entry) == [2, 4]
    assert rows_of(text, {**entry, "leave": ["footer"]}) == [2, 3, 4]
    assert rows_of(text, {**entry, "keep_rows": [3], "drop_rows": [2]}) == [3, 4]


def test_dates_and_decimals_are_read_as_unmistakable_cells_say() -> None:
    entry = one("Mark;Dwg;Bore mm;Last measured\nA;D;63,5;03/04/2025\nB;D;1,234;25/03/2025\n")
    assert (entry["mapping"]["date_order"], entry["mapping"]["decimal_mark"]) == ("dmy", ",")
    told = {note["what"]: note["cell"] for note in entry["notes"]}
    assert told == {"dates": "25/03/2025", "decimals": "63,5"}


@pytest.mark.parametrize("cells", ["03/04/2025", "25/03/2025\nB;D;63,5;03/25/2025"])
def test_nobody_guesses_where_the_cells_say_nothing_or_contradict_each_other(cells: str) -> None:
    entry = one(f"Mark;Dwg;Bore mm;Last measured\nA;D;63.5;{cells}\n")
    assert entry["mapping"]["date_order"] is None


# --- kept mappings ----------------------------------------------------------------------------


def kept(entry: dict[str, Any], **mapping: Any) -> list[dict[str, Any]]:
    return [worth_keeping({**entry, "mapping": {**entry["mapping"], **mapping}})]


def test_what_is_kept_holds_nothing_of_the_shops_rows() -> None:
    (entry,) = guess_entries(wall_chart(), name="chart.xlsx")
    text = json.dumps(worth_keeping(entry))
    assert "60 round" not in text
    assert "CB-60" not in text


@pytest.mark.parametrize("titles", ["", "List of May\n\n", "List of May\nprinted late\n\n\n"])
def test_a_kept_mapping_finds_its_headings_in_another_row_and_case(titles: str) -> None:
    before = one("Gravur;Druck;Loch\nA;D;60\n")
    mapping = {"kind": "pieces", "columns": {"mark": "Gravur", "drawing": "Druck"}}
    old = [worth_keeping({**before, "mapping": mapping})]
    entry = one(f"{titles}GRAVUR;Loch;druck\nA;60;D\nB;60;D\n", kept=old)
    assert entry["mapping"]["columns"] == {"mark": "GRAVUR", "drawing": "druck"}
    assert entry["region"]["heading_row"] == titles.count("\n") + 1


def test_a_kept_mapping_finds_headings_that_nobody_would_take_for_such() -> None:
    text = "W1;W2;W3\n1;2;3\n4;5;6\n"
    before = one("A;B;C\nname;code;ours\nx;y;no\n")
    before = moved(b"A;B;C\n1;2;3\nx;y;z\n", entry=before, region=Region(2, 2))
    mapping = {"kind": "owners", "columns": {"code": "1", "name": "2"}}
    old = [{**worth_keeping({**before, "mapping": mapping}), "sheet": "rolls"}]
    entry = one(text, kept=old)
    assert (entry["region"]["heading_row"], entry["mapping"]["columns"]["code"]) == (2, "1")


def test_a_kept_mapping_is_for_one_table_and_leaves_others_to_a_guess() -> None:
    (crib, owners) = guess_entries(inch_crib(), name="a.xlsx")
    old = [worth_keeping({**owners, "left_out": True})]
    again = guess_entries(inch_crib(), name="b.xlsx", kept=old)
    assert [entry["left_out"] for entry in again] == [False, True]
    assert again[0]["mapping"] == crib["mapping"]


# --- moved by a person ------------------------------------------------------------------------


def test_a_table_may_be_said_to_stand_elsewhere() -> None:
    text = "Gravur;Druck\nstamp;print\nA;D\n"
    entry = moved(text.encode(), entry=one(text), region=Region(2, 2))
    assert (entry["headings"], entry["body"]) == (["stamp", "print"], 1)
    higher = moved(text.encode(), entry=entry, region=Region(1, 2))
    assert higher["headings"] == ["Gravur stamp", "Druck print"]


def test_choices_stay_while_the_headings_do() -> None:
    text = "Gravur;Druck;Bemerkung\nA;D;x\nB;D;y\n"
    entry = one(text)
    entry["mapping"] = {"kind": "pieces", "columns": {"mark": "Gravur", "drawing": "Druck"}}
    region = Region(1, 1, 0, 1, 2)
    again = moved(text.encode(), entry=entry, region=region, kind="pieces")
    assert again["mapping"]["columns"] == entry["mapping"]["columns"]
    assert again["body"] == 1


def test_a_place_without_headings_is_refused() -> None:
    with pytest.raises(ToolingError) as raised:
        moved(b"Mark;Dwg\nA;D\n", entry=one("Mark;Dwg\nA;D\n"), region=Region(40, 40))
    assert raised.value.code == "no_headings"


# --- what the page is shown -------------------------------------------------------------------


def test_odd_rows_far_below_are_shown_with_what_stands_above_them() -> None:
    lines = ["Dwg,Mark,Bore (mm)", "D-1,A-0,60", *(f",A-{n},60" for n in range(1, 40))]
    lines[30] = ",A-29,2 1/2"
    entry = one("\n".join(lines))
    mapping = Mapping(
        "pieces", {"drawing": "Dwg", "mark": "Mark", "now_bore": "Bore (mm)"},
        {"now_bore": "mm"}, fill_down=frozenset({"drawing"}),
    )  # fmt: skip
    read = dict(read_cells(shown_sheet(entry), mapping))
    assert (read[31]["drawing"].value, read[31]["drawing"].above) == ("D-1", True)
    assert read[31]["mark"].value == "A-29"
    assert entry["blanks"] == [39, 0, 0]

"""What is written reads back the same, never runs, and is byte for byte the same again."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Callable, Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from tests.spreadsheets.made_rows import rows_of
from tests.spreadsheets.workbooks import first_sheet
from tooling.spreadsheets.entries import guess_entries, open_entries
from tooling.spreadsheets.exports import write_csv, write_workbook, write_xlsx
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.files import read_sheets
from tooling.spreadsheets.formatting import in_order
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.rows import Row, read_rows
from tooling.spreadsheets.suggest import unmatched

Writer = Callable[[Kind, Iterable[Row]], bytes]
WRITERS = pytest.mark.parametrize("write", [write_csv, write_xlsx])
PIECES = KINDS["pieces"]


def back(data: bytes, kind: Kind) -> list[Row]:
    """As an import reads an export: one table, its kind known, nothing left out or unused."""
    (entry,) = guess_entries(data, name="export")
    assert (entry["mapping"]["kind"], entry["left_rows"]) == (kind.name, [])
    ((_entry, sheet),) = open_entries(data, name="export", entries=[entry])
    mapping = Mapping.from_dict(entry["mapping"])
    assert unmatched(sheet, mapping) == []
    rows, problems = read_rows(sheet, mapping)
    assert problems == []
    return rows


def contents(rows: Iterable[Row]) -> list[tuple[dict[str, object], dict[str, str]]]:
    return [(row.values, row.units) for row in rows]


@WRITERS
@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
@settings(max_examples=8)
@given(data=st.data())
def test_rows_of_every_kind_read_back_as_they_were(
    kind: Kind, write: Writer, data: st.DataObject
) -> None:
    rows = data.draw(rows_of(kind))
    assert contents(back(write(kind, rows), kind)) == contents(in_order(kind, rows))


@WRITERS
@settings(max_examples=15)
@given(rows=rows_of(PIECES), order=st.randoms(use_true_random=False))
def test_the_same_rows_in_any_order_give_the_same_bytes(
    write: Writer, rows: list[Row], order: object
) -> None:
    first = write(PIECES, rows)
    order.shuffle(rows)  # type: ignore[attr-defined]
    assert write(PIECES, rows) == first


@WRITERS
@settings(max_examples=15)
@given(rows=rows_of(PIECES))
def test_export_of_what_was_exported_is_byte_for_byte_the_same(
    write: Writer, rows: list[Row]
) -> None:
    first = write(PIECES, rows)
    assert write(PIECES, back(first, PIECES)) == first


@WRITERS
@pytest.mark.parametrize("mark", ["Total", "Sum: 3", "Σ", "Old number", "A note of four words"])
def test_a_record_that_looks_like_a_total_or_a_remark_is_a_record(write: Writer, mark: str) -> None:
    rows = [Row({"mark": mark, "drawing": None}), piece(mark=mark)]
    (entry,) = guess_entries(write(PIECES, rows), name="export")
    assert (entry["left_rows"], entry["body"]) == ([], 2)


def piece(**values: object) -> Row:
    return Row({"old_number": "R-1", "drawing": "D-1", **values})


ATTACKS = ["=cmd|' /C calc'!A0", "+1+1", "-1+1", "@SUM(1+1)", "\t=1+1", "\r=1+1", "'=1+1"]


@pytest.mark.parametrize("attack", ATTACKS)
def test_no_cell_of_a_text_file_starts_like_a_formula(attack: str) -> None:
    data = write_csv(PIECES, [piece(note=attack)])
    for row in csv.reader(io.StringIO(data.decode("utf-8-sig"))):
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)


@pytest.mark.parametrize("attack", ATTACKS)
def test_no_cell_of_a_workbook_is_a_formula(attack: str) -> None:
    book = load_workbook(io.BytesIO(write_xlsx(PIECES, [piece(note=attack)])))
    assert all(cell.data_type != "f" for row in first_sheet(book) for cell in row)


@WRITERS
@pytest.mark.parametrize("attack", [*ATTACKS[:5], ATTACKS[6], "#REF!", " outer ", "_x000D_", "'"])
def test_a_text_that_looks_dangerous_comes_back_as_it_was(write: Writer, attack: str) -> None:
    (row,) = back(write(PIECES, [piece(note=attack)]), PIECES)
    assert row.values["note"] == attack


def test_a_plain_negative_number_stays_a_number() -> None:
    row = Row({"mill": "M", "station": 1, "shaft": "top", "shoulder_offset": -160_000_000})
    assert b",-160," in write_csv(KINDS["mills"], [row])


def test_a_column_is_headed_by_its_commonest_unit_and_others_carry_their_own() -> None:
    rows = [
        Row({"code": f"R{n}", "now_bore": 63_500_000}, {"now_bore": unit})
        for n, unit in enumerate(["in", "in", "mm"])
    ]
    lines = list(csv.DictReader(io.StringIO(write_csv(PIECES, rows).decode("utf-8-sig"))))
    assert [line["Bore now (in)"] for line in lines] == ["2.5", "2.5", "63.5 mm"]


def test_the_unit_of_the_row_is_used_where_none_was_kept_with_the_value() -> None:
    data = write_csv(PIECES, [Row({"code": "R", "unit": "in", "now_bore": 63_500_000})])
    (line,) = csv.DictReader(io.StringIO(data.decode("utf-8-sig")))
    assert line["Bore now (in)"] == "2.5"


def test_a_length_without_a_finite_inch_decimal_is_written_in_mm() -> None:
    # 60 mm = 2.3622047244… in: 127 does not divide 60 000 000.
    data = write_csv(PIECES, [Row({"code": "R", "unit": "in", "now_bore": 60_000_000})])
    (line,) = csv.DictReader(io.StringIO(data.decode("utf-8-sig")))
    assert line["Bore now (in)"] == "60 mm"


def test_a_value_that_would_be_asked_about_carries_its_unit() -> None:
    data = write_csv(PIECES, [Row({"code": "R", "now_bore": 2_500_000}, {"now_bore": "mm"})])
    (line,) = csv.DictReader(io.StringIO(data.decode("utf-8-sig")))
    assert line["Bore now (mm)"] == "2.5 mm"


def test_rows_stand_in_the_order_that_people_count_in() -> None:
    rows = [Row({"code": code}) for code in ("R10", "R9", "R1")]
    assert [row.values["code"] for row in in_order(PIECES, rows)] == ["R1", "R9", "R10"]


def test_a_workbook_holds_a_sheet_for_each_kind() -> None:
    data = write_workbook([(KINDS["owners"], []), (PIECES, [piece()])])
    sheets = read_sheets(data, name="all.xlsx")
    assert [sheet.name for sheet in sheets] == ["Owners", "Pieces"]


def test_a_workbook_tells_no_time_of_its_making() -> None:
    with zipfile.ZipFile(io.BytesIO(write_xlsx(PIECES, [piece()]))) as archive:
        assert {member.date_time[0] for member in archive.infolist()} == {1980}
        assert b"1980-01-01T00:00:00Z" in archive.read("docProps/core.xml")


def test_numbers_and_dates_are_numbers_and_dates_in_a_workbook() -> None:
    row = Row({"code": "R", "now_bore": 63_500_000, "hardness": 60}, {"now_bore": "mm"})
    sheet = first_sheet(load_workbook(io.BytesIO(write_xlsx(PIECES, [row]))))
    by_heading = {cell.value: sheet.cell(2, cell.column).value for cell in sheet[1]}
    assert by_heading["Bore now (mm)"] == 63.5
    assert by_heading["Hardness"] == 60

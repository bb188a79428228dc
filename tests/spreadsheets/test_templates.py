"""An empty workbook says what each column may hold, and nothing in it is imported by mistake."""

from __future__ import annotations

import io

import pytest
from openpyxl import load_workbook

from tests.spreadsheets.workbooks import workbook
from tooling.spreadsheets.fields import Kind
from tooling.spreadsheets.files import read_sheets
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.rows import read_rows
from tooling.spreadsheets.suggest import suggest_kind, suggest_mapping
from tooling.spreadsheets.templates import template_xlsx

EVERY_KIND = pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))


@EVERY_KIND
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_every_heading_of_a_template_is_matched_to_its_own_field(kind: Kind, unit: str) -> None:
    (sheet,) = read_sheets(template_xlsx(kind, unit=unit), name="t.xlsx")
    mapping = suggest_mapping(sheet, kind)
    assert set(mapping.columns) == set(kind.by_name)
    assert list(sheet.headings) == [mapping.columns[field.name] for field in kind.fields]


@EVERY_KIND
def test_a_template_is_known_as_its_kind(kind: Kind) -> None:
    (sheet,) = read_sheets(template_xlsx(kind), name="t.xlsx")
    assert suggest_kind(sheet) is kind


@EVERY_KIND
def test_a_template_holds_no_rows_to_import(kind: Kind) -> None:
    (sheet,) = read_sheets(template_xlsx(kind), name="t.xlsx")
    assert sheet.sample() == []


@EVERY_KIND
def test_the_notes_explain_every_column(kind: Kind) -> None:
    notes = load_workbook(io.BytesIO(template_xlsx(kind)))["Notes"]
    rows = list(notes.iter_rows(min_row=2, values_only=True))
    assert len(rows) == len(kind.fields)
    assert all(row[2] for row in rows)


@EVERY_KIND
def test_a_row_made_of_the_examples_is_read_without_a_problem(kind: Kind) -> None:
    book = load_workbook(io.BytesIO(template_xlsx(kind)))
    notes = list(book["Notes"].iter_rows(min_row=2, values_only=True))
    filled = workbook((kind.label, [[row[0] for row in notes], [row[3] for row in notes]]))
    (sheet,) = read_sheets(filled, name="t.xlsx")
    rows, problems = read_rows(sheet, suggest_mapping(sheet, kind))
    assert problems == []
    assert rows


def test_an_inch_template_asks_for_inches_feet_and_pounds() -> None:
    (sheet,) = read_sheets(template_xlsx(KINDS["pieces"], unit="in"), name="t.xlsx")
    mapping: Mapping = suggest_mapping(sheet, KINDS["pieces"])
    assert {mapping.units[name] for name in ("now_bore", "length_run", "mass")} == {
        "in",
        "ft",
        "lb",
    }


@EVERY_KIND
def test_a_template_is_the_same_file_every_time(kind: Kind) -> None:
    assert template_xlsx(kind) == template_xlsx(kind)

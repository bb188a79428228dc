"""The first guess at a mapping knows the trade's words in their spellings."""

from __future__ import annotations

import pytest

from tests.spreadsheets.workbooks import csv_sheet
from tooling.spreadsheets.headings import heading_unit, plain
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.mapping import Mapping
from tooling.spreadsheets.suggest import (
    lengths_without_unit,
    suggest_kind,
    suggest_mapping,
    unmatched,
)


def guess(kind: str, *headings: str) -> Mapping:
    return suggest_mapping(csv_sheet(";".join(headings) + "\n" + ";" * 3), KINDS[kind])


@pytest.mark.parametrize(
    ("kind", "heading", "field"),
    [
        ("drawings", "Bore Dia", "bore"),
        ("drawings", "I.D.", "bore"),
        ("drawings", "HOLE", "bore"),
        ("drawings", "Bore Ø (mm)", "bore"),
        ("drawings", "bore_diameter", "bore"),
        ("drawings", "Bore Diamter", "bore"),
        ("drawings", "P.D.", "drive_diameter"),
        ("drawings", "Pitch Diameter", "drive_diameter"),
        ("drawings", "Throat dia.", "root_diameter"),
        ("drawings", "O.D. inch", "outside_diameter"),
        ("drawings", "Min OD", "least_outside_diameter"),
        ("drawings", "Drive dia min.", "least_drive_diameter"),
        ("drawings", "Keyway Width", "keyway_width"),
        ("drawings", "DWG #", "drawing"),
        ("drawings", "Rev.", "revision"),
        ("pieces", "Stamped", "mark"),
        ("pieces", "OD", "now_outside_diameter"),
        ("pieces", "OD (new)", "made_outside_diameter"),
        ("pieces", "Current bore", "now_bore"),
        ("pieces", "HRC", "hardness"),
        ("pieces", "Heat No.", "heat_lot"),
        ("pieces", "Cust.", "owner"),
        ("mills", "Shaft Dia", "diameter"),
        ("mills", "Spindle diameter", "diameter"),
        ("mills", "Stand", "station"),
        ("mills", "Horizontal Centers", "centre_to_next"),
        ("mills", "Max vertical centres", "vertical_most"),
        ("sets", "Pass #", "pass"),
        ("sets", "T/B", "shaft"),
        ("sets", "Pos.", "order"),
        ("stock", "Qty on hand", "count"),
        ("stock", "Min. qty", "least_count"),
        ("regrinds", "OD before", "before_outside_diameter"),
        ("regrinds", "New drive dia", "after_drive_diameter"),
        ("jobs", "W.O. No", "number"),
        ("jobs", "Strip width mm", "width"),
        ("length_run", "Footage", "length"),
    ],
)
def test_a_trade_word_is_matched_to_its_field(kind: str, heading: str, field: str) -> None:
    assert guess(kind, heading, "Zzz").columns == {field: heading}


def test_a_strange_heading_is_left_for_a_person() -> None:
    sheet = csv_sheet("Mark;Zodiac\nA;Aries\n")
    assert unmatched(sheet, suggest_mapping(sheet, KINDS["pieces"])) == ["Zodiac"]


def test_no_column_fills_two_fields() -> None:
    columns = guess("drawings", "Dwg", "Dia", "Drive dia", "Root dia", "Min dia").columns
    assert len(set(columns.values())) == len(columns)


def test_the_better_of_two_headings_wins() -> None:
    assert guess("drawings", "Hole", "Bore").columns["bore"] == "Bore"


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Bore (in)", "in"),
        ("Bore [inch]", "in"),
        ("width mm", "mm"),
        ("OD, in.", "in"),
        ('Bore "', "in"),
        ('Bore"', "in"),
        ("Bore", None),
        ("In", None),
        ("Bore (H7)", None),
    ],
)
def test_the_unit_is_taken_from_the_heading(heading: str, unit: str | None) -> None:
    assert heading_unit(heading, ("mm", "in")) == unit


@pytest.mark.parametrize(
    ("heading", "unit"), [("Feet run", "ft"), ("Footage", "ft"), ("Run (km)", "km"), ("Run", None)]
)
def test_the_unit_of_strip_is_taken_from_the_heading(heading: str, unit: str | None) -> None:
    assert heading_unit(heading, ("m", "km", "ft")) == unit


def test_lengths_without_any_unit_are_named_for_a_person_to_choose() -> None:
    sheet = csv_sheet("Dwg;Kind;Bore;OD (mm)\nA;roll;60;150\n")
    mapping = suggest_mapping(sheet, KINDS["drawings"])
    assert lengths_without_unit(sheet, mapping, KINDS["drawings"]) == ["bore"]


def test_a_column_of_units_answers_for_the_lengths_of_its_rows() -> None:
    sheet = csv_sheet("Dwg;Kind;Bore;Units\nA;roll;60;mm\n")
    mapping = suggest_mapping(sheet, KINDS["drawings"])
    assert lengths_without_unit(sheet, mapping, KINDS["drawings"]) == []


def test_spellings_are_brought_to_one() -> None:
    assert plain("  BORE  Diam. (in) ") == plain("bore_dia") == "bore dia"


@pytest.mark.parametrize(
    ("headings", "kind"),
    [
        ("Roll no;Dwg;Rev;Customer;Location;HRC", "pieces"),
        ("Dwg no;Rev;Type;Bore;OD;Root dia;Material", "drawings"),
        ("Set no;Pass;T/B;Position;Dwg;Copy", "sets"),
        ("Machine;Stand;Shaft dia;Roll space;Horizontal centers", "mills"),
        ("Spacer;Location;Qty;Min qty", "stock"),
        ("Customer code;Customer name;Contact", "owners"),
        ("Work order;Set;Machine;Start date;Gauge;Strip width", "jobs"),
        ("Roll;Regrind date;Vendor;OD before;OD after", "regrinds"),
    ],
)
def test_the_kind_of_a_sheet_is_guessed_from_its_headings(headings: str, kind: str) -> None:
    found = suggest_kind(csv_sheet(headings + "\n"))
    assert found is not None
    assert found.name == kind


def test_the_name_of_a_sheet_helps() -> None:
    found = suggest_kind(csv_sheet("Name;Inside;Kind\n", name="Locations.csv"))
    assert found is KINDS["places"]


def test_a_sheet_of_something_else_is_no_kind() -> None:
    assert suggest_kind(csv_sheet("Zodiac;Mood;Colour;Song\nAries;good;red;x\n")) is None

"""The first sheets of an empty shop, and what they may not say."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from tests.services.importing import (
    MILLS,
    OWNERS,
    WHOLE_SHOP,
    bring,
    look,
    told,
)
from tests.world import MM
from tooling.models import (
    DrawingRevision,
    Owner,
    Person,
    Piece,
    Place,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


def test_a_name_that_is_anothers_code_does_not_take_its_record(
    engineer: Person, at: datetime
) -> None:
    bring(engineer, at, owners="Code,Name,Our own shop\nA,B,no\nB,Berry,no")
    assert dict(Owner.objects.values_list("code", "name")) == {"A": "B", "B": "Berry"}


def test_an_inner_place_may_stand_above_its_outer_one(engineer: Person, at: datetime) -> None:
    bring(engineer, at, places="Name,Inside,Kind\nShelf 1,Rack A,shelf\nRack A,,rack")
    assert Place.objects.get(name="Shelf 1").path_name == "Rack A / Shelf 1"
    assert Place.objects.get(name="Shelf 1").parent == Place.objects.get(name="Rack A")


@pytest.mark.parametrize("rows", ["Rack A,Rack A,rack", "Rack A,Rack B,rack\nRack B,Rack A,rack"])
def test_a_place_inside_itself_is_refused(engineer: Person, at: datetime, rows: str) -> None:
    made = look(engineer, at, places=b"Name,Inside,Kind\n" + rows.encode())
    assert {code for *_where, code in told(made)} == {"place_inside_itself"}


def test_a_new_mill_needs_its_datum_hand_and_operators_side(engineer: Person, at: datetime) -> None:
    made = look(engineer, at, mills="Mill,Station,Shaft diameter mm,Roll space mm\nM9,1,60,300")
    assert told(made) == [("mills", 2, "Datum", "", "missing_value")] * 2  # top and bottom


def test_a_peg_at_a_mill_may_come_in_with_the_mill(engineer: Person, at: datetime) -> None:
    bring(engineer, at, places="Name,Inside,Kind\nPeg 1,Mill one,peg", mills=MILLS)
    assert Place.objects.get(name="Peg 1").path_name == "Mill one / Peg 1"


@pytest.mark.parametrize(
    ("row", "column", "value", "code"),
    [
        # the corner lies √((30 + 38)² + 9²) = 68.6 from the axis, beyond the root at 65
        ("D-9,A,roll,60,18,38,130", "Keyway depth mm", "38 mm", "no_wall"),
        ("D-9,A,roll,60,70,4,150", "Keyway width mm", "70 mm", "keyway_too_wide"),
        ("D-9,A,roll,-60,18,4,150", "Bore mm", "-60", "negative_length"),
        ("D-9,A,roll,60000,18,4,150", "Bore mm", "60000", "improbable_value"),
        ("D-9,A,roll,160,18,4,150", "Bore mm", "160 mm", "wrong_order"),
    ],
)
def test_sizes_that_cannot_be_are_refused(
    engineer: Person, at: datetime, row: str, column: str, value: str, code: str
) -> None:
    heads = "Drawing,Rev,Kind,Bore mm,Keyway width mm,Keyway depth mm,Root diameter mm"
    made = look(engineer, at, drawings=f"{heads}\n{row}")
    assert told(made) == [("drawings", 2, column, value, code)]


def test_each_cell_may_say_its_own_unit(engineer: Person, at: datetime) -> None:
    heads = "Dwg,Type,Bore,OD (in)"
    made = bring(engineer, at, drawings=f"{heads}\nD-1,roll,2 1/2 in,6.5\nD-2,roll,60 mm,165.1 mm")
    assert made.rows["create"] == 2
    found = {
        revision.drawing.number: (revision.bore_nm, revision.outside_diameter_nm)
        for revision in DrawingRevision.objects.select_related("drawing")
    }
    # 2.5 in = 63.5 mm, 6.5 in = 165.1 mm
    assert found == {"D-1": (63_500_000, 165_100_000), "D-2": (60 * MM, 165_100_000)}


def test_everything_in_words_that_are_not_the_demos(engineer: Person, at: datetime) -> None:
    """An inch shop's own headings are understood without a mapping."""
    prints = 'Print no,Rev,Type,Bore dia (in),OD (in),Weight lb\nP-1,2,roll,"2 1/2",7.25,44'
    tools = "Tool no,Stamped,Print no,Customer,Location,Status\n4711,P-1-T,P-1,FERN,Cabinet 3,good"
    places = "Location,Parent location,Type\nCabinet 3,,cabinet"
    made = bring(engineer, at, owners=OWNERS, locations=places, prints=prints, tools=tools)
    assert made.rows == {"create": 5, "change": 0, "same": 0}
    found = Piece.objects.get(aliases__text="4711")
    assert (found.mark, found.owner.code, found.unit) == ("P-1-T", "FERN", "in")
    # 44 lb · 453.59237 g
    assert found.revision.mass_g == 19_958


def test_the_sheets_of_the_tests_are_all_of_the_kinds() -> None:
    assert len(WHOLE_SHOP) == 13

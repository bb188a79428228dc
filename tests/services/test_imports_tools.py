"""Sheets of gauges and of what dies make; homes, strokes and due dates in the others."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.test import override_settings

from tests.conftest import AT
from tests.services.importing import DRAWINGS, OWNERS, PLACES, bring, look, told
from tests.world import MM
from tooling.models import (
    Change,
    DrawingFeature,
    DueBack,
    Gauge,
    GaugePoint,
    Person,
    Piece,
    Place,
    WearState,
)
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture(scope="module")
def shop(standing_cast: dict[str, Person], tmp_path_factory: Any) -> None:
    with override_settings(FILES_DIR=tmp_path_factory.mktemp("files")):
        bring(
            standing_cast["engineer"], AT,
            owners=OWNERS,
            places=PLACES + "    Alder Grinding,,grinder,\n",
            drawings=DRAWINGS + "    DIE-1,A,line tooling,,,,\n",
        )  # fmt: skip


def test_a_die_comes_with_what_it_makes(engineer: Person, at: datetime, shop: None) -> None:
    sheet = """
        Drawing,Order,Shape,Name,Width mm,Length mm
        DIE-1,1,round,fixing hole,11,
        DIE-1,2,slot,,11,20.5
    """
    bring(engineer, at, features=sheet)
    hole, slot = DrawingFeature.objects.order_by("order")
    assert (hole.name, hole.width_nm, slot.length_nm) == ("fixing hole", 11 * MM, 20_500_000)
    assert Change.objects.filter(subject="DrawingFeature", what="imported").count() == 2
    made = look(engineer, at, features=sheet.replace("20.5", "21"))
    assert made.rows == {"create": 0, "change": 1, "same": 1}


def test_a_gauge_is_known_to_the_readings_of_the_same_import(
    engineer: Person, at: datetime, shop: None
) -> None:
    bring(
        engineer, at,
        pieces="Old number,Drawing\nR-1,D-1",
        gauges="Number,Name,Resolution mm\nMIC-4,Micrometer,0.001",
        readings="Piece,Dimension,Value mm,Date,Gauge\nR-1,outside diameter,179,2026-01-01,mic-4",
    )  # fmt: skip
    gauge = Gauge.objects.get()
    assert (gauge.name, gauge.resolution_nm, gauge.readings.count()) == ("Micrometer", 1000, 1)


def test_gauge_points_come_with_the_pieces_and_readings_that_they_judge(
    engineer: Person, at: datetime, shop: None
) -> None:
    sheet = """
        Drawing,Gauge point,Dimension,Limit mm,Both ends
        D-1,tread,outside diameter,177.5,
        D-1,lip,,,yes
    """
    bring(
        engineer, at,
        pieces="Old number,Drawing\nR-1,D-1",
        gauge_points=sheet,
        readings="Piece,Dimension,Value mm,Date\nR-1,outside diameter,179,2026-01-01",
    )  # fmt: skip
    tread, lip = GaugePoint.objects.order_by("order")
    assert (tread.dimension, tread.limit_nm, tread.is_diameter) == (
        "outside_diameter", 177_500_000, True,
    )  # fmt: skip
    assert (lip.order, lip.has_two_ends) == (2, True)
    assert WearState.objects.get(point=tread).readings == 1
    assert Change.objects.filter(subject="GaugePoint", what="imported").count() == 2
    later = at + timedelta(days=1)
    made = look(engineer, later, gauge_points=sheet.replace("177.5", "177"))
    assert made.rows == {"create": 0, "change": 1, "same": 1}
    bring(engineer, later, gauge_points="Drawing,Gauge point,In use\nD-1,tread,no")
    assert not WearState.objects.filter(point=tread).exists()
    assert differences() == []


def test_a_cart_may_stand_above_the_rack_that_is_its_home(
    engineer: Person, at: datetime, shop: None
) -> None:
    bring(engineer, at, more="Name,Inside,Kind,Home\nCart 9,,cart,Hall / Rack Z\nRack Z,Hall,rack,")
    assert Place.objects.get(name="Cart 9").home == Place.objects.get(name="Rack Z")


def test_strokes_become_one_entry_with_the_length(
    engineer: Person, at: datetime, shop: None
) -> None:
    bring(engineer, at, pieces="Old number,Drawing,Strokes run,Length run m\nP-1,DIE-1,9000,50")
    piece = Piece.objects.get()
    assert (piece.strokes_run, piece.length_run_nm) == (9000, 50 * 10**9)
    assert piece.length_entries.count() == 1
    assert differences() == []


def test_a_due_date_comes_with_what_is_away_and_may_be_put_off(
    engineer: Person, at: datetime, shop: None
) -> None:
    sheet = "Old number,Drawing,Place,Due back\nR-1,D-1,Alder Grinding,2026-12-01"
    bring(engineer, at, pieces=sheet)
    piece = Piece.objects.get()
    assert [due.due_on for due in DueBack.objects.filter(movement=piece.placed_by)] == [
        date(2026, 12, 1)
    ]
    later = at + timedelta(days=1)
    assert look(engineer, later, pieces=sheet).rows["same"] == 1
    bring(engineer, later, pieces=sheet.replace("12-01", "12-15"))
    assert DueBack.objects.filter(movement=piece.placed_by).count() == 2


@pytest.mark.parametrize(
    ("kind", "sheet", "column", "code"),
    [
        ("features", "Drawing,Order,Shape\nD-1,1,round", "Shape", "makes_no_features"),
        (
            "features",
            "Drawing,Order,Shape,Width mm,Length mm\nDIE-1,1,round,5,6",
            "Length mm",
            "round_has_one_size",
        ),
        ("features", "Drawing,Order,Shape\nDIE-2,1,round", "Drawing", "unknown_drawing"),
        ("gauge_points", "Drawing,Gauge point\nD-99,rim", "Drawing", "unknown_drawing"),
        ("gauge_points", "Drawing,Gauge point,Kind\nD-1,rim,smell", "Kind", "unknown_choice"),
        (
            "gauge_points",
            "Drawing,Gauge point,Dimension,Limit mm\nD-1,rim,OD,999",
            "Limit mm",
            "limit_on_the_wrong_side",
        ),
        (
            "gauge_points",
            "Drawing,Gauge point,Kind,Dimension\nD-1,rim,template,OD",
            "Dimension",
            "no_length_there",
        ),
        (
            "gauge_points",
            "Drawing,Gauge point,Face angle\nD-1,rim,89.5",
            "Face angle",
            "cannot_gauge",
        ),
        (
            "gauge_points",
            "Drawing,Gauge point,Face angle\nD-1,rim,120",
            "Face angle",
            "absurd_value",
        ),
        (
            "gauge_points",
            "Drawing,Gauge point,Dimension\nD-1,a,OD\nD-1,b,OD",
            "Dimension",
            "already_there",
        ),
        ("gauge_points", "Drawing,Gauge point\nD-1,a\nD-1,A", "Drawing", "duplicate_row"),
        ("gauges", "Number,Name,Resolution mm\nG,Gauge,0", "Resolution mm", "absurd_length"),
        ("pieces", "Old number,Drawing,Home\nX,D-1,Alder Grinding", "Home", "no_home_there"),
        ("pieces", "Old number,Drawing,Home\nX,D-1,Nowhere", "Home", "unknown_place"),
        ("places", "Name,Kind,Home\nRack Q,rack,Hall", "Home", "does_not_move"),
        ("places", "Name,Inside,Kind,Home\nCart 7,Hall,cart,Cart 7", "Home", "place_inside_itself"),
        ("places", "Name,Kind,Home\nCart 8,cart,Nowhere", "Home", "unknown_place"),
        (
            "pieces",
            "Old number,Drawing,Place,Due back\nX,D-1,Hall,2026-12-01",
            "Due back",
            "not_away",
        ),
        (
            "pieces",
            "Old number,Drawing,Place,Due back\nX,D-1,Alder Grinding,2066-12-01",
            "Due back",
            "improbable_value",
        ),
    ],
)
def test_what_cannot_be_is_told_at_its_cell(
    engineer: Person, at: datetime, shop: None, kind: str, sheet: str, column: str, code: str
) -> None:
    made = look(engineer, at, **{kind: sheet.encode()})
    assert [(each[2], each[4]) for each in told(made)] == [(column, code)]

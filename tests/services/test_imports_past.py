"""Readings, past regrinds and length run from sheets: history that comes in once."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import override_settings

from tests.conftest import AT
from tests.services.importing import WHOLE_SHOP, bring, look, previewed, told
from tests.world import MM
from tooling.models import Change, LengthEntry, Person, Piece, Reading, Shop, Work
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db
METRE = 1_000 * MM


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture(scope="module")
def shop(standing_cast: dict[str, Person], tmp_path_factory: Any) -> None:
    with override_settings(FILES_DIR=tmp_path_factory.mktemp("files")):
        bring(standing_cast["engineer"], AT, **WHOLE_SHOP)


def piece(old_number: str) -> Piece:
    return Piece.objects.get(aliases__text=old_number)


def test_the_newest_of_readings_and_regrinds_is_the_present_size(shop: None) -> None:
    assert piece("R-1").now_outside_diameter_nm == 179_480_000  # read after the cut to 179.5
    assert piece("R-3").now_root_diameter_nm == 149_900_000
    assert differences() == []


def test_a_reading_older_than_the_newest_changes_history_only(
    engineer: Person, at: datetime, shop: None
) -> None:
    bring(engineer, at, readings="Piece,Dimension,Value mm,Date\nR-1,OD,179.9,2025-12-01")
    assert piece("R-1").now_outside_diameter_nm == 179_480_000
    assert Reading.objects.count() == 3


def test_readings_are_told_apart_to_the_second(engineer: Person, at: datetime, shop: None) -> None:
    """What a person typed at 08:30:00.25 is the same reading when its export comes back."""
    Reading.objects.create(
        piece=piece("R-3"), dimension="bore", value_nm=60 * MM, unit="mm", received_at=at,
        happened_at=datetime(2026, 3, 4, 8, 30, 0, 250_000, tzinfo=UTC),
    )  # fmt: skip
    sheet = "Piece,Dimension,Value mm,Date,Time\nR-3,bore,60,2026-03-04,08:30"
    assert look(engineer, at, readings=sheet).rows == {"create": 0, "change": 0, "same": 1}


def test_times_are_the_shops_own(engineer: Person, at: datetime, shop: None) -> None:
    Shop.objects.update_or_create(pk=1, defaults={"name": "S", "time_zone": "Europe/Berlin"})
    bring(engineer, at, readings="Piece,Dimension,Value mm,Date,Time\nR-3,bore,60,2026-07-01,06:00")
    assert Reading.objects.get(dimension="bore").happened_at == datetime(2026, 7, 1, 4, tzinfo=UTC)


@pytest.mark.parametrize(
    ("row", "column", "value", "code"),
    [
        ("R-9,OD,179,2026-01-02,", "Piece", "R-9", "unknown_piece"),
        ("R-1,OD,179,2027-01-02,", "Date", "2 January 2027", "in_the_future"),
        ("R-1,OD,179,2026-11-25,23:00", "Time", "23:00", "in_the_future"),
        ("R-1,girth,179,2026-01-02,", "Dimension", "girth", "unknown_choice"),
        ("R-1,OD,,2026-01-02,", "Value mm", "", "missing_value"),
        ("R-1,OD,-179,2026-01-02,", "Value mm", "-179", "negative_length"),
        ("R-1,OD,50,2026-11-02,", "Value mm", "50 mm", "bore_too_large"),
    ],
)
def test_bad_readings_are_told(
    engineer: Person, at: datetime, shop: None, row: str, column: str, value: str, code: str
) -> None:
    made = look(engineer, at, readings=f"Piece,Dimension,Value mm,Date,Time\n{row}")
    assert told(made) == [("readings", 2, column, value, code)]


def test_a_regrind_keeps_what_was_before_and_after(shop: None) -> None:
    work = Work.objects.get()
    measure = work.measures.get()
    assert (work.kind, work.done_on, work.done_by) == (
        "regrind",
        date(2025, 3, 4),
        "Alder Grinding",
    )
    assert (work.cost_cents, work.mark_restored) == (8550, True)
    assert (measure.before_nm, measure.after_nm) == (180 * MM, 179_500_000)


def test_a_cut_that_makes_larger_is_refused(engineer: Person, at: datetime, shop: None) -> None:
    made = look(
        engineer, at, regrinds="Piece,Date,Before OD mm,After OD mm\nR-3,2026-01-02,190,191"
    )
    assert told(made) == [("regrinds", 2, "After OD mm", "191 mm", "cut_made_larger")]


def test_a_bore_opened_by_work_is_kept_too(engineer: Person, at: datetime, shop: None) -> None:
    sheet = "Piece,Date,Kind,Before bore mm,After bore mm\nR-3,2026-01-02,re-bore,60,62"
    bring(engineer, at, regrinds=sheet)
    assert piece("R-3").now_bore_nm == 62 * MM


def test_length_run_is_the_sum_by_strip_class(shop: None) -> None:
    assert piece("R-1").length_run_nm == 150_000 * METRE


def test_another_length_for_the_same_day_corrects_the_first(
    engineer: Person, at: datetime, shop: None
) -> None:
    sheet = "Piece,Length m,Strip class,Date\nR-1,110000,galvanised,2026-01-31"
    made = look(engineer, at, length_run=sheet)
    assert previewed(made) == [
        ("length_run", 2, "change", {"Length": ["120000 m", "110000 m"]}),
    ]
    bring(engineer, at, length_run=sheet)
    assert piece("R-1").length_run_nm == 140_000 * METRE
    assert LengthEntry.objects.filter(corrects__isnull=False).count() == 1
    assert differences() == []


def test_a_day_with_several_entries_is_not_corrected_blindly(
    engineer: Person, at: datetime, shop: None
) -> None:
    for hour in (8, 16):
        when = datetime(2026, 5, 6, hour, tzinfo=UTC)
        LengthEntry.objects.create(
            piece=piece("R-3"), length_nm=1_000 * METRE, happened_at=when, received_at=at
        )
    heads = "Piece,Length m,Date"
    assert look(engineer, at, length_run=f"{heads}\nR-3,2000,2026-05-06").rows["same"] == 1
    made = look(engineer, at, length_run=f"{heads}\nR-3,3000,2026-05-06")
    assert told(made) == [("length_run", 2, "Length m", "3000 m", "several_entries")]


def test_what_other_sheets_say_is_not_said_twice(engineer: Person, at: datetime) -> None:
    """The sheet of pieces repeats what readings and length run in the same import say."""
    pieces = """
        Old number,Drawing,Owner,OD now mm,Length run m
        R-1,D-1,SHOP,179.48,150000
        R-2,D-1,FERN,,
        R-3,D-2,SHOP,,
    """
    bring(engineer, at, **{**WHOLE_SHOP, "pieces": pieces})
    assert Reading.objects.filter(piece=piece("R-1")).count() == 1
    assert LengthEntry.objects.filter(piece=piece("R-1")).count() == 2


def test_history_is_not_left_as_an_edit(shop: None) -> None:
    subjects = set(Change.objects.values_list("subject", flat=True))
    assert not subjects & {"Movement", "Reading", "Work", "WorkMeasure", "LengthEntry"}

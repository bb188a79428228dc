"""Spreadsheets in: looked at first, then applied whole or not at all, twice without doubling."""

from __future__ import annotations

import zipfile
from datetime import datetime, timedelta
from io import BytesIO
from typing import Any

import pytest
from django.db import IntegrityError, connection
from django.test.utils import CaptureQueriesContext
from openpyxl import Workbook

from tests.services.importing import OWNERS, PLACES, WHOLE_SHOP, bring, csv, look, previewed, told
from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import (
    Allotment,
    Change,
    ChartPass,
    Drawing,
    Import,
    ImportFile,
    ImportMapping,
    ImportState,
    LengthEntry,
    Movement,
    Owner,
    Person,
    Piece,
    Place,
    Reading,
    StockLine,
    Work,
)
from tooling.services import import_mapping, imports
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


def counts() -> dict[str, int]:
    models = (
        *(Owner, Place, Drawing, Piece, StockLine, Allotment, ChartPass, Movement, Reading, Work),
        *(LengthEntry, Change),
    )
    return {model.__name__: model._default_manager.count() for model in models}


def test_a_preview_says_of_every_row_what_it_would_do_and_changes_nothing(
    engineer: Person, at: datetime
) -> None:
    made = look(engineer, at, owners=OWNERS, places=PLACES)
    assert made.state == ImportState.READY
    assert made.rows == {"create": 7, "change": 0, "same": 0}
    assert previewed(made)[1] == ("owners", 3, "create", {})
    assert not Owner.objects.exists()
    assert not Place.objects.exists()


def test_a_second_look_tells_changes_from_what_is_the_same(engineer: Person, at: datetime) -> None:
    bring(engineer, at, owners=OWNERS)
    made = look(engineer, at, owners=OWNERS.replace("Fernhill", "Fern Hill").replace("2 May", "9"))
    assert made.rows == {"create": 0, "change": 1, "same": 1}
    assert previewed(made) == [
        (
            "owners",
            3,
            "change",
            {
                "Name": ["Fernhill Gutters", "Fern Hill Gutters"],
                "Consent": ["letter of 2 May", "letter of 9"],
            },
        )
    ]


def test_a_whole_shop_comes_in_at_once_and_a_second_time_changes_nothing(
    engineer: Person, at: datetime
) -> None:
    bring(engineer, at, **WHOLE_SHOP)
    before = counts()
    again = look(engineer, at + timedelta(days=1), **WHOLE_SHOP)
    assert again.rows == {"create": 0, "change": 0, "same": sum(again.rows.values())}
    assert again.problems == []
    imports.apply(by=engineer, at=at + timedelta(days=1), made=again)
    assert counts() == {**before, "Change": before["Change"] + 1}


def test_what_an_import_derives_is_what_history_says(engineer: Person, at: datetime) -> None:
    bring(engineer, at, **WHOLE_SHOP)
    assert differences() == []


def test_sheets_may_point_to_each_other_in_any_order_of_files(
    engineer: Person, at: datetime
) -> None:
    made = look(engineer, at, **dict(reversed(WHOLE_SHOP.items())))
    assert made.problems == []


def test_one_bad_row_among_a_hundred_is_the_one_problem_and_nothing_is_saved(
    engineer: Person, at: datetime
) -> None:
    rows = [f"A{n},Owner {n},no" for n in range(1, 101)]
    rows[56] = "A57,Owner 57,perhaps"
    made = look(engineer, at, owners="\n".join(["Code,Name,Our own shop", *rows]).encode())
    assert told(made) == [("owners", 58, "Our own shop", "perhaps", "not_yes_or_no")]
    with pytest.raises(Conflict) as refused:
        imports.apply(by=engineer, at=at, made=made)
    assert refused.value.code == "import_has_problems"
    assert "row 58" in refused.value.message
    assert not Owner.objects.exists()


def test_a_problem_names_the_sheets_own_heading_and_the_value_written(
    engineer: Person, at: datetime
) -> None:
    bring(engineer, at, owners=OWNERS, places=PLACES)
    sheet = """
        Alias,Stamp,Dwg,Cust,Loc
        R-1,X,D-77,FERN,Hall
    """
    made = look(engineer, at, pieces=sheet)
    assert told(made) == [("pieces", 2, "Dwg", "D-77", "unknown_drawing")]
    assert made.problems[0]["message"] == "There is no drawing “D-77”."


def test_two_sheets_that_speak_of_one_record_are_told(engineer: Person, at: datetime) -> None:
    made = look(engineer, at, owners=OWNERS, customers=b"Code,Name,Our own shop\nfern,Fernhill,no")
    assert told(made) == [("customers", 2, "Code", "fern", "duplicate_record")]


def test_two_files_of_one_name_are_both_read(engineer: Person, at: datetime) -> None:
    two = [
        imports.Brought("owners.csv", csv(OWNERS)),
        imports.Brought("owners.csv", b"Code,Name,Our own shop\nOAK,Oakley,no\nFERN,Fern,maybe"),
    ]
    made = imports.bring(by=engineer, at=at, brought=two)
    assert made.rows["create"] == 3
    assert told(made) == [("2 owners", 3, "Our own shop", "maybe", "not_yes_or_no")]


def test_sheets_of_one_name_in_two_workbooks_are_told_apart(engineer: Person, at: datetime) -> None:
    brought = []
    for name, row in (("a.xlsx", ["OAK", "Oakley", "no"]), ("b.xlsx", ["ELM", "Elmer", "what"])):
        book = Workbook()
        assert book.active is not None
        book.active.title = "Sheet1"
        book.active.append(["Code", "Name", "Our own shop"])
        book.active.append(row)
        stream = BytesIO()
        book.save(stream)
        brought.append(imports.Brought(name, stream.getvalue()))
    made = imports.bring(by=engineer, at=at, brought=brought)
    assert told(made) == [("b.xlsx: Sheet1", 2, "Our own shop", "what", "not_yes_or_no")]


def test_when_the_database_refuses_nothing_is_left(engineer: Person, at: datetime) -> None:
    """The last rows that are written, those of history, break on an index made for this test."""
    made = look(engineer, at, owners=OWNERS, places=PLACES)
    before = counts()
    with connection.cursor() as cursor:
        cursor.execute("CREATE UNIQUE INDEX one_row_of_a_kind ON tooling_change (what)")
    with pytest.raises(Conflict) as refused:
        imports.apply(by=engineer, at=at, made=made)
    assert refused.value.code == "import_contradicts"
    assert isinstance(refused.value.__cause__, IntegrityError)
    assert counts() == before
    made.refresh_from_db()
    assert made.state == ImportState.READY


def test_an_applied_import_is_over(engineer: Person, at: datetime) -> None:
    made = bring(engineer, at, owners=OWNERS)
    for act in (imports.apply, imports.drop):
        with pytest.raises(Conflict) as refused:
            act(by=engineer, at=at, made=made)
        assert refused.value.code == "import_over"


def test_a_dropped_import_changes_nothing_and_stays_dropped(engineer: Person, at: datetime) -> None:
    made = look(engineer, at, owners=OWNERS)
    imports.drop(by=engineer, at=at, made=made)
    with pytest.raises(Conflict):
        imports.apply(by=engineer, at=at, made=made)
    assert not Owner.objects.exists()


def test_what_would_no_longer_do_what_the_preview_said_is_refused_and_looked_at_again(
    engineer: Person, at: datetime
) -> None:
    made = look(engineer, at, owners=OWNERS)
    bring(engineer, at, owners=OWNERS.replace("Fernhill", "Fern Hill"))
    before = counts()
    with pytest.raises(Conflict) as refused:
        imports.apply(by=engineer, at=at, made=made)
    assert refused.value.code == "stale_plan"
    assert counts() == before
    made.refresh_from_db()
    assert made.rows == {"create": 0, "change": 1, "same": 1}
    assert imports.apply(by=engineer, at=at, made=made).state == ImportState.APPLIED
    assert Owner.objects.get(code="FERN").name == "Fernhill Gutters"


def test_what_others_edit_elsewhere_does_not_matter(engineer: Person, at: datetime) -> None:
    made = look(engineer, at, owners=OWNERS)
    bring(engineer, at, customers=b"Code,Name,Our own shop\nOAK,Oakley,no")
    imports.apply(by=engineer, at=at, made=made)
    assert Owner.objects.count() == 3


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_only_engineers_and_supervisors_bring_sheets(
    cast: dict[str, Person], at: datetime, role: str
) -> None:
    with pytest.raises(NotAllowed):
        look(cast[role], at, owners=OWNERS)
    assert not Import.objects.exists()


@pytest.mark.parametrize("role", ["engineer", "supervisor"])
def test_engineers_and_supervisors_may(cast: dict[str, Person], at: datetime, role: str) -> None:
    assert bring(cast[role], at, owners=OWNERS).state == ImportState.APPLIED


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_nobody_else_applies_drops_or_maps_what_an_engineer_brought(
    cast: dict[str, Person], engineer: Person, at: datetime, role: str
) -> None:
    made = look(engineer, at, owners=OWNERS)
    by = cast[role]
    for act in (
        lambda: imports.apply(by=by, at=at, made=made),
        lambda: imports.drop(by=by, at=at, made=made),
        lambda: imports.remap(by=by, at=at, made=made, mapping=made.mapping),
        lambda: imports.keep_mapping(by=by, at=at, made=made, name="ours"),
    ):
        with pytest.raises(NotAllowed):
            act()
    made.refresh_from_db()
    assert made.state == ImportState.READY


def zip_bomb() -> bytes:
    """What looks like a workbook of a few kilobytes and unpacks to ten megabytes of nothing."""
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/worksheets/sheet1.xml", bytes(10_000_000))
    return stream.getvalue()


PNG = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01"


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("rolls.xlsx", PNG, "no_spreadsheet"),
        ("rolls.csv", b"", "empty_file"),
        ("rolls.csv", b"\n\n", "empty_file"),
        ("rolls.xlsx", b"PK\x03\x04 cut off", "damaged_file"),
        ("rolls.csv", b"%PDF-1.7", "no_spreadsheet"),
        ("rolls.xlsx", zip_bomb(), "unpacks_too_large"),
    ],
)
def test_what_is_no_spreadsheet_is_said_and_not_kept(
    engineer: Person, at: datetime, name: str, data: bytes, code: str
) -> None:
    with pytest.raises(ToolingError) as refused:
        imports.bring(by=engineer, at=at, brought=[imports.Brought(name, data)])
    assert refused.value.code == code
    assert name in refused.value.message
    assert not ImportFile.objects.exists()


def test_no_file_at_all_is_said(engineer: Person, at: datetime) -> None:
    with pytest.raises(ToolingError) as refused:
        imports.bring(by=engineer, at=at, brought=[])
    assert refused.value.code == "no_files"


def test_every_change_names_who_when_and_what_was_before(engineer: Person, at: datetime) -> None:
    bring(engineer, at, owners=OWNERS)
    later = at + timedelta(hours=1)
    bring(engineer, later, owners=OWNERS.replace("Fernhill", "Fern Hill"))
    change = Change.objects.get(subject="Owner", what="edited")
    assert (change.by, change.at, change.subject_key) == (engineer, later, "FERN")
    assert change.before == {"name": "Fernhill Gutters"}
    assert change.after == {"name": "Fern Hill Gutters"}


def test_the_number_of_statements_does_not_grow_with_the_rows(
    engineer: Person, at: datetime
) -> None:
    def statements(count: int) -> int:
        rows = [f"C{count}-{n},Owner {count} {n},no" for n in range(count)]
        made = look(engineer, at, owners="\n".join(["Code,Name,Our own shop", *rows]).encode())
        with CaptureQueriesContext(connection) as captured:
            imports.apply(by=engineer, at=at, made=made)
        return len(captured)

    assert statements(2) == statements(100)


# Mappings ---------------------------------------------------------------------------------------

GERMAN = "Kürzel;Firma;Eigen\nHAUS;Rollenwerk Süd;ja\nTANNE;Tannhof Dach;nein"
FORM = {"s0-kind": "owners", "s0-h0": "code", "s0-h1": "name", "s0-h2": "is_shop"}


def test_a_sheet_in_other_words_waits_for_a_person(engineer: Person, at: datetime) -> None:
    made = look(engineer, at, kunden=GERMAN.encode("cp1252"))
    assert told(made) == [("kunden", 1, "", "", "unclear_sheet")]


def test_a_mapping_changed_by_a_person_is_kept_and_used_again(
    engineer: Person, at: datetime
) -> None:
    made = look(engineer, at, kunden=GERMAN.encode())
    for _round in range(2):  # the kind first, then its columns, as the page does
        mapping = import_mapping.chosen(made=made, form=FORM)
        made = imports.remap(by=engineer, at=at, made=made, mapping=mapping)
    assert made.rows == {"create": 2, "change": 0, "same": 0}
    imports.keep_mapping(by=engineer, at=at, made=made, name="Kundenliste")
    imports.apply(by=engineer, at=at, made=made)

    more = GERMAN + "\nBUCHE;Buchner Profile;nein"
    again = imports.bring(
        by=engineer,
        at=at,
        brought=[imports.Brought("neu.csv", more.encode())],
        mapping_name="Kundenliste",
    )
    assert again.rows == {"create": 1, "change": 0, "same": 2}


def test_a_kept_mapping_holds_nothing_of_the_shops_own(engineer: Person, at: datetime) -> None:
    made = look(engineer, at, owners=OWNERS)
    kept = imports.keep_mapping(by=engineer, at=at, made=made, name="ours")
    assert "Fernhill" not in str(kept.mapping)


def test_keeping_under_the_same_name_replaces(engineer: Person, at: datetime) -> None:
    made = look(engineer, at, owners=OWNERS)
    for _round in range(2):
        imports.keep_mapping(by=engineer, at=at, made=made, name="ours")
    assert ImportMapping.objects.count() == 1


def test_a_mapping_nobody_kept_is_said(engineer: Person, at: datetime) -> None:
    with pytest.raises(ToolingError) as refused:
        imports.bring(
            by=engineer,
            at=at,
            brought=[imports.Brought("o.csv", csv(OWNERS))],
            mapping_name="theirs",
        )
    assert refused.value.code == "unknown_mapping"


def test_a_sheet_that_was_left_out_stays_left_out_with_the_kept_mapping(
    engineer: Person, at: datetime
) -> None:
    notes = b"Things to do,When\nsweep,Friday"
    made = look(engineer, at, owners=OWNERS, notes=notes)
    form = {**FORM, "s1-out": "on"}
    mapping = import_mapping.chosen(made=made, form=form)
    made = imports.remap(by=engineer, at=at, made=made, mapping=mapping)
    assert made.problems == []
    imports.keep_mapping(by=engineer, at=at, made=made, name="ours")
    again = imports.bring(
        by=engineer, at=at, brought=[imports.Brought("n.csv", notes)], mapping_name="ours"
    )
    assert again.problems == []


def test_a_value_can_be_given_to_every_row(engineer: Person, at: datetime) -> None:
    made = look(engineer, at, places=b"Name\nRack A\nRack B\n")
    form = {"s0-kind": "places", "s0-h0": "name", "s0-f-kind": "rack"}
    for _round in range(2):
        mapping = import_mapping.chosen(made=made, form=form)
        made = imports.remap(by=engineer, at=at, made=made, mapping=mapping)
    imports.apply(by=engineer, at=at, made=made)
    assert list(Place.objects.values_list("name", "kind")) == [
        ("Rack A", "rack"),
        ("Rack B", "rack"),
    ]


def test_two_columns_for_one_field_are_refused(engineer: Person, at: datetime) -> None:
    made = look(engineer, at, owners=OWNERS)
    form = {"s0-kind": "owners", "s0-h0": "code", "s0-h1": "name", "s0-h3": "name"}
    with pytest.raises(ToolingError) as refused:
        import_mapping.chosen(made=made, form=form)
    assert refused.value.code == "field_twice"
    assert "“Name” and “Consent”" in refused.value.message


def test_a_column_that_a_person_matches_brings_the_unit_of_its_heading(
    engineer: Person, at: datetime
) -> None:
    made = look(engineer, at, drawings=b"Drawing,Kind,Loch (inch)\nD-1,roll,2.5\n")
    form = {"s0-kind": "drawings", "s0-h0": "drawing", "s0-h1": "kind", "s0-h2": "bore"}
    mapping = import_mapping.chosen(made=made, form=form)
    made = imports.remap(by=engineer, at=at, made=made, mapping=mapping)
    imports.apply(by=engineer, at=at, made=made)
    assert Drawing.objects.get().revisions.get().bore_nm == 63_500_000  # 2.5 in · 25.4 mm

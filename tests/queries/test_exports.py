"""What is taken away comes back the same: export, import into an empty shop, export again."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from io import BytesIO
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext, override_settings
from openpyxl import load_workbook

from tests.conftest import AT
from tests.services.importing import WHOLE_SHOP, bring, look
from tests.world import MM
from tooling import history
from tooling.errors import Unknown
from tooling.models import (
    ChartPass,
    Drawing,
    Job,
    LengthEntry,
    Owner,
    Person,
    Piece,
    PieceAlias,
    Place,
    Reading,
    StockLine,
    ToolSet,
)
from tooling.queries.exports import ROWS
from tooling.services import exports, imports
from tooling.services.rebuild import differences
from tooling.spreadsheets.files import read_sheets
from tooling.spreadsheets.kinds import KINDS

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture(scope="module")
def shop(standing_cast: dict[str, Person], tmp_path_factory: Any) -> None:
    """A shop that uses what sheets can say: inch and mm, aliases, variants, copies, signs."""
    with override_settings(FILES_DIR=tmp_path_factory.mktemp("files")):
        bring_the_shop(standing_cast["engineer"], AT)


def bring_the_shop(engineer: Person, at: datetime) -> None:
    bring(engineer, at, **WHOLE_SHOP)
    bring(
        engineer, at,
        owners="Code,Name,Our own shop,Insurance\nFERN,Fernhill Gutters,no,policy 12 at Alder",
        places="Name,Inside,Kind,Home\nCart 7,Hall,cart,Hall / Rack A\nOther hall,,sister,\n"
               "Alder Grinding,,grinder,",
        drawings="Drawing,Rev,Kind,Strokes to sharpen\nDIE-1,A,line tooling,250000",
        features="Drawing,Revision,Order,Shape,Name,Width mm,Length mm,Note\n"
                 "DIE-1,A,1,round,fixing hole,11,,both flanges\nDIE-1,A,2,slot,,11,20.5,",
        gauges="Number,Name,Units,Resolution,Uncertainty,Due\n"
               "MIC-9,Micrometer,in,0.0001,0.0002,2027-03-01",
        gauge_points="Drawing,Gauge point,Where,What is read,Dimension,Units,When new,Limit,"
                     "Most depth lost,Grows,Both ends,Face angle,In use\n"
                     "D-2,throat,at the root,,root diameter,mm,,,0.25,,,12.5,\n"
                     "D-2,lip,both edges,template,,,,,,,yes,,\n"
                     "D-2,groove,,,,in,0.5,0.512,,yes,,60,no",
        pieces="Old number,Drawing,Place,Home,Strokes run,Due back\n"
               "P-1,DIE-1,Hall / Rack A / Shelf 1,Hall / Rack A / Shelf 1,9000,\n"
               "P-2,DIE-1,Alder Grinding,,,2026-12-24\nP-3,DIE-1,Alder Grinding,,,2026-01-24",
        regrinds="Piece,Date,Kind,Who\nP-1,2026-04-01,sharpen,Jo",
        length_run="Piece,Length m,Strokes,Date\nP-1,0,4000,2026-05-01",
    )  # fmt: skip
    bring(
        engineer, at,
        drawings="Drawing,Rev,Kind,Units,Title,Bore,Least OD,OD,Current revision\n"
                 "D-1,B,roll,in,=cmd|x,2.5,6.0001,7 1/64,\n"
                 "D-1,C,roll,mm,-5 wide,63.5,,,no",
        pieces="Old number,Other old numbers,Drawing,Rev,Units,OD as made,OD now,Note,Value,HRC\n"
               "R-1,#17; 0042,D-1,B,in,7.015625,,+ see @ book,1250.50,60.5\n"
               "R-2,,D-1,A,mm,,180.0001,,,",
        sets="Set,Pass,Shaft,Order,Drawing,Variant,Height mm,Tilt,Where on the line\n"
             "100,3,side,1,D-2,narrow,-3.25,1.5,\n"
             "100,4,line,1,DIE-1,,,,before the pre-punch",
    )  # fmt: skip
    bring(
        engineer, at,
        sets="Set,Pass,Gap point,Gap inclination,Shaft,Order,Drawing,Gap diameter mm\n"
             "100,1,web,30.5,top,1,D-1,150.2541",
        fills="Set,Pass,Shaft,After position,Fill length mm,Shorter by mm,Longer by mm\n"
              "100,1,top,1,12.5,0.025,0.03\n100,2,top,1,1/2 in,,",
        characteristics="Set,Characteristic,Unit,Nominal,Lower limit,Upper limit\n"
                        "100,web width,mm,100,99.6,100.4\n100,flange,°,90.25,,91\n"
                        "100,lip,in,1/2,12.6 mm,",
        charts="Set,Mill,Pass,Station,Gap over strip mm,Gap found by,Gap loaded\n"
               "100,M1,2,3,-0.05,feelers,yes",
        axes="Set,Mill,Pass,Setting,Unit,Setting target\n100,M1,1,Top screw,turns,2.375\n"
             "100,M1,1,guide,in,1 1/64\n100,M1,1,straightener,bar,",
    )  # fmt: skip
    Place.objects.filter(kind="station").update(walking_order=3)


def everything(by: Person) -> dict[str, bytes]:
    return {kind: exports.csv_of(by=by, kind=kind) for kind in ROWS}


def empty_the_shop() -> None:
    """As a new installation is: only the people. History steps aside for it as for a flush."""
    history.remove()
    tables = [
        *(
            "kitposition",
            "kit",
            "job",
            "chartaxis",
            "setfill",
            "characteristic",
            "chartpass",
            "setupchart",
            "allotment",
            "setcopy",
        ),
        *("setposition", "setpass", "setvariant", "toolset", "reading", "gauge", "workmeasure"),
        *("wearstate", "gaugepoint"),
        *("work", "lengthentry", "piecealias", "drawingfeature", "dueback"),
    ]
    with connection.cursor() as cursor:
        cursor.execute("UPDATE tooling_piece SET placed_by_id = NULL")
        cursor.execute("UPDATE tooling_place SET placed_by_id = NULL")
        tables += ["movement", "stockline", "piece", "drawingrevision", "drawing", "millshaft"]
        tables += ["station", "drivegroup", "mill"]
        for table in tables:
            cursor.execute(f"DELETE FROM tooling_{table}")
        cursor.execute("UPDATE tooling_place SET parent_id = NULL, home_id = NULL")
        for table in ("place", "owner", "change", "counter", "importfile", "import"):
            cursor.execute(f"DELETE FROM tooling_{table}")


def test_export_import_export_is_equal_to_the_byte(
    engineer: Person, at: datetime, shop: None
) -> None:
    before = everything(engineer)
    empty_the_shop()
    assert not Owner.objects.exists()
    sheets = {kind: data for kind, data in before.items() if data.count(b"\n") > 1}
    assert set(sheets) == set(ROWS)  # every kind has rows
    bring(engineer, at + timedelta(days=3), **sheets)
    assert everything(engineer) == before
    assert differences() == []


def test_the_workbook_comes_back_as_well(engineer: Person, at: datetime, shop: None) -> None:
    before = everything(engineer)
    book = exports.workbook(by=engineer)
    empty_the_shop()
    made = imports.bring(by=engineer, at=at, brought=[imports.Brought("all.xlsx", book)])
    assert made.problems == []
    imports.apply(by=engineer, at=at, made=made)
    assert everything(engineer) == before


EDITS = [
    ("owners", "FERN", "Fernhill Gutters", "Fern Hill", ["Name"]),
    ("places", "Shelf 2", ",12,", ",13,", ["Walking order"]),
    ("drawings", "DIE-1", "250000", "300000", ["Strokes to sharpen"]),
    ("features", "fixing hole", "both flanges", "one flange", ["Note"]),
    ("gauges", "MIC-9", "2027-03-01", "2028-03-01", ["Due"]),
    ("gauge_points", "groove", "13.0048", "13.05", ["Limit"]),
    ("gauge_points", "throat", "12.5", "15", ["Face angle"]),
    ("pieces", "P-1", ",sound,", ",clean,", ["Condition"]),
    ("pieces", "P-1", "Rack A / Shelf 1", "Rack A / Shelf 2", ["Place"]),
    ("pieces", "P-2", "2026-12-24", "2027-01-14", ["Due back"]),
    ("stock", "SP-5", ",12,4", ",12,5", ["Least count"]),
    ("sets", "narrow", ",1.5,", ",2.5,", ["Tilt"]),
    ("charts", ",A,", ",1.5,", ",1.25,", ["Gap"]),
    ("fills", "12.5", "12.5", "12.6", ["Fill length"]),
    ("characteristics", "flange", "90.25", "90.5", ["Nominal"]),
    ("axes", "Top screw", "2.375", "2.5", ["Setting target"]),
    ("jobs", "J-1", ",6.0,", ",7.0,", ["Hours"]),
]


@pytest.fixture(scope="module")
def files(standing_cast: dict[str, Person], shop: None) -> dict[str, bytes]:
    """The shop as it stands under every test."""
    return everything(standing_cast["engineer"])


@pytest.mark.parametrize(("kind", "of", "before", "after", "labels"), EDITS)
def test_one_edited_cell_is_one_change_and_only_that(
    engineer: Person, at: datetime, files: dict[str, bytes], kind: str, of: str, before: str,
    after: str, labels: list[str],
) -> None:  # fmt: skip
    lines = files[kind].decode().splitlines(keepends=True)
    row = next(n for n, line in enumerate(lines) if of in line and before in line)
    lines[row] = lines[row].replace(before, after, 1)
    made = look(engineer, at + timedelta(days=3), **{**files, kind: "".join(lines).encode()})
    assert made.problems == []
    assert made.rows == {"create": 0, "change": 1, "same": made.rows["same"]}
    assert [(line["row"], list(line["changes"])) for line in made.preview] == [(row + 1, labels)]


SIGNS = ["=1+1", "+49 30", "-5 wide", "@home", "\tx", "\rx", "|x", "'quoted", "''=x", "#REF!"]


def test_what_looks_like_a_formula_comes_back_as_it_was(
    engineer: Person, at: datetime, shop: None
) -> None:
    pieces = list(Piece.objects.order_by("code"))
    for first in range(0, len(SIGNS), len(pieces)):
        signs = SIGNS[first : first + len(pieces)]
        for piece, sign in zip(pieces, signs, strict=False):
            Piece.objects.filter(pk=piece.pk).update(note=sign)
        noted = Piece.objects.filter(note__in=signs).values_list("note", flat=True)
        assert sorted(noted) == sorted(signs)
        made = look(engineer, at + timedelta(days=3), **everything(engineer))
        assert made.rows["change"] == 0, (signs, made.preview)


def test_ones_own_export_changes_nothing(engineer: Person, at: datetime, shop: None) -> None:
    made = look(engineer, at + timedelta(days=3), **everything(engineer))
    assert made.problems == []
    assert made.rows == {"create": 0, "change": 0, "same": made.rows["same"]}


def test_labels_aliases_copies_and_variants_are_in_the_sheets(engineer: Person, shop: None) -> None:
    files = everything(engineer)
    piece = Piece.objects.get(aliases__text="R-1")
    row = next(line for line in files["pieces"].decode().splitlines() if "R-1," in line)
    assert row.startswith(f"{piece.code},R-1,#17; 0042,D-1,A,")
    assert ToolSet.objects.get(number="100").code in files["sets"].decode()
    assert StockLine.objects.get().code in files["stock"].decode()
    assert ",wide," in files["sets"].decode()
    assert "M00000" in files["mills"].decode()


def test_nothing_in_a_sheet_runs_as_a_formula(engineer: Person, shop: None) -> None:
    Owner.objects.filter(code="FERN").update(name="=HYPERLINK(1)", contact="@SUM(A1)")
    Drawing.objects.filter(number="D-2").update(title="\tx")
    for kind, data in everything(engineer).items():
        for sheet in read_sheets(data, name=f"{kind}.csv"):
            for _number, cells in sheet.source():
                assert not [c for c in cells if str(c or "").startswith(("=", "@", "\t", "+"))]
    assert b"'=HYPERLINK(1)" in exports.csv_of(by=engineer, kind="owners")
    book = load_workbook(BytesIO(exports.workbook(by=engineer)))
    assert not [c for ws in book for row in ws.iter_rows() for c in row if c.data_type == "f"]


def test_corrected_history_stays_at_home(engineer: Person, at: datetime, shop: None) -> None:
    piece = Piece.objects.get(aliases__text="R-3")
    wrong = Reading.objects.get(piece=piece)
    Reading.objects.create(
        piece=piece, dimension="root_diameter", value_nm=148 * MM, unit="mm", corrects=wrong,
        happened_at=wrong.happened_at, received_at=at,
    )  # fmt: skip
    text = exports.csv_of(by=engineer, kind="readings").decode()
    assert "148" in text
    assert "149.9" not in text


def test_two_entries_of_one_day_are_one_row(engineer: Person, at: datetime, shop: None) -> None:
    piece = Piece.objects.get(aliases__text="R-3")
    for hour in (8, 16):
        when = datetime(2026, 5, 6, hour, tzinfo=UTC)
        LengthEntry.objects.create(
            piece=piece, length_nm=1_000_000 * MM, happened_at=when, received_at=at
        )
    rows = [row for row in ROWS["length_run"]() if row.values["piece"] == piece.code]
    assert [row.values["length"] for row in rows] == [2_000_000 * MM]


def test_jobs_that_are_over_are_not_planned_again_elsewhere(shop: None) -> None:
    assert [row.values["number"] for row in ROWS["jobs"]()] == ["J-1"]
    Job.objects.update(state="done")
    assert list(ROWS["jobs"]()) == []


@pytest.mark.parametrize("kind", list(ROWS))
def test_the_number_of_queries_does_not_grow_with_the_rows(
    engineer: Person, at: datetime, shop: None, kind: str
) -> None:
    with CaptureQueriesContext(connection) as few:
        list(ROWS[kind]())
    more = "\n".join(f"X-{n},D-1,SHOP" for n in range(30))
    bring(engineer, at, pieces=f"Old number,Drawing,Owner\n{more}")
    PieceAlias.objects.bulk_create(
        PieceAlias(piece=piece, text=f"again {piece.pk}") for piece in Piece.objects.all()
    )
    with CaptureQueriesContext(connection) as many:
        list(ROWS[kind]())
    assert len(many) == len(few) <= 4


def test_every_kind_can_be_taken_away(shop: None) -> None:
    assert list(ROWS) == list(KINDS)
    assert all(list(rows()) for rows in ROWS.values())
    assert ChartPass.objects.exists()


def test_a_kind_that_is_not_is_said(engineer: Person) -> None:
    with pytest.raises(Unknown) as refused:
        exports.csv_of(by=engineer, kind="wishes")
    assert refused.value.code == "unknown_kind"


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew", "engineer", "supervisor"])
def test_everybody_in_the_shop_may_take_sheets_away(cast: dict[str, Person], role: str) -> None:
    assert exports.csv_of(by=cast[role], kind="owners").startswith(b"\xef\xbb\xbfCode,Name")

"""Owners, places, mills, drawings, pieces and stock from sheets."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import override_settings

from tests.conftest import AT
from tests.services.importing import (
    DRAWINGS,
    MILLS,
    OWNERS,
    PIECES,
    PLACES,
    STOCK,
    bring,
    look,
    previewed,
    told,
)
from tests.world import MM, World
from tooling.models import (
    Change,
    DrawingRevision,
    Kit,
    KitPosition,
    Mill,
    MillShaft,
    Movement,
    Owner,
    Person,
    Piece,
    Place,
    Reading,
    SetPosition,
    Station,
    StockLine,
)
from tooling.services import holds, labels
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db
BASE = {"owners": OWNERS, "places": PLACES, "drawings": DRAWINGS}


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture(scope="module")
def shop(standing_cast: dict[str, Person], tmp_path_factory: Any) -> None:
    with override_settings(FILES_DIR=tmp_path_factory.mktemp("files")):
        bring(standing_cast["engineer"], AT, **BASE, mills=MILLS, pieces=PIECES, stock=STOCK)


def piece(old_number: str) -> Piece:
    return Piece.objects.get(aliases__text=old_number)


# Owners and places ------------------------------------------------------------------------------


def test_only_one_owner_is_the_shop(engineer: Person, at: datetime, shop: None) -> None:
    made = look(engineer, at, owners="Code,Name,Our own shop\nFERN,Fernhill Gutters,yes")
    assert told(made) == [("owners", 2, "Our own shop", "yes", "two_shops")]


@pytest.mark.parametrize("rows", ["FERN,F,yes\nSHOP,S,no", "SHOP,S,no\nFERN,F,yes"])
def test_the_shop_may_change_hands_whichever_row_comes_first(
    engineer: Person, at: datetime, shop: None, rows: str
) -> None:
    bring(engineer, at, owners=b"Code,Name,Our own shop\n" + rows.encode())
    assert list(Owner.objects.filter(is_shop=True).values_list("code", flat=True)) == ["FERN"]


def test_a_place_cannot_move_into_its_own_child(engineer: Person, at: datetime, shop: None) -> None:
    code = Place.objects.get(name="Rack A").code
    sheet = f"Name,Inside,Kind,Label code\nRack A,Hall / Rack A / Shelf 1,rack,{code}"
    made = look(engineer, at, places=sheet)
    assert told(made) == [("places", 2, "Inside", "Hall / Rack A / Shelf 1", "place_inside_itself")]


def test_a_place_named_by_its_label_moves_with_everything_inside(
    engineer: Person, at: datetime, shop: None
) -> None:
    rack = Place.objects.get(name="Rack A")
    bring(
        engineer, at,
        places=f"Name,Inside,Kind,Label code\nAnnex,,area,\nRack Z,Annex,rack,{rack.code}",
    )  # fmt: skip
    shelf = Place.objects.get(name="Shelf 1")
    assert shelf.path_name == "Annex / Rack Z / Shelf 1"
    annex = Place.objects.get(name="Annex")
    assert shelf.path == f"/{annex.code}/{rack.code}/{shelf.code}/"
    assert differences() == []


def test_a_cart_that_has_moved_since_is_the_same_cart(
    engineer: Person, at: datetime, shop: None
) -> None:
    cart = Place.objects.get(name="Cart 7")
    rack = Place.objects.get(name="Rack A")
    Place.objects.filter(pk=cart.pk).update(parent=rack, path_name="Hall / Rack A / Cart 7")
    on_it = PIECES.replace("Hall / Rack A / Shelf 1", "Hall / Cart 7")
    made = look(engineer, at, places=PLACES, pieces=on_it)
    assert made.problems == []
    assert made.rows["create"] == 0
    bring(engineer, at, places=PLACES)
    cart.refresh_from_db()
    assert cart.parent == rack


def test_a_new_cart_stands_where_its_first_movement_says(
    engineer: Person, at: datetime, shop: None
) -> None:
    cart = Place.objects.get(name="Cart 7")
    movement = Movement.objects.get(cart=cart)
    assert (movement.to, movement.how, movement.sees) == (cart.parent, "import", False)
    assert cart.placed_by == movement


@pytest.mark.parametrize(
    ("row", "column", "value", "code"),
    [
        ("Rack B,Nowhere,rack,", "Inside", "Nowhere", "unknown_place"),
        ("Rack 1/2,,rack,", "Name", "Rack 1/2", "slash_in_name"),
        ("Cart 7,Hall,rack,{cart}", "Kind", "rack", "label_says_otherwise"),
        ("Rack B,,rack,{cart}", "Kind", "rack", "label_says_otherwise"),
        ("Rack B,,rack,P000001X", "Label code", "P000001X", "bad_check_character"),
        ("Rack B,,rack,R0000LL8", "Label code", "R0000LL8", "code_of_another_kind"),
    ],
)
def test_bad_places_are_told(
    engineer: Person, at: datetime, shop: None, row: str, column: str, value: str, code: str
) -> None:
    cart = Place.objects.get(name="Cart 7").code
    sheet = f"Name,Inside,Kind,Label code\n{row.format(cart=cart)}"
    assert told(look(engineer, at, places=sheet)) == [("places", 2, column, value, code)]


def test_mills_bring_their_stations_and_shafts(engineer: Person, at: datetime, shop: None) -> None:
    mill = Mill.objects.get(number="M1")
    assert [station.number for station in mill.stations.all()] == [1, 2, 3]
    assert MillShaft.objects.filter(station__mill=mill, diameter_nm=60 * MM).count() == 6
    station = Station.objects.get(mill=mill, number=2)
    assert station.place.path_name == "Mill one / Station 2"
    assert station.code.startswith("M")


# Drawings ---------------------------------------------------------------------------------------


def test_a_new_revision_becomes_the_current_one(engineer: Person, at: datetime, shop: None) -> None:
    bring(engineer, at, drawings="Drawing,Rev,Kind,Bore mm\nD-1,B,roll,60")
    current = DrawingRevision.objects.filter(drawing__number="D-1", is_current=True)
    assert [revision.revision for revision in current] == ["B"]
    assert piece("R-1").revision.revision == "A"


def test_a_revision_can_be_made_current_again(engineer: Person, at: datetime, shop: None) -> None:
    bring(engineer, at, drawings="Drawing,Rev,Kind,Bore mm\nD-1,B,roll,60")
    bring(engineer, at, drawings="Drawing,Rev,Kind,Current revision\nD-1,A,roll,yes")
    current = DrawingRevision.objects.filter(drawing__number="D-1", is_current=True)
    assert [revision.revision for revision in current] == ["A"]


def test_a_piece_may_go_to_a_revision_of_the_same_import(
    engineer: Person, at: datetime, shop: None
) -> None:
    bring(
        engineer, at, drawings="Drawing,Rev,Kind,Bore mm\nD-1,B,roll,60",
        pieces="Old number,Drawing,Rev\nR-1,D-1,B",
    )  # fmt: skip
    assert piece("R-1").revision.revision == "B"


def test_the_kind_of_a_drawing_stays(engineer: Person, at: datetime, shop: None) -> None:
    made = look(engineer, at, drawings="Drawing,Rev,Kind\nD-1,A,spacer")
    assert told(made) == [("drawings", 2, "Kind", "spacer", "kind_stays")]


# Pieces -----------------------------------------------------------------------------------------


def test_an_imported_piece_has_a_label_a_place_and_was_seen_by_nobody(
    engineer: Person, at: datetime, shop: None
) -> None:
    found = piece("R-1")
    movement = Movement.objects.get(piece=found)
    assert found.code.startswith("R")
    assert found.place.path_name == "Hall / Rack A / Shelf 1"
    assert found.seen_at is None
    assert (movement.how, movement.sees, movement.by) == ("import", False, engineer)
    assert found.placed_by == movement


def test_a_piece_without_a_place_waits_in_a_place_of_its_own(
    engineer: Person, at: datetime, shop: None
) -> None:
    bring(engineer, at, pieces="Old number,Drawing\nR-8,D-1\nR-9,D-1")
    assert piece("R-8").place == piece("R-9").place
    assert piece("R-8").place.kind == "unknown"


def test_a_moved_piece_leaves_a_movement_and_a_preview(
    engineer: Person, at: datetime, shop: None
) -> None:
    later = at + timedelta(hours=2)
    sheet = "Old number,Drawing,Place\nR-1,D-1,Hall / Rack A / Shelf 2"
    made = look(engineer, later, pieces=sheet)
    assert previewed(made) == [
        ("pieces", 2, "change", {"Place": ["Hall / Rack A / Shelf 1", "Hall / Rack A / Shelf 2"]})
    ]
    bring(engineer, later, pieces=sheet)
    moved = piece("R-1")
    assert moved.place.name == "Shelf 2"
    assert moved.placed_effective_at == later
    assert differences() == []


def test_a_move_by_sheet_unstages_and_tells_the_kit(
    engineer: Person, at: datetime, shop: None, world: World
) -> None:
    kit = _kit_on_the_cart(world, "R-1", in_place=True)
    bring(engineer, at, pieces="Old number,Drawing,Place\nR-1,D-1,Hall / Rack A / Shelf 2")
    claim = KitPosition.objects.get(kit=kit)
    assert (claim.is_staged, claim.holds_piece) == (False, False)
    before = kit.version
    kit.refresh_from_db()
    assert kit.version > before


def test_a_piece_of_another_kit_is_not_staged_by_sheet(
    engineer: Person, at: datetime, shop: None, world: World
) -> None:
    _kit_on_the_cart(world, "R-1", in_place=False)
    made = look(engineer, at, pieces="Old number,Drawing,Place\nR-3,D-2,Hall / Cart 7")
    assert told(made) == [("pieces", 2, "Place", "Hall / Cart 7", "wrong_position")]


def _kit_on_the_cart(world: World, old_number: str, *, in_place: bool) -> Kit:
    """A kit gathered on cart 7 that claims the piece; its set and job are made for it."""
    claimed, cart = piece(old_number), Place.objects.get(name="Cart 7")
    tool_set = world.tool_set("S9", {(1, "top", 1): claimed.drawing})
    job = world.job(tool_set, Mill.objects.get(number="M1"))
    kit = Kit.objects.create(number=world.code("K"), job=job, place=cart)
    KitPosition.objects.create(
        kit=kit, set_position=SetPosition.objects.get(set_pass__tool_set=tool_set),
        station_number=1, pass_number=1, shaft="top", order=1, drawing=claimed.drawing,
        piece=claimed, is_staged=in_place, holds_piece=in_place,
    )  # fmt: skip
    if in_place:
        Piece.objects.filter(pk=claimed.pk).update(place=cart)
    return kit


@pytest.fixture
def world(at: datetime, shop: None) -> World:
    """Builders over the imported shop, which has its owner already."""
    made = World.__new__(World)
    made.at, made.shop = at, Owner.objects.get(is_shop=True)
    return made


def test_an_edit_is_filed_under_the_pieces_label(
    engineer: Person, at: datetime, shop: None
) -> None:
    bring(engineer, at, pieces="Old number,Drawing,Heat lot\nR-1,D-1,H77")
    change = Change.objects.get(subject="Piece", what="edited")
    assert (change.subject_key, change.after) == (piece("R-1").code, {"heat_lot": "H77"})


@pytest.mark.parametrize(
    ("row", "column", "value", "code"),
    [
        (",R-1,,D-2,,,", "Drawing", "D-2", "other_drawing"),
        (",R-9,,D-1,ELM,,", "Owner", "ELM", "unknown_owner"),
        (",R-9,,D-1,,Attic,", "Place", "Attic", "unknown_place"),
        (",R-9,,D-1,,Shelf 9,", "Place", "Shelf 9", "unknown_place"),
        (",,D-1,D-1,,,", "Mark", "D-1", "ambiguous_mark"),
        ("R0000LL8,R-1,,D-1,,,", "Label code", "R0000LL8", "other_label"),
        ("S0000LLS,R-9,,D-1,,,", "Label code", "S0000LLS", "code_of_another_kind"),
        ("R0000LL9,R-9,,D-1,,,", "Label code", "R0000LL9", "bad_check_character"),
        ("hello,R-9,,D-1,,,", "Label code", "hello", "not_a_code"),
        (",R-9,,D-1,,,molten", "Condition", "molten", "unknown_choice"),
    ],
)
def test_bad_pieces_are_told(
    engineer: Person, at: datetime, shop: None, row: str, column: str, value: str, code: str
) -> None:
    heads = "Label code,Old number,Mark,Drawing,Owner,Place,Condition"
    made = look(engineer, at, pieces=f"{heads}\n{row}")
    assert told(made) == [("pieces", 2, column, value, code)]


def test_two_rows_that_name_one_piece_by_label_and_by_old_number_are_told(
    engineer: Person, at: datetime, shop: None
) -> None:
    label = piece("R-1").code
    rows = f"Label code,Old number,Drawing,Heat lot\n{label},,D-1,H1\n,R-1,D-1,H2"
    made = look(engineer, at, pieces=rows)
    assert told(made) == [("pieces", 3, "Mark", "", "duplicate_record")]
    assert "Row 2" in made.problems[0]["message"]


def test_a_label_brought_along_is_kept_folded_and_never_issued_again(
    engineer: Person, at: datetime, shop: None
) -> None:
    bring(engineer, at, pieces="Label code,Mark,Drawing\nr oo0-0LL-8,M-1,D-1")
    assert Piece.objects.get(mark="M-1").code == "R0000LL8"
    bring(engineer, at, pieces="Mark,Drawing\nM-2,D-1")
    assert Piece.objects.get(mark="M-2").code > "R0000LL8"


def test_a_label_that_was_made_void_is_not_taken_again(
    supervisor: Person, engineer: Person, at: datetime, shop: None
) -> None:
    old = piece("R-1").code
    labels.reissue(by=supervisor, at=at, code=old, reason="lost")
    made = look(engineer, at, pieces=f"Label code,Mark,Drawing\n{old},D-1,D-1")
    assert told(made) == [("pieces", 2, "Label code", old, "other_label")]


def test_an_old_number_is_one_pieces_only(engineer: Person, at: datetime, shop: None) -> None:
    made = look(engineer, at, pieces="Old number,Other old numbers,Drawing\nR-1,X-1; R-2,D-1")
    assert told(made) == [("pieces", 2, "Old number", "R-1", "other_piece")]


def test_further_old_numbers_are_kept(engineer: Person, at: datetime, shop: None) -> None:
    bring(engineer, at, pieces="Old number,Other old numbers,Drawing\nR-1,X-1; X-2,D-1")
    aliases = piece("R-1").aliases.order_by("pk").values_list("text", flat=True)
    assert list(aliases) == ["R-1", "X-1", "X-2"]


def test_a_hold_is_not_lifted_by_a_sheet(engineer: Person, at: datetime, shop: None) -> None:
    holds.hold_piece(by=engineer, at=at, piece=piece("R-1"), reason="cracked flange?")
    made = look(engineer, at, pieces="Old number,Drawing,Condition\nR-1,D-1,sound")
    assert told(made) == [("pieces", 2, "Condition", "sound", "piece_held")]


def test_a_size_now_becomes_a_reading_once(engineer: Person, at: datetime, shop: None) -> None:
    sheet = "Old number,Drawing,OD now mm,Measured\nR-1,D-1,179.6,2026-05-06"
    bring(engineer, at, pieces=sheet)
    reading = Reading.objects.get()
    assert (reading.value_nm, reading.happened_at.date().isoformat()) == (179_600_000, "2026-05-06")
    assert piece("R-1").now_outside_diameter_nm == 179_600_000
    assert bring(engineer, at + timedelta(days=1), pieces=sheet).rows["same"] == 1
    assert Reading.objects.count() == 1


def test_a_size_older_than_the_newest_reading_is_history_only(
    engineer: Person, at: datetime, shop: None
) -> None:
    heads = "Old number,Drawing,OD now mm,Measured"
    bring(engineer, at, pieces=f"{heads}\nR-1,D-1,179,2026-05-06")
    older = f"{heads}\nR-1,D-1,180,2025-05-06"
    made = look(engineer, at, pieces=older)
    assert previewed(made)[0][3] == {"older reading of outside diameter": [None, "180 mm"]}
    bring(engineer, at, pieces=older)
    assert piece("R-1").now_outside_diameter_nm == 179 * MM
    assert bring(engineer, at, pieces=older).rows["same"] == 1
    assert Reading.objects.count() == 2
    assert differences() == []


def test_sizes_now_that_cannot_be_are_refused(engineer: Person, at: datetime, shop: None) -> None:
    made = look(engineer, at, pieces="Old number,Drawing,OD now mm\nR-1,D-1,55")
    assert told(made) == [("pieces", 2, "OD now mm", "55 mm", "bore_too_large")]


def test_length_run_never_falls(engineer: Person, at: datetime, shop: None) -> None:
    heads = "Old number,Drawing,Length run m"
    bring(engineer, at, pieces=f"{heads}\nR-1,D-1,5000")
    assert piece("R-1").length_run_nm == 5_000 * 1_000 * MM
    made = look(engineer, at, pieces=f"{heads}\nR-1,D-1,4000")
    assert told(made) == [("pieces", 2, "Length run m", "4000 m", "length_run_falls")]
    bring(engineer, at, pieces=f"{heads}\nR-1,D-1,5500")
    assert piece("R-1").length_run_nm == 5_500 * 1_000 * MM
    assert differences() == []


# Stock ------------------------------------------------------------------------------------------


def test_stock_is_received_once_and_counted_after(
    engineer: Person, at: datetime, shop: None
) -> None:
    line = StockLine.objects.get()
    assert (line.count, line.least_count, line.code[0]) == (12, 4, "B")
    made = look(engineer, at, stock=STOCK.replace("12", "9"))
    assert previewed(made) == [("stock", 2, "change", {"Count": ["12", "9"]})]
    bring(engineer, at, stock=STOCK.replace("12", "9"))
    line.refresh_from_db()
    assert line.count == 9
    rows = Movement.objects.filter(stock=line).order_by("pk").values_list("what", "quantity")
    assert list(rows) == [("receive", 12), ("count", -3)]
    assert differences() == []


@pytest.mark.parametrize(
    ("row", "column", "value", "code"),
    [
        ("SP-5,Hall / Rack A,sound,-3", "Count", "-3", "negative_value"),
        ("SP-5,Hall / Rack A,sound,many", "Count", "many", "not_a_number"),
        ("SP-9,Hall / Rack A,sound,3", "Drawing", "SP-9", "unknown_drawing"),
        ("SP-5,Cellar,sound,3", "Place", "Cellar", "unknown_place"),
    ],
)
def test_bad_stock_is_told(
    engineer: Person, at: datetime, shop: None, row: str, column: str, value: str, code: str
) -> None:
    made = look(engineer, at, stock=f"Drawing,Place,Condition,Count\n{row}")
    assert told(made) == [("stock", 2, column, value, code)]

"""Searching pieces: what people type is understood, and no search reads every piece."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.world import MM, World
from tooling.models import PieceAlias
from tooling.queries.pieces import PAGE, Filters, find_exactly, search_pieces
from tooling.queries.search_words import understand

IN = 25_400_000


@pytest.fixture
def shop(world: World) -> dict[str, str]:
    """Codes of a few pieces by a name of ours."""
    customer = world.shop.__class__.objects.create(code="QUIL", name="Quillmoor Racking")
    station = world.place("Mill 1 station 3", kind="station")
    rack = world.place("Rack A")
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    roll = world.drawing(
        "1472-03-T1", bore_nm=70 * MM, face_width_nm=90 * MM, drive_diameter_nm=152 * MM
    )
    spacer = world.drawing("SP 70 x 25", kind="spacer", bore_nm=70 * MM, face_width_nm=25 * MM)
    found = {
        "roll": world.piece(roll, shelf, mark="1472-03-T1A"),
        "owned": world.piece(roll, rack, mark="1472-03-T1B", owner=customer),
        "worn": world.piece(
            roll, station, mark="1472-03-T1C", now_drive_diameter_nm=150 * MM, condition="chipped"
        ),
        "spacer": world.piece(spacer, rack, mark="S25", seen=False),
    }
    PieceAlias.objects.create(piece=found["owned"], text="R-0417")
    return {name: piece.code for name, piece in found.items()}


def search(text: str = "", **fields: str | bool) -> set[str]:
    return {row.code for row in search_pieces(Filters(text=text, **fields)).rows}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1472-03-t1a", {"roll"}),
        ("1472", {"roll", "owned", "worn"}),
        ("r-0417", {"owned"}),
        ("R-04", {"owned"}),
        ("1472-03-T1", {"roll", "owned", "worn"}),
        ("Rack A", {"roll", "owned", "spacer"}),
        ("shelf 1", {"roll"}),
        ("quillmoor", {"owned"}),
        ("QUIL", {"owned"}),
        ("bore 70", {"roll", "owned", "worn", "spacer"}),
        ("70 x 25", {"spacer"}),
        ("70 × 90 mm", {"roll", "owned", "worn"}),
        ("pitch diameter 152", {"roll", "owned"}),
        ("drive diameter 150", {"worn"}),
        ("PD 150.04 mm", {"worn"}),
        ("width 0.9843 in", {"spacer"}),
        ("collar", {"spacer"}),
        ("collar 25", {"spacer"}),
        ("rolls 1472", {"roll", "owned", "worn"}),
        ("mill 1 stand 3", {"worn"}),
        ("nothing like it", set()),
        ("bore minus nonsense", set()),
        ("%", set()),
        ("_", set()),
    ],
)
def test_what_people_type_finds_the_pieces_they_mean(
    text: str, expected: set[str], shop: dict[str, str]
) -> None:
    assert search(text) == {shop[name] for name in expected}


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({}, {"roll", "owned", "worn", "spacer"}),
        ({"owner": "QUIL"}, {"owned"}),
        ({"owner": "NOBODY"}, set()),
        ({"kind": "spacer"}, {"spacer"}),
        ({"condition": "chipped"}, {"worn"}),
        ({"unseen": True}, {"spacer"}),
        ({"text": "1472", "owner": "QUIL"}, {"owned"}),
        ({"kind": "nonsense"}, {"roll", "owned", "worn", "spacer"}),
    ],
)
def test_filters_narrow_what_is_found(
    fields: dict[str, str], expected: set[str], shop: dict[str, str]
) -> None:
    assert search(**fields) == {shop[name] for name in expected}


def test_a_place_holds_what_is_in_the_places_in_it(shop: dict[str, str], world: World) -> None:
    rack = search_pieces(Filters(text="Rack A")).rows[0].place_code
    assert len(search(place=rack)) <= 3
    assert search(place="P0000000") == set()


def test_a_code_typed_with_letters_o_and_small_ones_is_folded(shop: dict[str, str]) -> None:
    code = shop["roll"]
    typed = code.lower().replace("0", "o")
    assert find_exactly(typed) == code
    assert search(typed[:5]) >= {code}


def test_a_mark_that_two_pieces_share_is_not_one_piece(world: World) -> None:
    drawing, rack = world.drawing("1"), world.place("Rack")
    first = world.piece(drawing, rack, mark="1472-01-T1")
    assert find_exactly("1472-01-t1") == first.code
    world.piece(drawing, rack, mark="1472-01-T1")
    assert find_exactly("1472-01-t1") == ""
    assert find_exactly("") == ""


def test_pages_hold_every_piece_once(world: World) -> None:
    drawing, rack = world.drawing("1472"), world.place("Rack")
    codes = {world.piece(drawing, rack, mark="1472").code for _n in range(PAGE + 7)}
    for text in ("", "1472"):
        first = search_pieces(Filters(text=text))
        second = search_pieces(Filters(text=text), after=first.after)
        seen = [row.code for row in (*first.rows, *second.rows)]
        assert (len(first.rows), second.after) == (PAGE, "")
        assert len(seen) == len(set(seen))
        assert set(seen) == codes


SEARCHES = [
    Filters(),
    Filters(text="1472"),
    Filters(text="R0000"),
    Filters(text="bore 70"),
    Filters(text="70 x 25"),
    Filters(text="drive diameter 152"),
    Filters(text="Rack A"),
    Filters(text="Quillmoor"),
    Filters(owner="QUIL"),
    Filters(kind="spacer"),
    Filters(condition="chipped"),
    Filters(unseen=True),
    Filters(text="1472", owner="QUIL", condition="chipped"),
]


@pytest.mark.parametrize("filters", SEARCHES, ids=str)
def test_no_search_reads_all_pieces_or_any_movement(filters: Filters, shop: dict[str, str]) -> None:
    with CaptureQueriesContext(connection) as captured:
        search_pieces(filters)
        find_exactly(filters.text)
    assert not [
        q for q in captured.captured_queries if "tooling_movement" in q["sql"].split("FROM")[-1]
    ]
    if connection.vendor == "sqlite":
        plans = [step for query in captured.captured_queries for step in plan_of(query["sql"])]
        assert [step for step in plans if step == "SCAN tooling_piece"] == []


def plan_of(sql: str) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN QUERY PLAN {sql}")
        return [row[3] for row in cursor.fetchall()]


@pytest.mark.parametrize(
    ("text", "unit", "name", "nm"),
    [
        ("bore 2 1/2", "in", "bore", 5 * IN // 2),
        ("od 63,5 mm", "mm", "outside_diameter", 63_500_000),
        ("throat 140", "mm", "root_diameter", 140 * MM),
        ("face width 1in", "mm", "face_width", IN),
    ],
)
def test_sizes_are_read_as_the_trade_writes_them(text: str, unit: str, name: str, nm: int) -> None:
    low, high = understand(text, unit=unit).sizes[name]  # type: ignore[arg-type]
    assert (low + high) // 2 == nm


def test_the_trades_other_words_are_understood() -> None:
    assert understand("collar").kind == "spacer"
    assert understand("raft 3").other_names == ("plate 3",)
    assert understand("stand 4").other_names == ("station 4",)
    assert understand("pitch diameter 100").sizes.keys() == {"drive_diameter"}

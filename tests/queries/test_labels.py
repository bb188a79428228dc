"""What stands on labels, whose labels are meant, and what the labels page knows."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from tests.paper.reading import codes as some_codes
from tests.world import MM, World
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import Kit, LabelEvent, Owner
from tooling.queries.label_choices import (
    Choice,
    chosen_codes,
    codes_of_mill,
    codes_of_place,
    codes_of_set,
    codes_printed_at,
    never_printed,
)
from tooling.queries.label_sites import site_facts
from tooling.queries.labels import label_lines, read_codes
from tooling.queries.labels_page import labels_page
from tooling.services import labels

pytestmark = pytest.mark.django_db


@pytest.fixture
def rack(world: World):
    return world.place("Rack A")


@given(
    st.lists(st.sampled_from(some_codes(12)), unique=True, min_size=1),
    st.sampled_from([" ", ", ", "\n", "\r\n", ";", "\t"]),
    st.booleans(),
)
def test_codes_are_read_whatever_stands_between_them(codes, between, grouped) -> None:
    typed = [f"{code[:4]} {code[4:]}".lower() if grouped else code for code in codes]
    assert read_codes(between.join(typed)) == codes


def test_a_code_typed_twice_is_printed_once() -> None:
    one, other = some_codes(2)
    assert read_codes(f"{one} {other} {one}") == [one, other]
    assert read_codes(" \n ") == []


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        ("{good}\nR0000010", "bad_check_character", "R0000010"),
        ("{good} rubbish", "not_a_code", "rubbish"),
        ("{good} R000001", "not_a_code", "R000001"),
    ],
)
def test_the_one_that_is_wrong_is_named(text, code, said) -> None:
    with pytest.raises(ToolingError) as refused:
        read_codes(text.format(good=some_codes(1)[0]))
    assert refused.value.code == code
    assert said in refused.value.message


def test_too_many_are_refused_with_the_most_that_go() -> None:
    with pytest.raises(ToolingError) as refused:
        label_lines(some_codes(1) * 5001)
    assert refused.value.code == "too_many_labels"
    assert "5000" in refused.value.message


def one_of_each(world: World, rack) -> dict[str, str]:
    drawing = world.drawing("1472-01-T1")
    piece = world.piece(drawing, rack, mark="W24", copy_letter="B")
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 3, condition="new")
    tool_set = world.tool_set("1472", {(1, "top", 1): drawing})
    mill = world.mill("M1", stations=1)
    kit = Kit.objects.create(number=world.code("K"), job=world.job(tool_set, mill))
    return {
        "piece": piece.code, "stock": line.code, "place": rack.code, "set": tool_set.code,
        "kit": kit.number, "station": mill.stations.get().code,
    }  # fmt: skip


def test_a_label_says_what_the_thing_is(world, rack) -> None:
    codes = one_of_each(world, rack)
    lines = {line.code: line for line in label_lines(list(codes.values()))}
    said = {name: (lines[code].kind_word, lines[code].headline) for name, code in codes.items()}
    assert said == {
        "piece": ("roll", "W24 B"), "stock": ("stock bin", "SP"), "place": ("rack", "Rack A"),
        "set": ("tool set", "1472"), "kit": ("kit", "J1"), "station": ("mill station", "M1, 1"),
    }  # fmt: skip


def test_a_customer_s_piece_names_its_owner(world, rack) -> None:
    owner = Owner.objects.create(code="C1", name="A customer")
    piece = world.piece(world.drawing("D1"), rack, owner=owner)
    (line,) = label_lines([piece.code])
    assert (line.headline, line.lines) == ("D1", ("property of A customer", "drawing D1 A"))


def test_labels_come_in_the_order_asked(world, rack) -> None:
    drawing = world.drawing("D1")
    codes = [world.piece(drawing, rack).code for _n in range(5)]
    wanted = [codes[3], rack.code, codes[0], codes[4]]
    assert [line.code for line in label_lines(wanted)] == wanted


def test_the_number_of_queries_does_not_grow_with_the_labels(world, rack) -> None:
    drawing = world.drawing("D1")
    codes = [world.piece(drawing, rack).code for _n in range(250)]
    counts = []
    for some in (codes[:1], codes):
        with CaptureQueriesContext(
            connection,
        ) as asked:
            label_lines(some)
        counts.append(len(asked))
    assert counts == [2, 2]  # void labels, pieces


def test_a_set_gives_its_own_label_and_its_pieces_in_pass_order(world, rack) -> None:
    drawing = world.drawing("D1")
    late, early, other = (world.piece(drawing, rack) for _n in range(3))
    tool_set = world.tool_set("1472", {(2, "top", 1): drawing, (1, "top", 1): drawing})
    world.copy(tool_set, "A", {(2, "top", 1): late, (1, "top", 1): early})
    world.copy(tool_set, "B", {(1, "top", 1): other})
    assert codes_of_set("1472", "a") == [tool_set.code, early.code, late.code]
    assert codes_of_set("1472") == [tool_set.code, early.code, late.code, other.code]
    with pytest.raises(Unknown) as refused:
        codes_of_set("1472", "C")
    assert refused.value.code == "unknown_copy"


def test_a_cart_gives_its_own_label_and_its_pegs_in_walking_order(world, rack) -> None:
    cart = world.place("Cart 7", kind="cart", parent=rack, walking_order=1)
    second = world.place("Peg 2", kind="peg", parent=cart, walking_order=3)
    first = world.place("Peg 1", kind="peg", parent=cart, walking_order=2)
    world.place("Rack B")
    assert codes_of_place("cart 7") == [cart.code, first.code, second.code]
    assert codes_of_place(cart.code.lower()) == codes_of_place("Rack A / Cart 7")


def test_a_place_gives_the_pieces_and_bins_deep_in_it(world, rack) -> None:
    shelf = world.place("Shelf 1", kind="shelf", parent=rack)
    piece = world.piece(world.drawing("D1"), shelf)
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 3)
    world.piece(world.drawing("D2"), world.place("Rack B"))
    assert codes_of_place(rack.code, inside="things") == [piece.code, line.code]
    assert codes_of_place(rack.code, inside="all") == [
        rack.code, shelf.code, piece.code, line.code,
    ]  # fmt: skip


def test_a_place_s_name_must_be_one_place_s(world) -> None:
    for name in ("Rack A", "Rack B"):
        world.place("Shelf 1", kind="shelf", parent=world.place(name))
    with pytest.raises(Conflict) as refused:
        codes_of_place("shelf 1")
    assert refused.value.code == "ambiguous_place"
    assert "Rack B / Shelf 1" in refused.value.message
    with pytest.raises(Unknown):
        codes_of_place("Shelf 9")


def test_a_mill_gives_its_stations_by_their_own_labels_once(world) -> None:
    mill = world.mill("M1", stations=3)
    stations = [station.code for station in mill.stations.order_by("number")]
    assert codes_of_mill("m1") == stations
    assert codes_of_place(mill.place.code) == [mill.place.code, *stations]


def test_what_was_printed_or_made_void_is_no_longer_never_printed(
    world, rack, attendant, at
) -> None:
    drawing = world.drawing("D1")
    printed, void, new, waiting = (world.piece(drawing, rack) for _n in range(4))
    labels.issue(by=attendant, at=at, codes=[printed.code], size="a4-24")
    labels.void(by=attendant, at=at, code=void.code, reason="lost")
    given = labels.reissue(by=attendant, at=at, code=new.code, reason="lost")
    assert never_printed("pieces") == sorted([waiting.code, given])
    labels.issue(by=attendant, at=at, codes=[given], size="a4-24")
    assert never_printed("pieces") == [waiting.code]


def test_stations_scrap_and_places_given_up_want_no_place_label(world, rack) -> None:
    world.mill("M1", stations=1)
    scrap = world.place("Scrap", kind="scrap")
    world.place("Old rack", is_active=False)
    world.piece(world.drawing("D1"), scrap)
    assert len(never_printed("places")) == 2  # the rack and the mill's own place
    assert never_printed("pieces") == []
    assert len(never_printed("stations")) == 1


def test_an_earlier_print_is_found_whole_with_newer_labels_in_the_place_of_void_ones(
    world, rack, attendant, at
) -> None:
    drawing = world.drawing("D1")
    kept, lost, gone, other = (world.piece(drawing, rack).code for _n in range(4))
    labels.issue(by=attendant, at=at, codes=[kept, lost, gone], size="a4-24")
    labels.issue(by=attendant, at=at + timedelta(minutes=1), codes=[other], size="a4-24")
    run = str(LabelEvent.objects.get(code=kept).pk)
    new = labels.reissue(by=attendant, at=at, code=lost, reason="lost")
    labels.void(by=attendant, at=at, code=gone, reason="lost")
    assert codes_printed_at(run) == [kept, new]
    with pytest.raises(Unknown):
        codes_printed_at("9" * 12)


@pytest.mark.parametrize(
    ("choice", "code"),
    [
        (Choice(), "no_labels"),
        (Choice(what="never", never="pieces"), "no_labels"),
        (Choice(what="never", never="dragons"), "unknown_kind"),
        (Choice(what="set", set="none"), "unknown_set"),
        (Choice(what="mill", mill="none"), "unknown_mill"),
        (Choice(what="place", place="Rack A", inside="things"), "no_labels"),
        (Choice(what="again", run="x"), "unknown_print"),
    ],
)
def test_a_choice_of_nothing_says_what_to_do(choice, code, rack) -> None:
    with pytest.raises(ToolingError) as refused:
        chosen_codes(choice)
    assert refused.value.code == code
    assert refused.value.message.endswith(".")


def test_the_page_counts_and_tells_prints_as_one_line_each(world, rack, attendant, at) -> None:
    drawing = world.drawing("D1")
    codes = [world.piece(drawing, rack).code for _n in range(4)]
    labels.issue(by=attendant, at=at, codes=codes[:3], size="a4-24")
    labels.void(by=attendant, at=at, code=codes[0], reason="lost")
    page = labels_page()
    counts = {each.kind: each.count for each in page.unprinted}
    assert (counts["pieces"], counts["places"], page.never_printed) == (1, 1, 2)
    assert [(each.what, each.count, each.by) for each in page.news] == [
        ("void", 1, "Attendant"), ("print", 3, "Attendant"),
    ]  # fmt: skip
    assert [line.code for line in page.void] == [codes[0]]


def test_a_void_label_with_another_in_its_place_asks_for_nothing(
    world, rack, attendant, at
) -> None:
    piece = world.piece(world.drawing("D1"), rack)
    labels.reissue(by=attendant, at=at, code=piece.code, reason="lost")
    assert labels_page().void == ()


def test_the_page_asks_no_more_for_hundreds_than_for_none(world, rack, attendant, at) -> None:
    with CaptureQueriesContext(connection) as empty:
        labels_page()
    drawing = world.drawing("D1")
    codes = [world.piece(drawing, rack).code for _n in range(250)]
    labels.issue(by=attendant, at=at, codes=codes[:200], size="a4-24")
    with CaptureQueriesContext(connection) as full:
        labels_page()
    assert len(empty) == len(full) == 10  # six kinds, sets, mills, events, void labels


SIZES = {"bore_nm": 60 * MM, "outside_diameter_nm": 160 * MM, "face_width_nm": 50 * MM,
         "root_diameter_nm": 140 * MM}  # fmt: skip


def test_a_seat_is_guessed_from_the_bore_until_a_spacer_or_neighbour_is_known(world, rack) -> None:
    roll = world.drawing("R1", **SIZES)
    piece = world.piece(roll, rack)
    assert (site_facts(piece.code).seat_nm, site_facts(piece.code).seat_from) == (90 * MM, "guess")
    world.drawing("SP", kind="spacer", bore_nm=60 * MM, outside_diameter_nm=85 * MM)
    world.drawing("SP2", kind="spacer", bore_nm=50 * MM, outside_diameter_nm=120 * MM)
    assert (site_facts(piece.code).seat_nm, site_facts(piece.code).seat_from) == (85 * MM, "spacer")
    beside = world.drawing("R2", **{**SIZES, "outside_diameter_nm": 130 * MM})
    tool_set = world.tool_set("1472", {(1, "top", 1): roll, (1, "top", 2): beside})
    world.copy(tool_set, "A", {(1, "top", 1): piece})
    facts = site_facts(piece.code.lower())
    assert (facts.seat_nm, facts.seat_from) == (130 * MM, "neighbour")


def test_a_measured_size_goes_before_the_drawn_one(world, rack) -> None:
    piece = world.piece(world.drawing("R1", **SIZES), rack, now_outside_diameter_nm=158 * MM)
    facts = site_facts(piece.code)
    assert (facts.outside_nm, facts.root_nm) == (158 * MM, 140 * MM)

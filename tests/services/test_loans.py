"""Handing out: to whom, until when, all of it back with one undo."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

import pytest

from tests.services.scanning import put
from tooling.errors import NotAllowed, ToolingError
from tooling.models import DueBack, Kit, Movement, Piece, StockLine
from tooling.queries.hand_outs import out_lines, slip_of_act, slip_of_place
from tooling.queries.loans import loan_page, loans, need_a_word
from tooling.services import loans as services
from tooling.services import settings
from tooling.services.corrections import undo
from tooling.services.loans import Thing
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def grinder(world):
    return world.place("Grinder West", kind="grinder")


@pytest.fixture
def pat(world, crew):
    return world.place("Pat", kind="person", person=crew)


@pytest.fixture
def rolls(world, rack):
    drawing = world.drawing("D1")
    return [world.piece(drawing, rack, mark=f"{n}-T") for n in range(1, 4)]


def dues(at) -> dict[str, date | None]:
    return {loan.code: loan.due_on for loan in loans(at=at)}


def refused(call, **said) -> str:
    with pytest.raises(ToolingError) as raised:
        call(**said)
    return raised.value.code


# ---- the date


@pytest.mark.parametrize(
    ("kind", "days"), [("person", 1), ("grinder", 14), ("sister", 30), ("customer", None)]
)
def test_a_scan_to_a_place_away_is_due_back_as_usual(world, rolls, attendant, at, kind, days):
    away = world.place("Away", kind=kind)
    put(attendant, at, rolls[0].code, away.code)
    due = at.date() + timedelta(days=days) if days else None
    assert dues(at) == {rolls[0].code: due}


def test_the_usual_days_are_a_setting(rolls, grinder, attendant, supervisor, at) -> None:
    settings.set_setting(by=supervisor, at=at, name="due_back_grinder", value=5)
    put(attendant, at, rolls[0].code, grinder.code)
    assert dues(at) == {rolls[0].code: date(2026, 11, 30)}


def test_a_scan_may_say_its_own_day(rolls, pat, attendant, at) -> None:
    put(attendant, at, rolls[0].code, pat.code, due_on=date(2026, 12, 24))
    assert dues(at) == {rolls[0].code: date(2026, 12, 24)}


def test_a_day_that_is_over_is_refused_and_nothing_moves(rolls, pat, attendant, at) -> None:
    result = put(attendant, at, rolls[0].code, pat.code, due_on=date(2026, 11, 24))
    assert result.code == "due_in_the_past"
    assert loans(at=at) == []


def test_what_stays_in_the_shop_has_no_day(rolls, world, attendant, at) -> None:
    put(attendant, at, rolls[0].code, world.place("Rack B").code)
    assert not DueBack.objects.exists()


def test_what_comes_back_is_simply_scanned_in(rolls, rack, grinder, attendant, at) -> None:
    put(attendant, at, rolls[0].code, grinder.code)
    put(attendant, at, rolls[0].code, rack.code)
    assert loans(at=at) == []


def test_a_scan_where_it_is_already_keeps_the_day(rolls, grinder, attendant, at) -> None:
    put(attendant, at, rolls[0].code, grinder.code, due_on=date(2027, 1, 4))
    put(attendant, at + timedelta(days=1), rolls[0].code, grinder.code)
    assert dues(at) == {rolls[0].code: date(2027, 1, 4)}


def test_a_return_that_was_a_slip_brings_the_day_back(rolls, rack, grinder, attendant, at) -> None:
    put(attendant, at, rolls[0].code, grinder.code, due_on=date(2027, 1, 4))
    back = put(attendant, at + timedelta(hours=1), rolls[0].code, rack.code)
    undo(by=attendant, at=at + timedelta(hours=2), movement=Movement.objects.get(uuid=back.id))
    assert dues(at) == {rolls[0].code: date(2027, 1, 4)}
    assert differences() == []


# ---- carts and counts


def test_what_is_on_a_cart_is_out_with_the_cart(world, rolls, grinder, attendant, at) -> None:
    cart = world.place("Cart 1", kind="cart")
    put(attendant, at, rolls[0].code, cart.code)
    put(attendant, at + timedelta(hours=1), cart.code, grinder.code, due_on=date(2026, 12, 3))
    found = loans(at=at)
    assert [(loan.kind, loan.code, loan.on_cart) for loan in found] == [
        ("cart", cart.code, ""),
        ("piece", rolls[0].code, "Cart 1"),
    ]
    assert {loan.due_on for loan in found} == {date(2026, 12, 3)}
    assert len({loan.id for loan in found}) == 1


def test_of_a_count_what_left_last_is_still_out(world, rack, pat, attendant, at) -> None:
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 20)
    put(attendant, at, line.code, pat.code, quantity=4, due_on=date(2026, 12, 1))
    put(attendant, at + timedelta(hours=1), line.code, pat.code, quantity=3,
        due_on=date(2026, 12, 2))  # fmt: skip
    out = StockLine.objects.get(place=pat)
    put(attendant, at + timedelta(hours=2), out.code, rack.code, quantity=5)
    assert [(loan.quantity, loan.due_on) for loan in loans(at=at)] == [(2, date(2026, 12, 2))]


def test_a_cart_with_an_open_kit_does_not_leave_the_building(
    world, rolls, grinder, pat, attendant, at
) -> None:
    cart = world.place("Cart 1", kind="cart")
    tool_set = world.tool_set("S1", {(1, "top", 1): rolls[0].drawing})
    job = world.job(tool_set, world.mill(stations=1))
    Kit.objects.create(number=world.code("K"), job=job, place=cart)
    assert put(attendant, at, cart.code, grinder.code).code == "kit_on_cart"
    result = put(attendant, at, cart.code, pat.code)
    assert "is gathered on it." in result.message


# ---- as one act


def test_a_hand_out_is_one_act_and_one_undo(world, rolls, rack, grinder, attendant, at) -> None:
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 9)
    plate = world.place("Plate 1", kind="plate", parent=rack)
    things = [Thing(rolls[0].code), Thing("2-t"), Thing(line.code, 4), Thing(plate.code)]
    act = services.hand_out(
        by=attendant, at=at, to=grinder, things=things, due_on=date(2026, 12, 3), reason="recut"
    )
    slip = slip_of_act(act, at=at)
    assert {loan.code for loan in slip.loans} >= {rolls[0].code, rolls[1].code, plate.code}
    assert (slip.count, slip.due_on, slip.reason, slip.leaves) == (
        6, date(2026, 12, 3), "recut", True,
    )  # fmt: skip
    services.take_back(by=attendant, at=at + timedelta(minutes=1), act=act)
    assert loans(at=at) == []
    assert StockLine.objects.get(pk=line.pk).count == 9
    assert set(Piece.objects.values_list("place__name", flat=True)) == {"Rack A"}
    assert differences() == []


def test_sent_twice_it_counts_once(rolls, grinder, attendant, at) -> None:
    said = {"to": grinder, "things": [Thing(rolls[0].code)], "act": uuid.uuid4()}
    first = services.hand_out(by=attendant, at=at, **said)
    assert services.hand_out(by=attendant, at=at, **said) == first
    assert Movement.objects.filter(scan=first).count() == 1


def test_a_whole_copy_goes_without_what_is_held(world, rolls, grinder, attendant, at) -> None:
    spots = {(1, "top", n): rolls[0].drawing for n in (1, 2, 3)}
    tool_set = world.tool_set("S1", spots)
    world.copy(tool_set, "A", dict(zip(spots, rolls, strict=True)))
    Piece.objects.filter(pk=rolls[2].pk).update(condition="hold")
    services.hand_out(by=attendant, at=at, to=grinder, things=[Thing(tool_set.code)])
    assert set(dues(at)) == {rolls[0].code, rolls[1].code}


@pytest.mark.parametrize(
    ("case", "code"),
    [
        ("nothing", "nothing_to_hand_out"),
        ("in the shop", "not_away"),
        ("unknown", "unknown_code"),
        ("too many", "stock_short"),
        ("already there", "already_there"),
        ("past", "due_in_the_past"),
        ("far", "improbable_value"),
        ("long", "long_text"),
        ("owner", "owner_approval_missing"),
    ],
)
def test_what_cannot_be_handed_out_moves_nothing(
    world, rolls, rack, grinder, attendant, at, case, code
) -> None:
    said = {"to": grinder, "things": [Thing(rolls[0].code)]}
    if case == "nothing":
        said["things"] = []
    elif case == "in the shop":
        said["to"] = world.place("Rack B")
    elif case == "unknown":
        said["things"] += [Thing("NO SUCH")]
    elif case == "too many":
        line = world.stock(world.drawing("SP", kind="spacer"), rack, 2)
        said["things"] += [Thing(line.code, 3)]
    elif case == "already there":
        said["things"] += [Thing(world.piece(rolls[0].drawing, grinder).code)]
    elif case == "past":
        said["due_on"] = date(2026, 11, 24)
    elif case == "far":
        said["due_on"] = date(2126, 1, 1)
    elif case == "long":
        said["reason"] = "x" * 201
    else:
        said["to"] = world.place("Sister", kind="sister")
        other = type(world.shop).objects.create(code="C1", name="Customer")
        Piece.objects.filter(pk=rolls[0].pk).update(owner=other)
    assert refused(services.hand_out, by=attendant, at=at, **said) == code
    assert not Movement.objects.filter(by=attendant).exists()


def test_a_viewer_hands_nothing_out(rolls, grinder, viewer, at) -> None:
    with pytest.raises(NotAllowed):
        services.hand_out(by=viewer, at=at, to=grinder, things=[Thing(rolls[0].code)])


# ---- another day


def test_another_day_with_its_reason_stands_until_the_next(rolls, grinder, attendant, at) -> None:
    put(attendant, at, rolls[0].code, grinder.code)
    [loan] = loans(at=at)
    services.set_due(
        by=attendant, at=at + timedelta(days=1), ids=[loan.id], due_on=date(2027, 1, 8),
        reason="stone ordered",
    )  # fmt: skip
    [later] = loans(at=at)
    assert (later.due_on, later.reason) == (date(2027, 1, 8), "stone ordered")
    services.set_due(by=attendant, at=at + timedelta(days=2), ids=[loan.id], due_on=None)
    assert dues(at) == {rolls[0].code: None}
    services.take_back_due(by=attendant, at=at + timedelta(days=3), ids=[loan.id])
    assert dues(at) == {rolls[0].code: date(2027, 1, 8)}


@pytest.mark.parametrize(
    ("ids", "day", "code"),
    [
        ("none", date(2026, 12, 1), "nothing_chosen"),
        ("back", date(2026, 12, 1), "not_out"),
        ("out", date(2026, 1, 1), "due_in_the_past"),
    ],
)
def test_a_day_that_cannot_be_is_refused(rolls, rack, grinder, attendant, at, ids, day, code):
    put(attendant, at, rolls[0].code, grinder.code)
    [loan] = loans(at=at)
    if ids == "back":
        put(attendant, at, rolls[0].code, rack.code)
    chosen = [] if ids == "none" else [loan.id]
    assert refused(services.set_due, by=attendant, at=at, ids=chosen, due_on=day) == code


# ---- what is out


def test_overdue_is_plain_and_comes_first(rolls, grinder, pat, attendant, at) -> None:
    put(attendant, at, rolls[0].code, grinder.code)
    put(attendant, at, rolls[1].code, pat.code)
    later = at + timedelta(days=4)
    page = loan_page(at=later)
    assert [holder.name for holder in page.holders] == ["Pat", "Grinder West"]
    assert (page.count, page.overdue, page.without_date) == (2, 1, 0)
    assert [loan.days_over for loan in need_a_word(loans(at=later))] == [3]
    assert loan_page(at=later, which="overdue").shown == 1
    assert loan_page(at=later, place=grinder.code).count == 1


def test_without_a_day_it_is_out_too_long_after_the_setting(world, rolls, attendant, at) -> None:
    customer = world.place("Customer", kind="customer")
    put(attendant, at, rolls[0].code, customer.code)
    assert need_a_word(loans(at=at + timedelta(days=13))) == []
    assert len(need_a_word(loans(at=at + timedelta(days=15)))) == 1


def test_it_says_which_kit_wants_it_before_it_is_back(world, rolls, grinder, attendant, at):
    tool_set = world.tool_set("S1", {(1, "top", 1): rolls[0].drawing})
    job = world.job(tool_set, world.mill(stations=1), in_hours=72)
    kit = Kit.objects.create(number=world.code("K"), job=job)
    kit.positions.create(
        set_position=tool_set.passes.get().positions.get(), station_number=1, pass_number=1,
        shaft="top", order=1, drawing=rolls[0].drawing, piece=rolls[0],
    )  # fmt: skip
    assert [line.wanted.kit for line in out_lines([(rolls[0].code, None)]) if line.wanted] == [
        kit.number
    ]
    put(attendant, at, rolls[0].code, grinder.code)
    [loan] = loans(at=at)
    assert loan.wanted is not None
    assert (loan.wanted.kit, loan.is_late_for_kit) == (kit.number, True)


@pytest.mark.parametrize("count", [0, 1, 250])
def test_the_questions_do_not_grow_with_what_is_out(
    world, rack, grinder, attendant, at, count, django_assert_max_num_queries
) -> None:
    drawing = world.drawing("D9")
    pieces = [world.piece(drawing, rack) for _n in range(count)]
    if pieces:
        things = [Thing(piece.code) for piece in pieces]
        services.hand_out(by=attendant, at=at, to=grinder, things=things)
    with django_assert_max_num_queries(12):
        slip = slip_of_place(grinder.code, at=at)
    assert slip.count == count

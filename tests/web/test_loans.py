"""The pages of what is out: the list, handing out with one tap, the slip, another day."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from tests.paper.reading import page_texts
from tests.services.scanning import put
from tooling.models import Movement, Owner, Piece, StockLine
from tooling.queries.loans import loans
from tooling.services.movements import move_pieces

pytestmark = pytest.mark.django_db


@pytest.fixture
def at():
    """Pages go by the real clock."""
    return timezone.now()


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def grinder(world):
    return world.place("Grinder West", kind="grinder")


@pytest.fixture
def rolls(world, rack):
    drawing = world.drawing("D1")
    return [world.piece(drawing, rack, mark=f"{n}-T") for n in (1, 2, 3)]


@pytest.fixture
def page(log_in, attendant):
    return log_in(attendant)


def words(answer) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def problem_of(answer) -> str:
    found = re.search(r'class="problem[^"]*" data-code="(\w+)"', answer.content.decode())
    return found.group(1) if found else ""


def send(page, to, codes, **fields):
    form = {"to": to.code, "thing": codes, "due_on": "", **fields}
    return page.post("/pieces/out/hand/send/", form, follow=True)


def test_an_empty_house_is_said_so_and_teaches(page) -> None:
    said = words(page.get("/pieces/out/"))
    assert "Nothing is out." in said
    assert "Everything is in the house" in said


def test_where_to_is_scanned_or_chosen(page, world, rack, grinder) -> None:
    said = words(page.get("/pieces/out/hand/", {"code": "1-T"}))
    assert f'href="/pieces/out/hand/?to={grinder.code}&amp;code=1-T"' in said
    assert "They leave now" in words(page.get("/pieces/out/hand/", {"to": "grinder west"}))
    assert problem_of(page.get("/pieces/out/hand/", {"to": rack.code})) == "not_away"
    assert problem_of(page.get("/pieces/out/hand/", {"to": "nowhere"})) == "unknown_code"


def test_nothing_is_written_before_the_one_tap(page, grinder, rolls) -> None:
    form = {"to": grinder.code, "thing": [rolls[0].code], "code": "2-t", "due_on": "2030-01-01"}
    said = words(page.post("/pieces/out/hand/add/", form))
    assert "2 on the list" in said
    assert 'value="2030-01-01"' in said
    assert not Movement.objects.filter(by__isnull=False).exists()
    less = page.post("/pieces/out/hand/add/", {**form, "code": "", "drop": rolls[0].code})
    assert f'name="thing" value="{rolls[0].code}"' not in words(less)


def test_what_cannot_be_read_is_told_and_the_list_stays(page, grinder, rolls) -> None:
    form = {"to": grinder.code, "thing": [rolls[0].code], "code": "NO SUCH"}
    answer = page.post("/pieces/out/hand/add/", form, headers={"X-Part": "list"})
    assert (answer.status_code, problem_of(answer)) == (200, "unknown_code")
    assert f'name="thing" value="{rolls[0].code}"' in words(answer)


def test_a_set_puts_its_pieces_on_the_list(page, world, grinder, rolls) -> None:
    spots = {(1, "top", n): rolls[0].drawing for n in (1, 2, 3)}
    tool_set = world.tool_set("S1", spots)
    world.copy(tool_set, "A", dict(zip(spots, rolls, strict=True)))
    answer = page.post("/pieces/out/hand/add/", {"to": grinder.code, "code": tool_set.code})
    assert "3 on the list" in words(answer)


def test_an_owner_who_has_not_agreed_is_told_before_it_goes(page, world, rolls) -> None:
    sister = world.place("Plant North", kind="sister")
    owner = Owner.objects.create(code="C1", name="Customer One")
    Piece.objects.filter(pk=rolls[0].pk).update(owner=owner)
    form = {"to": sister.code, "code": rolls[0].code}
    assert problem_of(page.post("/pieces/out/hand/add/", form)) == "owner_approval_missing"
    refused = send(page, sister, [rolls[0].code, rolls[1].code])
    assert (refused.status_code, problem_of(refused)) == (409, "owner_approval_missing")
    assert f'value="{rolls[1].code}"' in words(refused)
    assert not Movement.objects.filter(by__isnull=False).exists()


def test_they_leave_with_one_tap_and_come_back_with_one(page, world, rack, grinder, rolls) -> None:
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 9)
    codes = [rolls[0].code, rolls[1].code, line.code]
    act = str(uuid.uuid4())
    extra = {f"quantity-{line.code}": "4", "act": act, "reason": "recut", "due_on": "2030-01-01"}
    for _time in range(2):
        said = words(send(page, grinder, codes, **extra))
    assert "6 pieces went to Grinder West, due back Tue 1 Jan 2030." in said
    assert f'href="/pieces/out/slip.pdf?act={act}"' in said
    assert StockLine.objects.get(pk=line.pk).count == 5
    assert "are back where they were" in words(
        page.post("/pieces/out/undo/", {"act": act}, follow=True)
    )
    assert loans(at=timezone.now()) == []
    again = page.post("/pieces/out/undo/", {"act": act})
    assert problem_of(again) == "already_corrected"


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"due_on": "1 January"}, "not_a_day"),
        ({"due_on": "2020-01-01"}, "due_in_the_past"),
        ({"thing": []}, "nothing_to_hand_out"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_stays(page, grinder, rolls, fields, code) -> None:
    answer = send(page, grinder, [rolls[0].code], reason="kept words", **fields)
    assert problem_of(answer) == code
    assert 'value="kept words"' in words(answer)
    assert not Movement.objects.filter(by__isnull=False).exists()


def test_the_list_groups_by_who_has_it_and_says_overdue_plainly(
    page, world, grinder, rolls, attendant, at
) -> None:
    pat = world.place("Pat", kind="person")
    late = at.date() - timedelta(days=3)
    move_pieces(by=attendant, at=at, pieces=rolls[:1], to=pat, due_on=late)
    move_pieces(by=attendant, at=at, pieces=rolls[1:], to=grinder)
    said = words(page.get("/pieces/out/"))
    assert "3 things are out, 1 overdue." in said
    assert "3 days overdue" in said
    assert said.index("Pat <span") < said.index("Grinder West <span")
    only = words(page.get("/pieces/out/", {"which": "overdue"}))
    assert rolls[0].code in only
    assert rolls[1].code not in only


def test_another_day_is_written_for_what_is_ticked_and_taken_back(
    page, grinder, rolls, attendant, at
) -> None:
    move_pieces(by=attendant, at=at, pieces=rolls[:2], to=grinder)
    ids = [str(loan.id) for loan in loans(at=at)]
    before = {loan.due_on for loan in loans(at=at)}
    form = {"loan": ids, "due_on": "2030-01-01", "reason": "stone ordered"}
    said = words(page.post("/pieces/out/due/", form, follow=True))
    assert said.count("due back Tue 1 Jan 2030") == 2
    assert "stone ordered" in said
    page.post("/pieces/out/due/undo/", {"loan": ids})
    assert {loan.due_on for loan in loans(at=at)} == before


@pytest.mark.parametrize(
    ("form", "code"),
    [
        ({"due_on": "2030-01-01"}, "nothing_chosen"),
        ({"loan": "x", "due_on": "2030-01-01"}, "nothing_chosen"),
        ({"loan": str(uuid.uuid4()), "due_on": "2030-01-01"}, "not_out"),
        ({"holder": "all", "due_on": "2020-01-01"}, "due_in_the_past"),
        ({"holder": "all", "due_on": "never"}, "invalid"),
    ],
)
def test_a_day_that_cannot_be_is_said_in_place(
    page, grinder, rolls, attendant, at, form, code
) -> None:
    move_pieces(by=attendant, at=at, pieces=rolls[:1], to=grinder)
    said = {**form, "holder": grinder.code} if "holder" in form else form
    answer = page.post("/pieces/out/due/", said)
    assert (answer.status_code, problem_of(answer)) == (400, code)


@pytest.mark.parametrize("count", [0, 1, 250])
def test_the_slip_names_every_thing_with_lines_to_sign(
    page, world, rack, grinder, attendant, at, count
) -> None:
    drawing = world.drawing("D9")
    pieces = [world.piece(drawing, rack, mark=f"M{n}") for n in range(count)]
    move_pieces(by=attendant, at=at, pieces=pieces, to=grinder)
    answer = page.get("/pieces/out/slip.pdf", {"place": grinder.code})
    assert answer.headers["Content-Type"] == "application/pdf"
    said = " ".join(page_texts(answer.content))
    assert "Sent to Grinder West" in said
    assert all(piece.code in said for piece in pieces)
    assert ("Received by" in said) == bool(count)
    assert ("Nothing is out here." in said) == (not count)


def test_a_slip_of_nothing_known_is_not_there(page) -> None:
    assert page.get("/pieces/out/slip.pdf", {"place": "P0000000"}).status_code == 404
    assert page.get("/pieces/out/slip.pdf", {"act": uuid.uuid4()}).status_code == 404


def test_the_sheet_has_a_line_for_each(page, grinder, rolls, attendant, at) -> None:
    Piece.objects.filter(pk=rolls[0].pk).update(mark="=1+1")
    move_pieces(by=attendant, at=at, pieces=rolls[:2], to=grinder, due_on=at.date())
    lines = page.get("/pieces/out/out.csv").content.decode("utf-8-sig").splitlines()
    assert lines[0].startswith("Kind,Code,Mark")
    assert len(lines) == 3
    assert "'=1+1" in lines[1]
    assert at.date().isoformat() in lines[1]


def test_a_piece_says_until_when_it_is_out(page, grinder, rolls, attendant, at) -> None:
    said = words(page.get(f"/pieces/{rolls[0].code}/"))
    assert f'href="/pieces/out/hand/?code={rolls[0].code}"' in said
    late = at.date() - timedelta(days=1)
    move_pieces(by=attendant, at=at, pieces=rolls[:1], to=grinder, due_on=late)
    assert "1 day overdue" in words(page.get(f"/pieces/{rolls[0].code}/"))


# ---- on the Scan page


def test_what_leaves_the_building_goes_by_its_own_page(page, grinder) -> None:
    answer = page.post("/scan/enter/", {"code": grinder.code})
    assert answer.url == f"/pieces/out/hand/?to={grinder.code}"
    told = page.get("/scan/read/", {"code": grinder.code}).json()
    assert told["go"] == answer.url


def test_a_person_is_handed_to_at_once_until_the_day_shown(page, world, rolls) -> None:
    pat = world.place("Pat", kind="person")
    said = words(page.post("/scan/enter/", {"code": pat.code}, follow=True))
    tomorrow = timezone.localdate() + timedelta(days=1)
    assert f'name="due_on" form="scan-form" value="{tomorrow}"' in said
    form = {"code": rolls[0].code, "to": pat.code, "due_on": "2030-01-01"}
    kept = words(page.post("/scan/enter/", form, follow=True))
    assert 'value="2030-01-01"' in kept
    assert [str(loan.due_on) for loan in loans(at=timezone.now())] == ["2030-01-01"]


def test_of_a_bin_it_asks_how_many(page, world, rack) -> None:
    pat = world.place("Pat", kind="person")
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 9)
    form = {"code": line.code, "to": pat.code, "due_on": ""}
    assert 'name="quantity"' in words(page.post("/scan/enter/", form))
    wrong = page.post("/scan/enter/", {**form, "quantity": "some"})
    assert problem_of(wrong) == "absurd_quantity"
    page.post("/scan/enter/", {**form, "quantity": "3"})
    assert StockLine.objects.get(pk=line.pk).count == 6


def test_a_refused_piece_can_be_shown(page, world, rack, rolls, attendant, at) -> None:
    shut = world.place("Old rack", is_active=False)
    answer = page.post("/scan/enter/", {"code": rolls[0].code, "to": shut.code})
    assert problem_of(answer) == "place_not_used"
    assert f'<a class="button" href="/pieces/{rolls[0].code}/">Show it</a>' in words(answer)


def test_where_a_thing_belongs_is_one_scan_and_one_tap(
    page, world, rack, rolls, attendant, at
) -> None:
    cart = world.place("Cart 1", kind="cart")
    put(attendant, at, rolls[0].code, cart.code)
    said = words(page.post("/scan/enter/", {"code": rolls[0].code}))
    assert "Belongs in" in said
    assert "<strong data-card-place>Rack A</strong>" in said
    form = {"code": rolls[0].code, "to": rack.code, "there": "1"}
    after = words(page.post("/scan/tick/", form, follow=True))
    assert "Where?" in after
    rolls[0].refresh_from_db()
    assert rolls[0].place == rack

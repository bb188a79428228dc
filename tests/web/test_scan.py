"""The Scan page as plain forms, and what its script asks."""

from __future__ import annotations

import re
import uuid

import pytest
from django.utils import timezone

from tests.services.scanning import put
from tooling.models import Kit, KitPosition, Movement, Piece, RefusedScan
from tooling.services import labels

pytestmark = pytest.mark.django_db


@pytest.fixture
def rack(world):
    return world.place("Rack A")


@pytest.fixture
def other(world):
    return world.place("Rack B")


@pytest.fixture
def piece(world, rack):
    return world.piece(world.drawing("D1"), rack, mark="12-T")


@pytest.fixture
def page(log_in, attendant):
    return log_in(attendant)


def enter(page, code, to="", **fields):
    return page.post("/scan/enter/", {"code": code, "to": to, **fields}, follow=True)


def problem_of(answer) -> str:
    found = re.search(r'class="problem[^"]*" data-code="(\w+)"', answer.content.decode())
    return found.group(1) if found else ""


def test_the_page_asks_where_first_and_has_one_field(page) -> None:
    words = page.get("/scan/").content.decode()
    assert "First scan where" in words
    assert words.count('id="scan-field"') == 1


def test_a_viewer_has_no_scan_page(log_in, viewer) -> None:
    assert log_in(viewer).get("/scan/").status_code == 403


def test_without_a_login_the_page_asks_for_one(client) -> None:
    assert client.get("/scan/").status_code == 302


def test_two_beats_move_a_piece(page, piece, other) -> None:
    where = enter(page, other.code)
    assert '<p class="scan-name" data-context-name>Rack B</p>' in where.content.decode()
    what = enter(page, piece.code, to=other.code)
    piece.refresh_from_db()
    assert piece.place == other
    assert what.status_code == 200
    assert f"{piece.code} 12-T is in Rack B." in what.content.decode()
    assert "Rack B</p>" in what.content.decode()


def test_a_mark_moves_a_piece(page, piece, other) -> None:
    enter(page, "12-t", to=other.code)
    assert Movement.objects.get(by__username="attendant").how == "typed"


def test_a_piece_without_a_place_says_where_it_is(page, piece) -> None:
    words = enter(page, piece.code).content.decode()
    assert f'<a href="/pieces/{piece.code}/" data-card-name>{piece.code} (12-T)</a>' in words
    assert "D1, sound, in Rack A" in words
    assert not Movement.objects.filter(by__isnull=False).exists()


def test_an_unknown_code_is_a_problem_in_place_with_a_search(page, world, other) -> None:
    answer = enter(page, world.code("R"), to=other.code)
    assert answer.status_code == 400
    assert problem_of(answer) == "unknown_code"
    assert 'name="find"' in answer.content.decode()
    assert RefusedScan.objects.get().error_code == "unknown_code"


def test_a_misread_place_is_a_problem_and_keeps_nothing(page, rack) -> None:
    wrong = rack.code[:-1] + ("0" if rack.code[-1] != "0" else "1")
    assert problem_of(enter(page, wrong)) == "bad_check_character"


def test_an_unreadable_piece_is_found_by_mark_and_ticked(page, piece, other) -> None:
    words = page.get("/scan/", {"find": "12-T", "to": other.code}).content.decode()
    assert f'data-tick="{piece.code}"' in words
    page.post("/scan/tick/", {"code": piece.code, "to": other.code})
    piece.refresh_from_db()
    assert piece.place == other
    assert Movement.objects.get(by__isnull=False).how == "tick"


def test_a_tick_without_a_place_asks_for_one(page, piece) -> None:
    answer = page.post("/scan/tick/", {"code": piece.code, "to": ""})
    assert problem_of(answer) == "no_place"


def test_a_search_that_finds_nothing_says_what_to_try(page) -> None:
    assert "No piece answers to" in page.get("/scan/", {"find": "zzz"}).content.decode()


def test_the_last_scans_can_be_undone(page, piece, rack, other) -> None:
    enter(page, piece.code, to=other.code)
    scan = Movement.objects.get(by__isnull=False).scan
    words = page.get("/scan/").content.decode()
    assert f'data-id="{scan}"' in words
    page.post("/scan/undo/", {"scan": str(scan), "code": piece.code})
    piece.refresh_from_db()
    assert piece.place == rack
    assert 'data-status="undone"' in page.get("/scan/").content.decode()


def test_an_undo_of_nonsense_is_a_problem(page) -> None:
    assert problem_of(page.post("/scan/undo/", {"scan": "x"})) == "unknown_scan"
    assert problem_of(page.post("/scan/undo/", {"scan": uuid.uuid4()})) == "unknown_scan"


def test_a_form_sent_twice_counts_once(page, piece, other) -> None:
    key = str(uuid.uuid4())
    for _turn in range(2):
        assert enter(page, piece.code, to=other.code, id=key).status_code == 200
    assert Movement.objects.filter(uuid=key).count() == 1
    assert not RefusedScan.objects.exists()


def test_the_place_is_forgotten_when_left_idle_or_by_another_person(
    page, other, log_in, crew
) -> None:
    enter(page, other.code)
    session = page.session
    session["scan_context"] = {**session["scan_context"], "at": "2026-01-01T00:00:00+00:00"}
    session.save()
    assert "Where?" in page.get("/scan/").content.decode()
    enter(page, other.code)
    page.post("/scan/leave/")
    assert "Where?" in page.get("/scan/").content.decode()
    enter(page, other.code)
    page.logout()
    assert "Where?" in log_in(crew).get("/scan/").content.decode()


def test_a_kit_shows_what_is_still_to_come(page, world, piece) -> None:
    tool_set = world.tool_set("S1", {(1, "top", 1): piece.drawing})
    cart = world.place("Cart 1", kind="cart")
    kit = Kit.objects.create(
        number=world.code("K"), job=world.job(tool_set, world.mill(stations=1)), place=cart
    )
    KitPosition.objects.create(
        kit=kit,
        set_position=tool_set.passes.get().positions.get(),
        station_number=1,
        pass_number=1,
        shaft="top",
        order=1,
        drawing=piece.drawing,
        piece=piece,
    )
    words = enter(page, kit.number).content.decode()
    assert "Still to come into this kit" in words
    assert f'data-tick="{piece.code}"' in words
    page.post("/scan/tick/", {"code": piece.code, "to": kit.number})
    assert KitPosition.objects.get().is_staged
    assert "Still to come into this kit" not in page.get("/scan/").content.decode()


def test_a_person_is_offered_as_somewhere_to_hand_out_to(page, world, crew, piece) -> None:
    person = world.place("Crew", kind="person", person=crew)
    assert f'data-enter="{person.code}"' in page.get("/scan/").content.decode()
    enter(page, piece.code, to=person.code)
    piece.refresh_from_db()
    assert piece.place == person


@pytest.mark.parametrize(
    ("what", "is_place", "said"),
    [
        ("place", True, "Rack B"),
        ("piece", False, "D1, sound, in Rack A"),
        ("mark", False, "D1, sound, in Rack A"),
        ("set", False, "Tool set S1 Set S1, copies A"),
        ("stock", False, "5 of SP in Rack B"),
    ],
)
def test_the_script_is_told_what_a_code_is(page, world, piece, other, what, is_place, said) -> None:
    tool_set = world.tool_set("S1", {(1, "top", 1): piece.drawing})
    world.copy(tool_set, "A")
    line = world.stock(world.drawing("SP", kind="spacer"), other, 5)
    code = {
        "place": other.code,
        "piece": piece.code.lower(),
        "mark": "12-T",
        "set": tool_set.code,
        "stock": line.code,
    }[what]
    told = page.get("/scan/read/", {"code": code}).json()
    assert (told["is_place"], told["said"]) == (is_place, said)


def test_the_script_is_told_of_a_problem(page) -> None:
    answer = page.get("/scan/read/", {"code": "nothing"})
    assert answer.status_code == 404
    assert set(answer.json()) == {"code", "message"}


def test_reading_a_code_writes_nothing(page, piece) -> None:
    page.get("/scan/read/", {"code": piece.code})
    assert not Movement.objects.filter(received_at__gte=timezone.now().replace(hour=0)).exists()


def test_the_pages_queries_do_not_grow_with_scans(
    page, world, rack, other, attendant, at, django_assert_max_num_queries
) -> None:
    drawing = world.drawing("D2")
    for _n in range(12):
        put(attendant, at, world.piece(drawing, rack).code, other.code)
    with django_assert_max_num_queries(16):
        page.get("/scan/")


def test_a_set_from_paper_becomes_pieces_when_the_first_is_held(page, world, piece, other) -> None:
    tool_set = world.tool_set("S7", {(1, "top", 1): piece.drawing, (1, "top", 2): piece.drawing})
    world.copy(tool_set, "A", home=world.place("Cart 7", kind="cart"), from_paper_count=2)
    words = page.get("/scan/", {"find": "s7", "to": other.code}).content.decode()
    assert words.count("I hold this one") == 2
    position = tool_set.passes.get().positions.get(order=2)
    copy = tool_set.copies.get()
    form = {"copy": copy.pk, "position": position.pk, "to": other.code}
    page.post("/scan/unfold/", form)
    pieces = Piece.objects.filter(allotments__copy=copy).order_by("allotments__position__order")
    assert [(each.place.name, each.seen_at is None) for each in pieces] == [
        ("Cart 7", True),
        ("Rack B", False),
    ]
    assert Movement.objects.filter(by__username="attendant", scan__isnull=False).count() == 1


@pytest.mark.parametrize("form", [{}, {"to": ""}, {"copy": "x", "position": "9"}])
def test_holding_what_is_not_known_is_a_problem(page, other, form) -> None:
    answer = page.post("/scan/unfold/", {"copy": "1", "position": "1", "to": other.code, **form})
    assert problem_of(answer) in ("unknown_code", "no_place")


@pytest.mark.parametrize("nonsense", ["\x00", "a\x00b", "\n\t", "%", "☃" * 300, "' OR 1=1 --"])
def test_nonsense_is_a_problem_and_never_a_fault(page, other, nonsense) -> None:
    assert enter(page, nonsense, to=other.code).status_code in (200, 400, 404)
    assert page.get("/scan/", {"find": nonsense, "to": nonsense}).status_code in (200, 404)
    assert page.get("/scan/read/", {"code": nonsense}).status_code == 404


# A void label.


@pytest.mark.parametrize("has_place", [True, False])
def test_a_void_label_leads_to_printing_the_one_that_took_its_place(
    page, attendant, at, piece, other, has_place
) -> None:
    newer = labels.reissue(by=attendant, at=at, code=piece.code, reason="torn")
    answer = enter(page, piece.code, to=other.code if has_place else "")
    assert problem_of(answer) == "void_label"
    link = f'<a class="button" href="/labels/?codes={newer}">Print {newer} again</a>'
    assert link in answer.content.decode()
    told = page.get("/scan/read/", {"code": piece.code}).json()
    assert (told["code"], told["todo_url"]) == ("void_label", f"/labels/?codes={newer}")


def test_a_void_label_without_a_successor_leads_to_giving_a_new_code(
    page, attendant, at, piece
) -> None:
    labels.void(by=attendant, at=at, code=piece.code, reason="lost")
    answer = enter(page, piece.code).content.decode()
    assert '<a class="button" href="/labels/#void">Give a new code</a>' in answer
    assert f'name="code" value="{piece.code}"' in page.get("/labels/").content.decode()


def test_who_prints_no_labels_is_not_sent_to_print_one(log_in, crew, attendant, at, piece) -> None:
    labels.reissue(by=attendant, at=at, code=piece.code, reason="torn")
    answer = enter(log_in(crew), piece.code)
    assert problem_of(answer) == "void_label"
    assert 'href="/labels/?codes=' not in answer.content.decode()


def test_any_other_problem_has_no_way_to_the_labels(page) -> None:
    told = page.get("/scan/read/", {"code": "nothing of ours"}).json()
    assert set(told) == {"code", "message"}

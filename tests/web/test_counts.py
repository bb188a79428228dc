"""The pages of counts as plain forms, and what they poll."""

from __future__ import annotations

import json
import re
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests.polled import assert_whole
from tests.services.counting import Rack, figures, kept
from tests.world import World
from tooling.models import Count, CountEntry, Movement, Person, Piece
from tooling.queries.counts import count_token
from tooling.services import count_entries, counts

pytestmark = pytest.mark.django_db
COUNTS: dict[str, int] = json.loads((Path(__file__).parents[1] / "query_counts.json").read_text())


@pytest.fixture
def rack(db: None) -> Rack:
    return Rack(World(at=timezone.now()))


@pytest.fixture
def count(rack: Rack, attendant: Person) -> Count:
    return rack.count(attendant, timezone.now())


@pytest.fixture
def page(log_in: Any, attendant: Person) -> Client:
    return log_in(attendant)


def post(page: Client, count: Count, act: str, **form: Any) -> Any:
    return page.post(f"/pieces/counts/{count.number}/{act}/", form, follow=True)


def words(answer: Any) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def problem_of(answer: Any) -> str:
    found = re.search(r'class="problem[^"]*" data-code="(\w+)"', answer.content.decode())
    return found.group(1) if found else ""


def shown(answer: Any) -> dict[str, int]:
    """The four figures as the page has them."""
    found = re.findall(r'data-figure="(\w+)"[^>]*><dt>[^<]*</dt><dd>(\d+)</dd>',
                       answer.content.decode())  # fmt: skip
    return {name: int(value) for name, value in found}


def test_one_tap_opens_a_count_from_the_plan(page: Client, rack: Rack) -> None:
    plan = page.get("/pieces/counts/")
    assert f'name="place" value="{rack.rack.code}"' in plan.content.decode()
    answer = page.post("/pieces/counts/open/", {"place": rack.rack.code}, follow=True)
    assert answer.redirect_chain[-1][0] == "/pieces/counts/1/"
    assert shown(answer) == {"expected": 6, "found": 0, "missing": 6, "extra": 0}
    assert answer.content.decode().count('id="scan-field"') == 1


def test_what_is_counted_already_leads_to_that_count(page: Client, count: Count) -> None:
    answer = page.post("/pieces/counts/open/", {"place": "Rack A"})
    assert (answer.status_code, problem_of(answer)) == (409, "already_counting")
    assert f'href="/pieces/counts/{count.number}/"' in answer.content.decode()
    assert 'value="Rack A"' in answer.content.decode()  # what was typed is kept


@pytest.mark.parametrize(
    ("form", "code"),
    [
        ({}, "one_subject"),
        ({"place": "Nowhere"}, "unknown_place"),
        ({"owner": "NOBODY"}, "unknown_code"),
        ({"copy": "999999"}, "unknown_code"),
        ({"copy": "x\x00"}, "unknown_code"),
    ],
)
def test_nonsense_opens_nothing(page: Client, rack: Rack, form: dict[str, str], code: str) -> None:
    assert problem_of(page.post("/pieces/counts/open/", form)) == code
    assert not Count.objects.exists()


def test_two_beats_count_without_script(page: Client, rack: Rack, count: Count) -> None:
    where = post(page, count, "enter", code=rack.shelf.code)
    assert f'name="to" value="{rack.shelf.code}"' in where.content.decode()
    key = str(uuid.uuid4())
    for _turn in range(2):  # a form sent twice counts once
        form = {"code": "m4", "to": rack.shelf.code, "at": rack.shelf.code, "id": key}
        answer = post(page, count, "enter", **form)
    assert shown(answer) == {"expected": 6, "found": 1, "missing": 5, "extra": 0}
    entry = CountEntry.objects.get()
    assert (entry.piece, entry.place, entry.how) == (rack.pieces[4], rack.shelf, "typed")


def test_a_tick_a_row_and_an_undo(page: Client, rack: Rack, count: Count) -> None:
    answer = post(page, count, "tick", code=rack.pieces[0].code)
    assert CountEntry.objects.get().how == "tick"
    answer = post(page, count, "row", place=rack.row.code)
    assert "All 2 at Shelf 2 are counted." in words(answer)
    assert shown(answer)["found"] == 3
    entries = [str(entry.uuid) for entry in CountEntry.objects.filter(how="tick")]
    answer = post(page, count, "undo", entry=entries)
    assert shown(answer)["found"] == 0
    assert problem_of(post(page, count, "undo", entry=entries[:1])) == "already_corrected"
    assert problem_of(post(page, count, "undo", entry="nonsense")) == "unknown_entry"


def test_a_bin_asks_how_many_with_a_keypad(page: Client, rack: Rack, count: Count) -> None:
    asked = page.get(f"/pieces/counts/{count.number}/?bin={rack.bin.code}")
    assert asked.content.decode().count('data-key="7"') == 2  # the form, and the script's template
    answer = post(page, count, "enter", code=rack.bin.code, quantity="12")
    assert "12 SP in bin" in words(answer)
    assert shown(answer) == {"expected": 16, "found": 10, "missing": 6, "extra": 2}
    assert problem_of(post(page, count, "enter", code=rack.bin.code)) == "how_many"
    assert problem_of(post(page, count, "enter", code=rack.bin.code, quantity="x")) == (
        "absurd_quantity"
    )


def test_a_refusal_is_said_on_the_page(page: Client, rack: Rack, count: Count) -> None:
    answer = post(page, count, "enter", code="no such thing")
    assert (answer.status_code, problem_of(answer)) == (400, "unknown_code")
    assert 'id="scan-field"' in answer.content.decode()


def test_the_part_that_moves_is_sent_only_when_it_moved(
    page: Client, rack: Rack, count: Count, crew: Person
) -> None:
    live = f"/pieces/counts/{count.number}/live/"
    token = count_token(count.number)
    assert page.get(f"{live}?v={token}").status_code == 204
    count_entries.tick_row(by=crew, at=timezone.now(), count=count, place=rack.shelf)
    part = page.get(f"{live}?v={token}")
    assert shown(part)["found"] == 3
    assert "Crew" in words(part)
    assert "<html" not in part.content.decode()


def test_a_part_that_asks_gets_its_part_anew(page: Client, rack: Rack, count: Count) -> None:
    answer = page.post(
        f"/pieces/counts/{count.number}/row/", {"place": rack.shelf.code},
        headers={"HX-Request": "true"},
    )  # fmt: skip
    assert shown(answer)["found"] == 3
    assert answer.content.decode().lstrip().startswith('<div id="count-live"')


def test_the_script_is_told_what_a_code_is_and_not_how_many_a_bin_has(
    page: Client, rack: Rack, count: Count
) -> None:
    read = f"/pieces/counts/{count.number}/read/"
    assert page.get(f"{read}?code={rack.shelf.code}").json()["is_place"] is True
    assert page.get(f"{read}?code={count.number}").json()["name"] == "Rack A"
    bin_ = page.get(f"{read}?code={rack.bin.code}").json()
    assert (bin_["name"], bin_["said"]) == ("SP", "")
    assert page.get(f"{read}?code=nothing").json()["code"] == "unknown_code"


def test_the_close_lists_what_is_missing_and_keeps_what_was_typed(
    page: Client, rack: Rack, count: Count
) -> None:
    post(page, count, "row", place=rack.shelf.code)
    listed = [piece.code for piece in rack.pieces[3:]]
    said = page.get(f"/pieces/counts/{count.number}/close/")
    assert re.findall(r'name="listed" value="(\w+)"', said.content.decode()) == [
        listed[2], *listed[:2],
    ]  # fmt: skip
    form = {f"reason-{listed[0]}": "lent", "otherwise": "", "listed": listed}
    refused = post(page, count, "close", **form)
    assert (refused.status_code, problem_of(refused)) == (400, "reason_missing")
    assert 'value="lent"' in refused.content.decode()
    done = post(page, count, "close", **{**form, "otherwise": "still looking"})
    assert "Count 1 is closed. 3 are lost from now on." in words(done)
    assert "50.0 % of what was expected was found." in words(done)
    assert kept(count) == (6, 3, 3, 0)


def test_a_list_that_grew_is_shown_again(page: Client, rack: Rack, count: Count) -> None:
    listed = [piece.code for piece in rack.pieces[1:]]
    answer = post(page, count, "close", otherwise="still looking", listed=listed)
    assert (answer.status_code, problem_of(answer)) == (409, "list_changed")
    assert figures(count)[2] == 6


def test_a_closed_count_shows_its_result_whatever_is_sent(
    page: Client, rack: Rack, count: Count
) -> None:
    post(page, count, "close", otherwise="still looking",
         listed=[piece.code for piece in rack.pieces])  # fmt: skip
    token = "1"
    live = page.get(f"/pieces/counts/{count.number}/live/?v={token}")
    assert_whole(live, f"/pieces/counts/{count.number}/")
    for act in ("enter", "tick", "row", "undo", "close", "drop"):
        form = {"code": rack.pieces[0].code, "place": rack.shelf.code, "entry": str(uuid.uuid4())}
        assert problem_of(post(page, count, act, **form)) == "count_closed", act
    assert page.get(f"/pieces/counts/{count.number}/close/").status_code == 409


def test_dropping_says_so_and_changes_nothing(page: Client, rack: Rack, count: Count) -> None:
    stray = rack.world.piece(rack.drawing, rack.other)
    post(page, count, "enter", code=stray.code, to=rack.shelf.code)
    answer = post(page, count, "drop")
    assert "Dropped: it changed nothing." in words(answer)
    assert Piece.objects.get(pk=stray.pk).place == rack.other


def test_sheets_and_accuracy(page: Client, rack: Rack, count: Count) -> None:
    post(page, count, "row", place=rack.shelf.code)
    listed = [piece.code for piece in rack.pieces]
    post(page, count, "close", otherwise="=still looking", listed=listed)
    sheet = page.get(f"/pieces/counts/{count.number}.csv").content.decode("utf-8-sig")
    lines = sheet.splitlines()
    assert len(lines) == 1 + 6 + 1
    assert sum(",missing," in line and "'=still looking" in line for line in lines) == 3
    record = page.get("/pieces/counts/accuracy/").content.decode()
    assert 'data-share="0.5000"' in record
    assert record.count("50.0 %") >= 3
    assert ",6,3,3,0,50.0," in page.get("/pieces/counts/accuracy.csv").content.decode()
    assert "Rack B" not in page.get("/pieces/counts/plan.csv").content.decode()  # holds nothing


def test_an_empty_shop_is_taught_the_first_step(page: Client, world: World) -> None:
    assert "Nothing to count yet" in words(page.get("/pieces/counts/"))
    assert "Nothing to show yet" in words(page.get("/pieces/counts/accuracy/"))


def test_today_says_what_is_due_and_what_is_being_counted(
    log_in: Any, attendant: Person, crew: Person, rack: Rack
) -> None:
    rack.world.piece(rack.drawing, rack.other)
    assert "2 counts due" in words(log_in(attendant).get("/today/"))
    counts.open_count(by=attendant, at=timezone.now(), place=rack.rack)
    said = words(log_in(attendant).get("/today/"))
    assert "being counted: count 1" in said
    assert "1 count due" in said
    said = words(log_in(crew).get("/today/"))
    assert "being counted: count 1" in said
    assert "due" not in said


def test_whoever_only_looks_is_offered_nothing(
    log_in: Any, viewer: Person, rack: Rack, count: Count
) -> None:
    said = log_in(viewer).get(f"/pieces/counts/{count.number}/").content.decode()
    assert 'id="scan-field"' not in said
    assert "It is here" not in said
    assert "Close the count" not in said


def test_a_poll_that_brings_nothing_asks_five_queries(
    page: Client, rack: Rack, count: Count
) -> None:
    page.get("/today/")
    live = f"/pieces/counts/{count.number}/live/?v={count_token(count.number)}"
    with CaptureQueriesContext(connection) as polled:
        page.get(live)
    assert len(polled) == COUNTS["GET count, nothing new"]
    assert not Movement.objects.filter(how="count").exists()

"""The labels pages as a door: who may, what is remembered, problems in place, sheets read back."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from tests.paper.reading import codes as some_codes
from tests.paper.reading import pages, rasterise_path, read
from tests.world import MM, World
from tooling.models import LabelEvent, Person, Task
from tooling.services import labels, tasks
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]
PRINTERS = {"attendant", "engineer", "supervisor"}


@pytest.fixture
def rack(world: World):
    return world.place("Rack A")


@pytest.fixture
def roll(world: World, rack):
    sizes: dict[str, Any] = {
        "bore_nm": 60 * MM,
        "outside_diameter_nm": 160 * MM,
        "face_width_nm": 50 * MM,
        "root_diameter_nm": 140 * MM,
    }
    return world.piece(world.drawing("1472-01-T1", **sizes), rack, mark="1472-01")


@pytest.fixture
def many(world: World, rack) -> list[str]:
    drawing = world.drawing("D2")
    return [world.piece(drawing, rack).code for _n in range(301)]


def body(answer: Any) -> str:
    return answer.content.decode()


@pytest.mark.parametrize(
    "path",
    ["/labels/", "/labels/where/", "/labels/where/?piece={code}", "/labels.pdf?codes={code}",
     "/labels/etching.svg?text=1472-01"],
)  # fmt: skip
def test_everybody_who_logged_in_may_look_and_nothing_is_written(
    path, roll, cast, log_in: LogIn, client: Client
) -> None:
    assert client.get(path.format(code=roll.code)).status_code == 302
    for person in cast.values():
        assert log_in(person).get(path.format(code=roll.code)).status_code == 200
    assert not LabelEvent.objects.exists()
    assert not Task.objects.exists()


@pytest.mark.parametrize("path", ["/labels/print/", "/labels/void/"])
def test_only_who_keeps_labels_prints_and_voids_them(path, roll, cast, log_in: LogIn) -> None:
    form = {"codes": roll.code, "code": roll.code, "reason": "lost", "size": "a4-24"}
    for role, person in cast.items():
        before = LabelEvent.objects.count()
        browser = log_in(person)
        assert browser.get(path).status_code == 405
        refused = browser.post(path, form).status_code == 403
        assert refused == (role not in PRINTERS)
        assert not refused or LabelEvent.objects.count() == before


def test_the_page_offers_printing_only_to_who_may(rack, cast, log_in: LogIn) -> None:
    offered = {
        role for role, person in cast.items()
        if 'action="/labels/print/"' in body(log_in(person).get("/labels/"))
    }  # fmt: skip
    assert offered == PRINTERS


def test_codes_are_printed_and_the_sheets_read_back(roll, rack, attendant, log_in: LogIn) -> None:
    typed = f"{roll.code.lower()}, {rack.code}"
    answer = log_in(attendant).post(
        "/labels/print/", {"codes": typed, "size": "50x25"}, follow=True
    )
    assert answer.headers["Content-Type"] == "application/pdf"
    assert [read(page) for page in pages(answer.content)] == [[roll.code], [rack.code]]
    assert set(LabelEvent.objects.values_list("code", "what", "size")) == {
        (roll.code, "issue", "50x25"), (rack.code, "issue", "50x25"),
    }  # fmt: skip


def test_two_hundred_and_fifty_fit_one_address_and_come_at_once(
    many, attendant, log_in: LogIn
) -> None:
    browser = log_in(attendant)
    form = {"codes": "\n".join(many[:250]), "size": "a4-65"}
    answer = browser.post("/labels/print/", form)
    address = answer.headers["Location"]
    assert len(address) < 4000  # the server takes lines of 4094
    printed = pages(browser.get(address).content)
    assert sorted(code for page in printed for code in read(page)) == sorted(many[:250])


def test_many_are_made_by_the_worker_while_the_page_waits(many, attendant, log_in: LogIn) -> None:
    browser = log_in(attendant)
    address = browser.post(
        "/labels/print/", {"what": "never", "never": "pieces", "size": "a4-65"}
    ).headers["Location"]
    waiting = body(browser.get(f"{address}?part=1"))
    assert f'hx-get="{address}?part=1"' in waiting
    assert browser.get(address.removesuffix("/") + ".pdf").status_code == 404
    assert work_once(HANDLERS)
    ready = body(browser.get(f"{address}?part=1"))
    assert "301 labels are ready." in ready
    assert "hx-get" not in ready
    pdf = re.findall(r'href="([^"]+\.pdf)"', ready)[0]
    printed = pages(browser.get(pdf).content)
    assert sorted(code for page in printed for code in read(page)) == sorted(many)


def test_waiting_work_can_be_stopped_and_says_so(many, attendant, log_in: LogIn) -> None:
    browser = log_in(attendant)
    address = browser.post("/labels/print/", {"codes": "\n".join(many)}).headers["Location"]
    said = body(browser.post(f"{address}stop/", follow=True))
    assert "Stopped. No label was recorded as printed." in said
    assert not LabelEvent.objects.exists()


def test_failed_work_says_why_and_leads_back(many, attendant, at, log_in: LogIn) -> None:
    browser = log_in(attendant)
    address = browser.post("/labels/print/", {"codes": "\n".join(many)}).headers["Location"]
    labels.void(by=attendant, at=at, code=many[0], reason="lost")
    work_once(HANDLERS)
    said = body(browser.get(address))
    assert 'data-code="void_label"' in said
    assert f"The label {many[0]} is void" in said


def test_another_task_s_page_is_no_label_page(attendant, at, log_in: LogIn) -> None:
    task = tasks.ask(by=attendant, at=at, kind="solve", given={})
    for path in ("/labels/{}/", "/labels/{}.pdf"):
        assert log_in(attendant).get(path.format(task.pk)).status_code == 404


@pytest.mark.parametrize(
    ("form", "status", "code", "kept"),
    [
        ({"codes": "R0000010"}, 400, "bad_check_character", ">R0000010</textarea>"),
        ({"codes": "<b>"}, 400, "not_a_code", ">&lt;b&gt;</textarea>"),
        ({"codes": some_codes(1, "P")[0]}, 404, "unknown_code", some_codes(1, "P")[0]),
        ({"codes": ""}, 400, "no_labels", "</textarea>"),
        ({"what": "never", "never": "sets"}, 400, "no_labels", 'value="never" checked'),
        ({"what": "set", "set": "none"}, 404, "unknown_set", 'name="what"'),
        ({"what": "place", "place": "Rack Z"}, 404, "unknown_place", 'value="Rack Z"'),
        ({"codes": "{code}", "skip": "-3"}, 400, "not_a_count", 'value="-3"'),
        ({"codes": "{code}", "skip": "24", "size": "a4-24"}, 400, "label_skip_too_large", "24"),
        ({"codes": "{code}", "size": "a5"}, 400, "unknown_label_size", "{code}"),
    ],
)
def test_what_is_wrong_is_said_in_the_form_and_what_was_typed_stays(
    form, status, code, kept, roll, attendant, log_in: LogIn
) -> None:
    filled = {name: value.format(code=roll.code) for name, value in form.items()}
    answer = log_in(attendant).post("/labels/print/", filled)
    said = body(answer)
    form_said = said[said.index('action="/labels/print/"') : said.index('action="/labels/void/"')]
    assert answer.status_code == status
    assert f'class="problem" data-code="{code}"' in form_said
    assert kept.format(code=roll.code) in form_said
    assert not LabelEvent.objects.exists()


def test_a_wrong_code_to_void_is_said_beside_it(roll, attendant, log_in: LogIn) -> None:
    form = {"code": "R0000010", "reason": "torn off", "reissue": "1"}
    said = body(log_in(attendant).post("/labels/void/", form))
    here = said[said.index('action="/labels/void/"') :]
    assert 'data-code="bad_check_character"' in here
    assert 'value="R0000010"' in here
    assert 'value="torn off"' in here


def test_a_replaced_label_stands_ready_to_be_printed(roll, attendant, log_in: LogIn) -> None:
    old = roll.code
    form = {"code": old, "reason": "torn off", "reissue": "1"}
    said = body(log_in(attendant).post("/labels/void/", form, follow=True))
    roll.refresh_from_db()
    assert f"{roll.code} took the place of {old}. Print it and stick it on." in said
    assert f">{roll.code}</textarea>" in said
    assert 'id="void-code" name="code" value=""' in said


def test_a_void_label_asks_for_a_new_one_until_it_has_it(roll, attendant, log_in: LogIn) -> None:
    browser = log_in(attendant)
    said = body(browser.post("/labels/void/", {"code": roll.code, "reason": "lost"}, follow=True))
    assert "Void, and nothing in their place yet" in said
    hidden = {"code": roll.code, "reason": "void before, a new one needed", "reissue": "1"}
    assert "Void, and nothing" not in body(browser.post("/labels/void/", hidden, follow=True))


def test_the_address_of_a_void_label_prints_nothing(roll, attendant, at, log_in: LogIn) -> None:
    old = roll.code
    new = labels.reissue(by=attendant, at=at, code=old, reason="lost")
    answer = log_in(attendant).get("/labels.pdf", {"codes": old})
    assert answer.status_code == 409
    assert f"The label {old} is void; {new} took its place." in body(answer)


def test_thursday_s_print_is_one_tap(world, roll, rack, attendant, log_in: LogIn) -> None:
    browser = log_in(attendant)
    drawing = roll.drawing
    tool_set = world.tool_set("1472", {(1, "top", 1): drawing})
    world.copy(tool_set, "A", {(1, "top", 1): roll})
    form = {"what": "set", "set": "1472", "copy": "A", "size": "62x29"}
    browser.post("/labels/print/", form)
    said = body(browser.get("/labels/"))
    assert 'value="set" checked' in said
    assert 'value="1472" selected' in said
    assert 'value="62x29" selected' in said
    again = re.search(r'name="run" value="(\d+)"', said)
    assert again is not None
    answer = browser.post("/labels/print/", {"what": "again", "run": again[1]}, follow=True)
    assert [read(page) for page in pages(answer.content)] == [[tool_set.code], [roll.code]]


def test_a_kind_that_is_all_printed_gives_way_to_the_next(roll, attendant, log_in: LogIn) -> None:
    browser = log_in(attendant)
    browser.post("/labels/print/", {"what": "never", "never": "pieces", "size": "50x25"})
    assert 'value="places" selected' in body(browser.get("/labels/"))


def test_codes_typed_once_do_not_come_back_but_their_size_does(
    roll, attendant, log_in: LogIn
) -> None:
    browser = log_in(attendant)
    browser.post("/labels/print/", {"what": "codes", "codes": roll.code, "size": "1x1in"})
    said = body(browser.get("/labels/"))
    assert 'value="codes" checked' in said
    assert f">{roll.code}</textarea>" not in said
    assert 'value="1x1in" selected' in said


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("codes={code}", ">{code}</textarea>"),
        ("set=1472", 'value="1472" selected'),
        ("place={place}&inside=all", 'value="{place}"'),
        ("mill=M1", 'value="M1" selected'),
    ],
)
def test_another_page_fills_the_form(query, shown, world, roll, rack, attendant, log_in) -> None:
    world.tool_set("1472", {(1, "top", 1): roll.drawing})
    world.mill("M1")
    names = {"code": roll.code, "place": rack.code}
    said = body(log_in(attendant).get(f"/labels/?{query.format(**names)}"))
    assert shown.format(**names) in said
    assert f'value="{query.split("=")[0]}" checked' in said


def test_an_empty_shop_teaches_the_first_step(attendant, log_in: LogIn) -> None:
    said = body(log_in(attendant).get("/labels/"))
    assert "Nothing has a label code yet" in said
    assert 'href="/shop/places/new/"' in said
    assert "/labels/print/" not in said


def test_when_all_is_printed_it_says_so(rack, attendant, at, log_in: LogIn) -> None:
    labels.issue(by=attendant, at=at, codes=[rack.code], size="a4-24")
    said = body(log_in(attendant).get("/labels/"))
    assert "Everything that has a code has had its label printed." in said
    assert 'value="codes" checked' in said


def test_what_was_never_printed_is_offered_first(roll, attendant, at, log_in: LogIn) -> None:
    labels.issue(by=attendant, at=at, codes=[roll.code], size="a4-24")
    said = body(log_in(attendant).get("/labels/"))
    assert 'value="never" checked' in said
    assert 'value="places" selected' in said


@pytest.mark.parametrize("path", ["/pieces/{piece}/", "/shop/places/{place}/", "/sets/1472/",
                                  "/pieces/stock/{stock}/", "/mills/M1/"])  # fmt: skip
def test_the_page_of_a_thing_leads_to_its_label(
    path, world, roll, rack, attendant, viewer, log_in: LogIn
) -> None:
    world.tool_set("1472", {(1, "top", 1): roll.drawing})
    world.mill("M1")
    line = world.stock(world.drawing("SP", kind="spacer"), rack, 3)
    address = path.format(piece=roll.code, place=rack.code, stock=line.code)
    link = re.search(r'href="(/labels/\?[^"]+)"', body(log_in(attendant).get(address)))
    assert link is not None
    assert log_in(attendant).get(link[1].replace("&amp;", "&")).status_code == 200
    assert 'href="/labels/?' not in body(log_in(viewer).get(address))


def zones(said: str) -> dict[str, str]:
    return dict(re.findall(r'data-zone="(\w+)" data-allowed="(\w+)"', said))


def test_a_roll_s_free_faces_take_a_label_and_nothing_else_does(
    roll, viewer, log_in: LogIn
) -> None:
    said = body(log_in(viewer).get(f"/labels/where/?piece={roll.code}"))
    assert zones(said) == {
        "inboard_face": "yes", "outboard_face": "yes", "seat": "no", "bore": "no", "contour": "no",
    }  # fmt: skip
    # (140 root - 90 clamped) / 2 = 25
    assert "25.000 mm" in said or "25 mm" in said
    assert "<svg" in said[said.index('class="site-scroll"') :]


def test_a_face_to_be_ground_takes_none(roll, viewer, log_in: LogIn) -> None:
    said = body(log_in(viewer).get(f"/labels/where/?piece={roll.code}&ground=outboard"))
    assert (zones(said)["inboard_face"], zones(said)["outboard_face"]) == ("yes", "no")


def test_a_spacer_takes_its_label_on_the_rim_if_that_is_wide_enough(
    world, rack, viewer, log_in: LogIn
) -> None:
    for width, allowed in ((25, "yes"), (6, "no")):
        drawing = world.drawing(f"SP{width}", kind="spacer", face_width_nm=width * MM)
        code = world.piece(drawing, rack).code
        said = body(log_in(viewer).get(f"/labels/where/?piece={code}"))
        assert zones(said) == {"rim": allowed, "faces": "no", "bore": "no"}


def test_a_roll_without_sizes_is_told_but_not_drawn(world, rack, viewer, log_in: LogIn) -> None:
    code = world.piece(world.drawing("R9"), rack).code
    said = body(log_in(viewer).get(f"/labels/where/?piece={code}"))
    assert "is not on record" in said
    assert 'class="site-scroll"' not in said


@pytest.mark.parametrize(
    ("text", "status", "code"),
    [("R0000010", 400, "bad_check_character"), ("rubbish", 404, "unknown_code")],
)
def test_a_piece_that_is_not_there_is_said_and_the_usual_roll_is_shown(
    text, status, code, viewer, log_in: LogIn
) -> None:
    answer = log_in(viewer).get("/labels/where/", {"piece": text})
    assert answer.status_code == status
    assert f'data-code="{code}"' in body(answer)
    assert 'class="site-scroll"' in body(answer)


def test_a_void_label_leads_to_the_new_one(roll, attendant, at, log_in: LogIn) -> None:
    old = roll.code
    new = labels.reissue(by=attendant, at=at, code=old, reason="lost")
    answer = log_in(attendant).get("/labels/where/", {"piece": old})
    assert answer.status_code == 409
    assert new in body(answer)


@pytest.mark.parametrize("symbol", ["datamatrix", "qr"])
def test_artwork_for_etching_is_read_back(symbol, viewer, log_in: LogIn) -> None:
    query = {"text": "1472-01 A", "symbol": symbol, "size": "14"}
    answer = log_in(viewer).get("/labels/etching.svg", query)
    assert answer.headers["Content-Type"] == "image/svg+xml"
    assert read(rasterise_path(body(answer))) == ["1472-01 A"]


@pytest.mark.parametrize(
    ("text", "size", "code"),
    [("A1", "big", "not_a_length"), ("A1", "nan", "not_a_length"), ("A1", "-4", "not_a_length"),
     ("A1", "1", "etching_too_small"), ("", "12", "mark_not_etchable"),
     ("A" * 41, "90", "mark_not_etchable")],
)  # fmt: skip
def test_artwork_that_cannot_be_etched_is_refused(text, size, code, viewer, log_in: LogIn) -> None:
    answer = log_in(viewer).get("/labels/etching.svg", {"text": text, "size": size})
    assert answer.status_code == 400
    assert f'data-code="{code}"' in body(answer)

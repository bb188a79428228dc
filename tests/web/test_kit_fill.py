"""The pages of filled shafts: asked for, read, changed by hand, printed."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.filling import Filling
from tests.polled import assert_whole
from tests.world import World
from tooling.models import KitPosition, Person, Task
from tooling.queries.fill_page import fill_page
from tooling.queries.fill_problem import fill_problem
from tooling.queries.kits import find_kit
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once


@pytest.fixture
def shop(world: World, crew: Person) -> Filling:
    return Filling(world, crew, stations=2, lengths={20: 30, 50: 10, 100: 30})


@pytest.fixture
def client_of(client: Client, crew: Person) -> Client:
    client.force_login(crew)
    return client


def at(shop: Filling, tail: str = "") -> str:
    return f"/kits/{shop.kit.number}/fill/{tail}"


def test_a_tap_fills_the_shafts_and_the_page_shows_every_stack(
    client_of: Client, shop: Filling
) -> None:
    answer = client_of.post(at(shop, "ask/"), {"back": "kit"})
    assert answer["Location"] == f"/kits/{shop.kit.number}/#fill"
    assert b"data-progress" in client_of.get(f"/kits/{shop.kit.number}/").content
    assert work_once(HANDLERS)
    page = client_of.get(at(shop)).content.decode()
    assert page.count('data-fill-state="filled"') == 4
    assert "4 of 4 shafts are filled" in page
    kit = client_of.get(f"/kits/{shop.kit.number}/").content.decode()
    assert "16 spacers fill the shafts" in kit


def test_the_shaft_page_says_where_the_guide_plane_lies_and_what_nobody_measured(
    client_of: Client, shop: Filling
) -> None:
    shop.fill()
    page = client_of.get(f"/kits/{shop.kit.number}/stations/1/top/").content.decode()
    assert "guide plane 150 mm" in page
    assert "the width of 1t" in page
    assert page.count("Not there: find another stack") == 4


def test_a_refused_stack_keeps_what_was_typed(client_of: Client, shop: Filling) -> None:
    shop.fill()
    typed = {"back": "shaft", "station": "1", "shaft": "top", "fill": "inboard", "text": "20 + 20"}
    answer = client_of.post(at(shop, "by-hand/"), typed)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert 'data-code="outside_window"' in page
    assert 'value="20 + 20"' in page


def test_not_there_finds_another_stack_from_the_shaft_page(
    client_of: Client, shop: Filling
) -> None:
    shop.fill()
    row = shop.rows(1, "top")[1]
    typed = {"back": "shaft", "station": "1", "shaft": "top", "position": row.pk}
    answer = client_of.post(at(shop, "not-there/"), typed)
    assert answer["Location"] == f"/kits/{shop.kit.number}/stations/1/top/"
    assert work_once(HANDLERS)
    assert_whole(client_of.get(at(shop, "part/?back=shaft")), at(shop))
    where = "part/?back=shaft&station=1&shaft=top"
    assert_whole(client_of.get(at(shop, where)), answer["Location"])


def test_stopping_leads_back_to_the_shaft_after_polls_too(client_of: Client, shop: Filling) -> None:
    client_of.post(at(shop, "ask/"), {"back": "kit"})
    shaft = f"/kits/{shop.kit.number}/stations/1/top/"
    page = client_of.get(shaft).content.decode()
    poll = re.search(r'id="fill"[^>]* hx-get="([^"]+)"', page)
    assert poll
    part = client_of.get(html.unescape(poll[1])).content.decode()
    assert 'name="station" value="1"' in part
    typed = {"back": "shaft", "station": "1", "shaft": "top"}
    assert client_of.post(at(shop, "stop/"), typed)["Location"] == shaft


def test_what_stock_cannot_meet_is_named_with_a_list_to_print(
    client_of: Client, world: World, crew: Person
) -> None:
    short = Filling(world, crew, stations=1, lengths={100: 9}, prefix="x")
    short.make_in_steps_of(20)
    short.fill()
    page = client_of.get(at(short)).content.decode()
    assert 'data-code="shafts_lack"' in page
    assert "the nearest shorter 100 mm" in page
    made = client_of.get(at(short, "make-list/")).content.decode()
    paper = client_of.get(f"/kits/{short.kit.number}/make-list.pdf?paper=letter")
    assert paper.content.startswith(b"%PDF")
    assert "4 pieces to make" in made
    assert made.count("20 mm</strong>") == 4


def test_a_mill_that_says_too_little_is_named_before_anything_is_asked(
    client_of: Client, shop: Filling
) -> None:
    type(shop.mill).objects.update(guide_plane_nm=None)
    answer = client_of.post(at(shop, "ask/"), {"back": "kit"})
    assert answer.status_code == 409
    assert b'data-code="guide_plane_missing"' in answer.content
    assert not Task.objects.exists()


def test_a_viewer_sees_the_stacks_and_no_button(
    client: Client, shop: Filling, viewer: Person
) -> None:
    shop.fill()
    client.force_login(viewer)
    page = client.get(f"/kits/{shop.kit.number}/stations/1/top/").content.decode()
    assert "Not there" not in page
    assert client.post(at(shop, "ask/")).status_code == 403


def answer_of(client: Client, shop: Filling) -> Any:
    return client.get(f"/api/v1/kits/{shop.kit.number}/fill/").json()


def test_programs_start_it_and_read_the_same(client_of: Client, shop: Filling) -> None:
    started = client_of.post(
        f"/api/v1/kits/{shop.kit.number}/fill/", {}, content_type="application/json"
    )
    assert started.status_code == 202
    assert started.json()["task"]["is_over"] is False
    assert work_once(HANDLERS)
    said = answer_of(client_of, shop)
    assert [each["state"] for each in said["shafts"]] == ["filled"] * 4
    assert said["shafts"][0]["fills"][0]["length_mm"] == "120"
    assert said["lacks"] == []


def test_programs_pin_swap_and_clear_with_the_same_codes(client_of: Client, shop: Filling) -> None:
    shop.fill()
    url = f"/api/v1/kits/{shop.kit.number}/fill/"
    spot = {"station": 1, "shaft": "top", "order": 1}
    pinned = client_of.post(url + "pin/", spot, content_type="application/json")
    assert pinned.json()["shafts"][0]["fills"][0]["is_pinned"] is True
    swapped = client_of.post(url + "swap/", {**spot, "code": "50"}, content_type="application/json")
    assert (swapped.status_code, swapped.json()["code"]) == (409, "outside_window")
    cleared = client_of.post(
        url + "clear/", {"station": 1, "shaft": "top"}, content_type="application/json"
    )
    assert cleared.json()["shafts"][0]["state"] == "empty"
    assert KitPosition.objects.filter(kit=shop.kit).exclude(fill="").count() == 12


COUNTS = json.loads((Path(__file__).parents[1] / "query_counts.json").read_text())


@pytest.mark.parametrize("stations", [1, 12])
def test_pages_of_stacks_ask_no_more_when_there_are_more_shafts(
    client_of: Client, world: World, crew: Person, stations: int
) -> None:
    shop = Filling(world, crew, stations=stations, prefix="q", lengths={20: 60, 100: 60})
    shop.fill()
    kit = find_kit(shop.kit.number)
    reads: dict[str, Callable[[], Any]] = {
        "GET shaft, filled": lambda: client_of.get(f"/kits/{kit.number}/stations/1/top/"),
        "GET stacks": lambda: client_of.get(at(shop)),
        "fill page": lambda: fill_page(kit.number),
        "fill problem": lambda: fill_problem(kit, at=world.at),
    }
    asked = {}
    for name, read in reads.items():
        with CaptureQueriesContext(connection) as queries:
            read()
        asked[name] = len(queries)
    assert asked == {name: COUNTS[name] for name in reads}


def test_the_kit_s_page_learns_that_somebody_else_had_the_shafts_filled(
    client_of: Client, shop: Filling
) -> None:
    url = f"/kits/{shop.kit.number}/live/"
    shop.kit.refresh_from_db()
    assert client_of.get(url, {"v": shop.kit.version}).status_code == 204
    client_of.post(at(shop, "ask/"), {"back": "kit"})
    page = client_of.get(url, {"v": shop.kit.version}).content.decode()
    assert 'hx-swap-oob="true"' in page
    assert "data-progress" in page
    assert work_once(HANDLERS)
    assert "16 spacers fill the shafts" in client_of.get(url, {"v": "0"}).content.decode()


def test_a_page_of_stacks_says_that_the_kit_moved_and_keeps_what_is_typed(
    client_of: Client, shop: Filling
) -> None:
    shop.fill()
    shop.kit.refresh_from_db()
    page = client_of.get(at(shop)).content.decode()
    assert f"part/?back=fill&amp;v={shop.kit.version}" in page
    part = client_of.get(at(shop, "part/"), {"back": "fill", "v": shop.kit.version})
    assert part.status_code == 204
    stale = client_of.get(at(shop, "part/"), {"back": "fill", "v": shop.kit.version - 1})
    assert 'data-code="kit_moved"' in stale.content.decode()
    assert b'hx-trigger="load"' not in stale.content
    assert b"every 1s" not in stale.content


def test_not_there_asks_what_is_in_the_bin_and_puts_it_right(
    client_of: Client, shop: Filling
) -> None:
    shop.fill()
    row, line = shop.rows(1, "top")[0], shop.bins[100]
    page = client_of.get(f"/kits/{shop.kit.number}/stations/1/top/").content.decode()
    assert f'name="bin" value="{line.code}"' in page
    assert f'name="there" value="{line.count - 1}"' in page
    typed = {"back": "shaft", "station": "1", "shaft": "top", "position": row.pk,
             "bin": line.code}  # fmt: skip
    bad = client_of.post(at(shop, "not-there/"), {**typed, "there": "many"})
    assert 'data-code="not_a_number"' in bad.content.decode()
    client_of.post(at(shop, "not-there/"), {**typed, "there": "6"})
    line.refresh_from_db()
    assert line.count == 6
    said = {"station": 1, "shaft": "top", "order": row.order, "bin": line.code, "there": 4}
    url = f"/api/v1/kits/{shop.kit.number}/fill/not-there/"
    assert client_of.post(url, said, content_type="application/json").status_code == 202
    line.refresh_from_db()
    assert line.count == 4

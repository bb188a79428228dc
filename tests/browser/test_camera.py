"""Labels under a camera: what Chromium is given as a camera is a film of our own labels, drawn by
``frames.py``; what reads them is what the page ships."""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from tests.browser.axe import accessibility_problems, small_targets, wider_than_the_screen
from tests.browser.frames import (
    ASKED,
    KINDS,
    PLAIN,
    Shot,
    bench,
    film,
    frames,
    label,
    lay,
    lit,
    strange,
    take,
    take_card,
    traps,
)
from tests.browser.line import Line
from tests.browser.optics import PX_PER_MM
from tests.browser.phone import Phone, first_row, go_into, log_in, moved, wedge
from tests.browser.reading import LIVE, READ
from tests.world import World
from tooling.models import Movement, Person, Piece, Place

STILL = Shot(turn=15, tilt=8)
AT_LEAST = 0.95
EACH = 5
HOLDS = """(texts) => import("/static/rollroom/scan-codes.js").then(
  ({ holds }) => texts.filter(holds))"""
CAMERA = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")


@pytest.fixture
def pieces(world: World) -> list[Piece]:
    there = world.place("Rack A")
    return [world.piece(world.drawing(f"D{number}"), there) for number in range(3)]


Look = Callable[..., Page]


@pytest.fixture
def look_at(phone: Phone, line: Line, tmp_path: Path, cast: dict[str, Person], rack: Place) -> Look:
    """``look_at(picture, …)``: the Scan page, in Rack B, its camera open on these pictures."""

    def _look(*pictures: bytes, **options: Any) -> Page:
        shown = film(tmp_path / "film.mjpeg", list(pictures))
        page = phone.start(*CAMERA, f"--use-file-for-fake-video-capture={shown}", **options)
        log_in(page, line, cast["attendant"])
        go_into(page, rack.code, "Rack B")
        assert not [path for path in line.asked if "zxing" in path]
        page.get_by_role("button", name="Camera").click()
        return page

    return _look


def test_a_module_of_a_20_mm_symbol_at_25_cm_is_3_8_pixels() -> None:
    # 1920 px across 70°: 960 / tan 35° = 1371 px; at 250 mm 5.484 px/mm; 29 modules in 20 mm
    assert pytest.approx(3.78, abs=0.01) == 20 / 29 * PX_PER_MM


def test_the_reader_reads_the_shipped_frames_and_nothing_wrongly(
    open_as: Callable[..., Page], cast: dict[str, Person]
) -> None:
    page = open_as(cast["attendant"], "/scan/")
    read: dict[str, int] = dict.fromkeys(KINDS, 0)
    for frame in frames(EACH):
        found, _ms = page.evaluate(READ, base64.b64encode(frame.jpeg).decode())
        assert found in ([], [*frame.codes]), frame.kind
        read[frame.kind] += bool(found)
    assert sum(read[kind] for kind in ASKED) >= AT_LEAST * EACH * len(ASKED), read
    assert read["sharp"] == read["tilted"] == read["on a roll"] == EACH, read


def test_a_camera_looks_another_way_until_one_reads_and_keeps_to_that(
    open_as: Callable[..., Page], cast: dict[str, Person]
) -> None:
    # in the near dark and beside the middle third, so that only the last way, the widest, reads it
    dark = replace(KINDS["dim"], tilt=5.0, electrons=30.0, motion=3.0)
    picture = base64.b64encode(take(dark, ONE, np.random.default_rng(1), at=(75, 0))).decode()
    page = open_as(cast["attendant"], "/scan/")
    assert page.evaluate(LIVE, [picture, 5]) == [[], [], [ONE], [ONE], [ONE]]


def test_of_what_is_no_whole_label_none_is_taken_for_another(
    open_as: Callable[..., Page], cast: dict[str, Person]
) -> None:
    page = open_as(cast["attendant"], "/scan/")
    strangers = 0
    for frame in traps(EACH):
        found, _ms = page.evaluate(READ, base64.b64encode(frame.jpeg).decode())
        labels = page.evaluate(HOLDS, found)
        assert set(labels) <= set(frame.codes), (frame.kind, frame.codes, labels)
        strangers += frame.kind == "strange" and bool(found)
    assert strangers == EACH  # they were read, and told from labels


def test_a_label_held_in_the_middle_is_taken_once(look_at: Look, pieces: list[Piece]) -> None:
    dice = np.random.default_rng(1)
    page = look_at(take(STILL, pieces[0].code, dice))
    expect(first_row(page)).to_contain_text("is in Rack B.")
    expect(page.locator("[data-camera-labels] > div")).to_have_text(pieces[0].code)
    wedge(page, pieces[1].code)  # a scanner goes on working beside it
    expect(first_row(page)).to_contain_text(pieces[1].code)
    page.get_by_role("button", name="Close camera").click()
    expect(page.locator("[data-camera]")).to_be_hidden()
    expect(page.locator("#scan-field")).to_be_focused()
    assert moved() == [pieces[0].code, pieces[1].code]
    assert set(Movement.objects.filter(by__isnull=False).values_list("how", flat=True)) == {"scan"}


def test_of_several_labels_the_tapped_one_is_taken(look_at: Look, pieces: list[Piece]) -> None:
    dice = np.random.default_rng(2)
    picture = bench(dice)
    lay(picture, STILL, label(pieces[0].code, STILL, dice), dice, at=(-25, -14))
    lay(picture, STILL, label(pieces[1].code, STILL, dice), dice, at=(25, 14))
    page = look_at(lit(picture, STILL, dice), bypass_csp=True)
    expect(page.locator("[data-camera-said]")).to_have_text("Several labels: tap the one you mean.")
    labels = page.locator("[data-camera-choices] > button")
    expect(labels).to_have_count(2)
    assert accessibility_problems(page) == []
    assert wider_than_the_screen(page) == 0
    assert small_targets(page) == []
    assert moved() == []
    labels.filter(has_text=pieces[1].code).click()
    expect(first_row(page)).to_contain_text(f"{pieces[1].code} is in Rack B.")
    assert moved() == [pieces[1].code]


def test_a_label_at_the_edge_is_not_taken_by_itself(look_at: Look, pieces: list[Piece]) -> None:
    dice = np.random.default_rng(3)
    page = look_at(take(STILL, pieces[0].code, dice, at=(122, 0)))
    expect(page.locator("[data-camera-said]")).to_have_text(
        "Hold still, label in the middle, or tap it."
    )
    assert moved() == []
    page.locator("[data-camera-choices] > button").click()
    expect(first_row(page)).to_contain_text("is in Rack B.")


def test_the_code_of_something_else_is_no_label(look_at: Look, pieces: list[Piece]) -> None:
    dice = np.random.default_rng(4)
    card = strange("https://example.org/crate/17", dice)
    page = look_at(take_card(PLAIN, card, dice))
    expect(page.locator("[data-camera-said]")).to_have_text("That is no label of this shop.")
    assert moved() == []


def test_a_camera_that_is_not_allowed_says_what_to_do(
    open_as: Callable[..., Page], cast: dict[str, Person]
) -> None:
    page = open_as(cast["attendant"], "/scan/")
    page.get_by_role("button", name="Camera").click()
    problem = page.locator("[data-answer] .problem")
    expect(problem).to_have_attribute("data-code", "no_camera")
    expect(problem).to_contain_text("Type the code, or use a scanner")


SIGHT = """([cases, guard]) => import("/static/rollroom/scan-sight.js").then(({ Sight }) => {
  const at = (x, y) => [[-20, -20], [20, -20], [20, 20], [-20, 20]].map(
    ([dx, dy]) => ({ x: x + dx, y: y + dy }));
  return Object.fromEntries(Object.entries(cases).map(([name, looks]) => {
    const sight = new Sight(guard);
    return [name, looks.map(([now, ...found]) => sight.look(
      found.map(([text, x, y]) => ({ text, corners: at(x, y) })),
      { width: 1000, height: 1000 }, now).take)];
  }));
})"""
ONE, TWO = "R000001L", "R000002J"
MIDDLE: list[Any] = [ONE, 500, 500]
WRONG = ["R000001X", 500, 500]
GONE = [[0, MIDDLE], [400, MIDDLE], *[[n * 400] for n in range(2, 12)]]
CASES: dict[str, tuple[list[Any], list[str]]] = {
    "one look is not enough": ([[0, MIDDLE]], [""]),
    "two at one spot are": ([[0, MIDDLE], [100, [ONE, 505, 500]]], ["", ONE]),
    "not while it moves": ([[0, [ONE, 300, 500]], [100, [ONE, 600, 500]]], ["", ""]),
    "not at the edge": ([[0, [ONE, 100, 500]], [100, [ONE, 105, 500]]], ["", ""]),
    "not beside another": ([[0, MIDDLE, [TWO, 700, 500]], [100, MIDDLE]], ["", ""]),
    "not with a wrong check character": ([[0, WRONG], [100, WRONG]], ["", ""]),
    "not with gaps between": ([[n * 1300, MIDDLE] for n in range(6)], [""] * 6),
    "by a slow phone that misses it once": ([[0, MIDDLE], [420], [840, MIDDLE]], ["", "", ONE]),
    "not by a quick one that misses it as long": (
        [[0, MIDDLE], *[[n * 100] for n in range(1, 8)], [840, MIDDLE]],
        [""] * 9,
    ),
    "the next as soon as a quick phone no longer sees the last": (
        [
            [0, MIDDLE],
            [100, MIDDLE],
            *[[n * 100] for n in range(2, 8)],
            *[[n * 100, [TWO, 500, 500]] for n in (9, 10)],
        ],
        ["", ONE, *[""] * 7, TWO],
    ),
    "once though a slow phone misses it now and then": (
        [[n * 420, *([MIDDLE] if n % 3 else [])] for n in range(1, 40)],
        ["", ONE, *[""] * 37],
    ),
    "not when it is back before the guard's time": (
        [*GONE, [4500, MIDDLE], [4550, MIDDLE], [4650, MIDDLE]],
        ["", ONE, *[""] * 13],
    ),
    "when it is back after the guard's time": (
        [*GONE, [4700, MIDDLE], [4750, MIDDLE]],
        ["", ONE, *[""] * 11, ONE],
    ),
    "once while in view": ([[n * 500, MIDDLE] for n in range(20)], ["", ONE, *[""] * 18]),
    "again after the guard's time": (
        [[0, MIDDLE], [500, MIDDLE], [1000, MIDDLE], [5000, MIDDLE], [5100, MIDDLE]],
        ["", ONE, "", "", ONE],
    ),
}


def test_a_label_is_taken_when_it_is_surely_meant(browser: Browser, live_server: Any) -> None:
    context = browser.new_context(base_url=live_server.url)
    page = context.new_page()
    page.goto("/login/")
    looks = {name: case for name, (case, _taken) in CASES.items()}
    taken = page.evaluate(SIGHT, [looks, 3000])
    context.close()
    assert taken == {name: expected for name, (_case, expected) in CASES.items()}


def test_the_film_is_what_the_camera_shows(tmp_path: Path) -> None:
    dice = np.random.default_rng(5)
    picture = take(STILL, ONE, dice)
    assert Image.open(BytesIO(film(tmp_path / "x", [picture]).read_bytes())).size == (1920, 1080)

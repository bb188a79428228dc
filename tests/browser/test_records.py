"""Records by hand in a real browser: from an empty shop to a charted set; nothing overflows."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from playwright.sync_api import Page, expect

from tests.browser.axe import LOOKS, accessibility_problems, wider_than_the_screen
from tests.browser.conftest import PHONE, TABLET
from tests.photographs import a_png
from tests.world import MM, World
from tooling.models import Allotment, ChartPass, Person, Piece, Place
from tooling.services import holds, pictures

Open = Callable[..., Page]
LONG = "Quillmoor Racking and Shelving Systems of the North, Limited"


def fill(page: Page, values: dict[str, str]) -> None:
    """Type into the fields of these names and send the form."""
    for name, value in values.items():
        page.locator(f"main form [name={name}]").last.fill(value)
    page.locator("main form button.first").last.click()


def test_a_shop_is_entered_by_hand_from_nothing(
    cast: dict[str, Person], world: World, open_as: Open
) -> None:
    page = open_as(cast["engineer"], "/shop/places/", viewport=TABLET)
    page.get_by_role("link", name="Make the first place").click()
    fill(page, {"name": "Rack A"})
    page.goto("/sets/drawings/new/")
    fill(page, {"number": "1472-01-T1", "bore_nm": "2 1/2 in", "outside_diameter_nm": "7 in"})
    page.get_by_role("link", name="Make pieces").click()
    page.locator("[name=place]").fill("rack a")
    page.locator("[name=count]").fill("2")
    page.get_by_role("button", name="Make").click()
    expect(page.locator("tbody tr")).to_have_count(2)
    page.goto("/mills/new/")
    fill(
        page,
        {"number": "M1", "name": "Mill 1", "stations": "4", "diameter_nm": "63.5",
         "roll_space_nm": "300"},
    )  # fmt: skip
    page.goto("/sets/new/")
    fill(page, {"number": "1472", "name": "C 100", "passes": "2"})
    page.get_by_role("link", name="Add a position", exact=True).first.click()
    fill(page, {"drawing": "1472-01-T1"})
    page.get_by_role("link", name="New copy").click()
    page.get_by_role("button", name="Save").click()
    page.get_by_role("button", name="Allot by drawing").click()
    expect(page.get_by_text("1 of 1 allotted")).to_be_visible()
    page.get_by_role("link", name="New setup chart").click()
    page.locator("[name=mill]").select_option(index=1)
    page.get_by_role("button", name="Save").click()
    expect(page.locator("h1")).to_contain_text("1472 on Mill 1")
    assert (Piece.objects.count(), Allotment.objects.count()) == (2, 1)
    assert sorted(ChartPass.objects.values_list("station__number", flat=True)) == [1, 2]


def test_where_is_it_takes_one_field_and_one_key(
    cast: dict[str, Person], world: World, open_as: Open
) -> None:
    shelf = world.place("Shelf 3", kind="shelf", parent=world.place("Rack A"))
    piece = world.piece(world.drawing("1472-01-T1"), shelf, mark="1472-01-T1")
    page = open_as(cast["attendant"], "/pieces/", viewport=PHONE)
    page.keyboard.type("1472-01-t1")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_contain_text(piece.code)
    expect(page.locator(".sentence")).to_contain_text("Shelf 3")


def test_a_problem_stands_at_its_field_and_what_was_typed_stays(
    cast: dict[str, Person], world: World, open_as: Open
) -> None:
    piece = world.piece(
        world.drawing("1472-01-T1", root_diameter_nm=140 * MM), world.place("Rack A")
    )
    page = open_as(cast["crew"], f"/pieces/{piece.code}/reading/", viewport=PHONE)
    page.locator("[name=dimension]").select_option("root_diameter")
    fill(page, {"value": "120"})
    expect(page.locator(".problem")).to_have_attribute("data-code", "improbable_value")
    expect(page.locator("[name=value]")).to_have_value("120")
    page.get_by_label("It is right").check()
    page.locator("main button.first").click()
    expect(page.locator("#history + ol, ol.time-line").first).to_contain_text("120 mm")


PAGES = [
    "/pieces/", "/pieces/{piece}/", "/pieces/{piece}/edit/", "/pieces/{piece}/work/",
    "/pieces/stock/", "/shop/places/{rack}/", "/mills/", "/mills/M1/", "/sets/", "/sets/1472/",
    "/sets/1472/mills/M1/", "/sets/charts/{chart}/", "/sets/drawings/",
    "/sets/drawings/1472-01-T1/", "/sets/drawings/new/", "/shop/", "/shop/owners/",
    "/shop/people/", "/shop/settings/", "/incidents/", "/incidents/{incident}/",
    "/incidents/new/", "/incidents/new/?mill=M1", "/incidents/new/?mill=M1&station=1",
    "/pieces/{piece}/stop/", "/pieces/{piece}/condition/", "/pieces/{held}/",
    "/pieces/{held}/stop/{incident}/", "/pictures/{picture}/", "/pictures/keep/?piece={piece}",
]  # fmt: skip


@pytest.fixture
def filled(
    world: World, cast: dict[str, Person], settings: Any, tmp_path: Path
) -> dict[str, object]:
    """A shop with long names and more pieces than fit on a page."""
    settings.FILES_DIR = tmp_path
    owner = world.shop.__class__.objects.create(code="QUIL", name=LONG)
    rack = world.place("Rack with the very long name that somebody once gave it in the toolroom")
    roll = world.drawing("1472-01-T1", bore_nm=60 * MM, outside_diameter_nm=150 * MM)
    pieces = [world.piece(roll, rack, mark="1472-01-T1", owner=owner) for _n in range(60)]
    world.stock(world.drawing("SP 60 x 25", kind="spacer", bore_nm=60 * MM), rack, 3)
    mill = world.mill("M1")
    tool_set = world.tool_set("1472", {(1, "top", 1): roll, (1, "side", 1): roll})
    world.copy(tool_set, "A", {(1, "top", 1): pieces[0]}, home=rack)
    chart = world.chart(tool_set, mill)
    crew = cast["crew"]
    stopped = holds.stop(by=crew, at=world.at, piece=pieces[1], what="chipped", note=LONG)
    photo = SimpleUploadedFile("a.png", a_png())
    picture = pictures.keep(
        by=crew, at=world.at, upload=photo, piece=pieces[1], incident=stopped, caption=LONG
    )
    return {
        "piece": pieces[0].code, "rack": rack.code, "chart": chart.pk, "held": pieces[1].code,
        "incident": stopped.pk, "picture": picture.pk,
    }  # fmt: skip


def test_no_page_scrolls_sideways_and_axe_finds_nothing(
    filled: dict[str, object], cast: dict[str, Person], open_as: Open
) -> None:
    page = open_as(cast["supervisor"], "/shop/", viewport=PHONE, bypass_csp=True)
    found: list[tuple[str, object]] = []
    for path in PAGES:
        page.goto(path.format(**filled))
        for screen, scheme in LOOKS:
            page.set_viewport_size(screen)
            page.emulate_media(color_scheme=scheme)
            if wide := wider_than_the_screen(page):
                found.append((path, f"{wide} px too wide"))
            if screen == PHONE or path in PAGES[:3]:
                found += [(path, problem) for problem in accessibility_problems(page)]
        page.set_viewport_size(PHONE)
        page.emulate_media(color_scheme="light")
    assert found == []
    assert Place.objects.exists()

"""The crew's pages of a setup on a phone and a tablet: reachable, large, in order."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.axe import unfit
from tests.browser.conftest import PHONE, TABLET
from tests.setting_up import SettingUp
from tests.world import MM, World
from tooling.models import Characteristic, Person
from tooling.services import as_set, mounting, setups

SCREENS = {"phone": PHONE, "tablet": TABLET}


def test_the_pages_are_within_reach(
    world: World, cast: dict[str, Person], open_as: Callable[..., Page]
) -> None:
    crew = cast["crew"]
    shop = SettingUp(world, crew)
    Characteristic.objects.create(tool_set=shop.set, name="Width", least_nm=MM, most_nm=2 * MM)
    setup = shop.start()
    mounting.mount(by=crew, at=world.at, setup=setup, station=1, shaft="top")
    as_set.set_as_target(by=crew, at=world.at, setup=setup, station=1)
    setups.hand_over(by=cast["attendant"], at=world.at, setup=setup, note="Mind the tilt.")
    url = f"/setups/{shop.kit.number}/"
    page = open_as(crew, url, viewport=PHONE, bypass_csp=True)
    for path in ("", "stations/1/", "stations/1/gaps/", "stations/1/bottom/without/", "checks/"):
        page.goto(f"{url}{path}")
        expect(page.locator("h1")).to_be_visible()
        assert unfit(page, least=72) == [], path


def test_a_station_is_read_at_a_metre_and_tapped_without_scrolling(
    world: World, cast: dict[str, Person], open_as: Callable[..., Page]
) -> None:
    shop = SettingUp(world, cast["crew"])
    shop.start()
    page = open_as(cast["crew"], f"/setups/{shop.kit.number}/stations/1/", viewport=TABLET)
    sizes = page.locator(".mount-stack .what").evaluate_all(
        "all => all.map(each => parseFloat(getComputedStyle(each).fontSize))"
    )
    assert min(sizes) >= 28
    for shaft in ("top", "bottom"):
        box = page.locator(f"#shaft-{shaft} .on-the-shaft").bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= TABLET["height"]

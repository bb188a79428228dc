"""What hands, ears and eyes get from the Scan page, as the browser is asked for it: a motor and a
sound card that write down what they are told, a camera with a lamp."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.line import Line
from tests.browser.phone import Phone, first_row, go_into, log_in, wedge
from tests.world import World
from tooling.engineering.codes import make_code
from tooling.models import Person, Place

CAMERAS = (
    "--use-fake-device-for-media-stream=device-count=2",
    "--use-fake-ui-for-media-stream",
)
HEARD = """() => {
  window.buzzed = []; window.heard = [];
  navigator.vibrate = (pattern) => window.buzzed.push(pattern.join("-"));
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...when) {
    window.heard.push(Math.round(this.frequency.value));
    return start.apply(this, when);
  };
}"""
LAMP = """() => {
  window.lamp = [];
  MediaStreamTrack.prototype.getCapabilities = () => ({ torch: true });
  MediaStreamTrack.prototype.applyConstraints = async function ({ advanced: [{ torch }] }) {
    window.lamp.push(torch);
  };
}"""


OWN_READER = """(code) => {
  window.BarcodeDetector = class {
    static async getSupportedFormats() { return ["qr_code"]; }
    async detect({ videoWidth: wide, videoHeight: high }) {
      const corner = (x, y) => ({ x: wide * x, y: high * y });
      const cornerPoints = [corner(.4, .4), corner(.6, .4), corner(.6, .6), corner(.4, .6)];
      return [{ rawValue: code, cornerPoints }];
    }
  };
}"""


def once(script: str) -> str:
    return f"({script})()"


def test_each_answer_has_its_own_sound_buzz_and_colour(
    world: World, open_as: Callable[..., Page], cast: dict[str, Person], rack: Place
) -> None:
    piece = world.piece(world.drawing("D1"), world.place("Rack A"))
    page = open_as(cast["attendant"], "/scan/")
    page.evaluate(HEARD)
    flash = page.locator("[data-flash]")
    go_into(page, rack.code, "Rack B")
    expect(flash).to_have_attribute("data-kind", "context")
    wedge(page, piece.code)
    expect(first_row(page)).to_contain_text("is in Rack B.")
    expect(flash).to_have_attribute("data-kind", "taken")
    box = flash.bounding_box()
    view = page.viewport_size
    assert box is not None
    assert view is not None
    assert (box["width"], box["height"]) == (view["width"], view["height"])
    wedge(page, piece.code)
    expect(flash).to_have_attribute("data-kind", "again")
    strange = make_code("R", 34**5)
    assert strange is not None
    wedge(page, strange)
    expect(flash).to_have_attribute("data-kind", "refused")
    assert page.evaluate("window.buzzed") == ["60-40-60", "50", "30-60-30", "250-80-250"]
    assert page.evaluate("window.heard") == [520, 780, 1040, 660, 660, 170]
    expect(flash).to_be_hidden()


def test_the_camera_chosen_and_whether_it_stays_on_are_remembered_and_the_lamp_goes_on(
    phone: Phone, line: Line, cast: dict[str, Person], rack: Place
) -> None:
    page = phone.start(*CAMERAS)
    page.add_init_script(once(LAMP))
    log_in(page, line, cast["attendant"])
    opens, which = page.locator("[data-camera-open]"), page.locator("[data-camera-which]")
    torch = page.get_by_role("button", name="Torch")
    opens.click()
    expect(page.locator("[data-camera-said]")).to_have_text("Hold the label in the middle.")
    expect(which.locator("option")).to_have_count(2)
    other = which.locator("option:not(:checked)").get_attribute("value")
    which.select_option(other)
    expect(which).to_have_value(other or "")
    page.locator("[data-camera-stays]").uncheck()
    expect(page.locator("#scan-field")).to_be_focused()
    torch.click()
    expect(torch).to_have_attribute("aria-pressed", "true")
    torch.click()
    expect(torch).to_have_attribute("aria-pressed", "false")
    assert page.evaluate("window.lamp") == [True, False]
    page.get_by_role("button", name="Close camera").click()
    page.reload()
    opens.click()
    expect(which.locator("option")).to_have_count(2)
    expect(which).to_have_value(other or "")
    expect(page.locator("[data-camera-stays]")).not_to_be_checked()


def test_the_kit_page_leads_to_its_camera_where_the_browsers_own_reader_reads_too(
    world: World, phone: Phone, line: Line, cast: dict[str, Person], rack: Place
) -> None:
    piece = world.piece(world.drawing("D1"), world.place("Rack A"))
    page = phone.start(*CAMERAS)
    log_in(page, line, cast["attendant"])
    page.goto(f"/scan/?to={rack.code}#camera")
    expect(page.locator("[data-context-name]")).to_have_text("Rack B")
    expect(page.locator("[data-camera-said]")).to_have_text("Hold the label in the middle.")
    page.get_by_role("button", name="Close camera").click()
    page.evaluate(OWN_READER, piece.code)
    page.get_by_role("button", name="Camera").click()
    expect(first_row(page)).to_contain_text("is in Rack B.")

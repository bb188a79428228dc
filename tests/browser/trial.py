"""Two trial shops with their own words and units, and the hands that work in them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Locator, Page, expect

SHEETS = Path(__file__).parents[2] / "fixtures" / "trial"


@dataclass(frozen=True)
class Trial:
    """A shop as its sheets tell it; what its engineer must say about them; the job to run."""

    files: tuple[Path, ...]
    mapping: tuple[tuple[str, str, str], ...]
    """(sheet, label of a choice, option) for each choice that the headings leave open."""

    pieces: int
    positions: int
    bins: int
    tool_set: str
    mill: str
    cart: str
    cart_name: str
    rack: str
    strip: dict[str, str] = field(default_factory=dict)
    damaged: str = ""
    unreadable: str = ""
    stranger: str = ""


HARROW_BEND = Trial(
    files=(SHEETS / "harrow_bend.xlsx",),
    mapping=(
        ("Roll book", "What Etch'd stands for", "Mark"),
        ("Collars", "What Collar stands for", "Drawing"),
    ),
    pieces=11,
    positions=18,
    bins=1,
    tool_set="DE-220",
    mill="TB-5",
    cart="Crib / Buggy 2",
    cart_name="Buggy 2",
    rack="Crib / Blue rack / Upper level",
    strip={"thickness_nm": "0.024 in", "width_nm": "4 1/8 in", "strip_length": "3200 ft"},
    damaged="2U*220",
    unreadable="4L*220",
    stranger="3U*220 spare",
)
TANNWERK = Trial(
    files=tuple(sorted(SHEETS.glob("tannwerk_*.csv"))),
    mapping=(
        ("tannwerk_line", "What Dims stands for", "Unit"),
        ("tannwerk_line", "What Pitch of stands stands for", "Centre to next"),
        ("tannwerk_line", "What C/L to shoulder stands for", "Shoulder offset"),
        ("tannwerk_passes", "What Tool no stands for", "Piece"),
        ("tannwerk_rolls", "What Gravur stands for", "Mark"),
        ("tannwerk_rolls", "Decimals are written with", "a comma"),
        ("tannwerk_rolls", "Dates are written", "day, month, year"),
        ("tannwerk_setup", "What Stage stands for", "Pass"),
    ),
    pieces=10,
    positions=16,
    bins=1,
    tool_set="48",
    mill="PL2",
    cart="Halle 2 / Wagen 4",
    cart_name="Wagen 4",
    rack="Halle 2 / Regal Süd / Fach 1",
    strip={"thickness_nm": "0,8 mm", "width_nm": "97,5 mm", "strip_length": "2400 m"},
    damaged="48/2 oben",
    unreadable="48/3 unten",
    stranger="48/4 oben II",
)


class Hands:
    """One person at one screen; every tap and every scan is counted."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.taps = 0
        self.scans = 0

    def tap(self, target: Locator) -> None:
        self.taps += 1
        target.click()

    def scan(self, code: str) -> None:
        """A wedge types where the focus is and ends with Enter, once the page is there."""
        self.scans += 1
        self.page.wait_for_load_state()  # before, the keys go to a page half built
        self.page.keyboard.type(code)
        self.page.keyboard.press("Enter")

    def enter(self, code: str, name: str) -> None:
        self.scan(code)
        expect(self.page.locator("[data-context-name]")).to_have_text(name)

    def put(self, code: str) -> None:
        """A scan into the place of the moment; done when its row says so."""
        self.scan(code)
        row = self.page.locator(f'[data-rows] > li[data-code="{code}"][data-status="taken"]')
        expect(row.first).to_be_attached()

    def counted(self, act: Callable[[], None]) -> tuple[int, int]:
        """(taps, scans) that an act takes."""
        taps, scans = self.taps, self.scans
        act()
        return self.taps - taps, self.scans - scans

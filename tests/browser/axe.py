"""axe-core on an open page; its context must be made with ``bypass_csp=True``."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from playwright.sync_api import Page, ViewportSize

from tests.browser.screens import PHONE, TABLET

SCRIPT = Path(__file__).parents[1] / "vendor" / "axe" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
COLOURS = ["color-contrast", "link-in-text-block"]
"""Of these, the ones that look at colours: ``axe.getRules(["cat.color"])``."""
Scheme = Literal["light", "dark"]
SCHEMES: tuple[Scheme, ...] = ("light", "dark")
Look = tuple[ViewportSize, Scheme]
LOOKS: tuple[Look, ...] = ((PHONE, "light"), (TABLET, "dark"))


def unfit(page: Page, *looks: Look, least: int = 48, besides: str = "nothing") -> list[str]:
    """What somebody could not use or read of the open page, seen on one screen after the other
    without loading it anew: what axe says, too wide, targets lower than ``least`` pixels, except
    those with the text ``besides`` in them. The page is left as it was seen first.

    A dark page differs from a light one in its colours only (``tests/web/test_look.py`` holds
    that), so on the same screen the second scheme is asked for its colours.
    """
    looks = looks or LOOKS
    found: list[str] = []
    seen: list[int] = []
    for screen, scheme in looks:
        _look(page, (screen, scheme))
        said = accessibility_problems(page, COLOURS if screen["width"] in seen else RULES)
        if (wide := wider_than_the_screen(page)) > 0:
            said.append(f"{wide} px too wide")
        said += [small for small in small_targets(page, least=least) if besides not in small]
        found += [f"{screen['width']} px, {scheme}: {each}" for each in said]
        seen.append(screen["width"])
    _look(page, looks[0])
    return found


def _look(page: Page, look: Look) -> None:
    screen, scheme = look
    page.set_viewport_size(screen)
    page.emulate_media(color_scheme=scheme)


def accessibility_problems(page: Page, rules: list[str] = RULES) -> list[str]:
    """What breaks WCAG 2.2 AA or good practice: rule, element, why. Empty when nothing does."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(SCRIPT.read_text())
    asked = {"runOnly": rules, "resultTypes": ["violations"]}  # what is right is not told in full
    found = page.evaluate("asked => axe.run(asked)", asked)
    return [
        f"{broken['id']}: {node['html'][:120]} {node['failureSummary']}"
        for broken in found["violations"]
        for node in broken["nodes"]
    ]


def wider_than_the_screen(page: Page) -> int:
    """By how many pixels the page would have to be moved sideways; 0 is right."""
    return page.evaluate("document.documentElement.scrollWidth - window.innerWidth")


def small_targets(page: Page, *, least: int = 48) -> list[str]:
    """Buttons, links and fields lower than ``least`` pixels; links inside sentences excepted."""
    return page.evaluate(
        """least => [...document.querySelectorAll("a, button, summary, select, textarea, "
             + "input:not([type=hidden], [type=checkbox], [type=radio]), label.tick")]
           .filter(e => e.checkVisibility() && !e.closest("p, .skip, .crumbs"))
           .filter(e => e.getBoundingClientRect().height < least - 0.5)
           .map(e => Math.round(e.getBoundingClientRect().height) + " px: "
             + e.outerHTML.slice(0, 100))""",
        least,
    )

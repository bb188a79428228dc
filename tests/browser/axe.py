"""axe-core on an open page; its context must be made with ``bypass_csp=True``."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

SCRIPT = Path(__file__).parents[1] / "vendor" / "axe" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def accessibility_problems(page: Page) -> list[str]:
    """What breaks WCAG 2.2 AA or good practice: rule, element, why. Empty when nothing does."""
    page.evaluate(SCRIPT.read_text())
    asked = {"runOnly": RULES, "resultTypes": ["violations"]}  # what is right is not told in full
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

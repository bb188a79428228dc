"""Regrind plans of 30 passes with 8 pieces each, proven: the engine against its limit; and the
demo's set with the most passes in a real browser, from the button to the plan on screen.

Baseline in the same run: the same question put whole to SciPy's integer solver.
"""

from __future__ import annotations

import json
import os
import shutil
import statistics
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.bench.build import Built
from tests.bench.clock import Figure
from tests.browser.conftest import FLAGS, TABLET
from tests.demo_server import free_port, manage, rows, running
from tests.engineering.regrind_model import best_by_milp
from tests.engineering.regrind_world import mill
from tooling.engineering.regrinds import Problem
from tooling.engineering.regrinds.engine import solve_regrind

PLAN_S = 1.0
ON_SCREEN_S = 2.0
TIMES = 5
MOST_PASSES = """SELECT s.number || '-' || c.letter, count(DISTINCT p.id) FROM tooling_setcopy c
JOIN tooling_toolset s ON s.id = c.tool_set_id JOIN tooling_setpass p ON p.tool_set_id = s.id
JOIN tooling_allotment a ON a.copy_id = c.id GROUP BY c.id ORDER BY 2 DESC, 1 LIMIT 1"""
CASES: tuple[tuple[str, dict[str, float]], ...] = (
    ("wear only", {}),
    ("most worn", {"worn": 0.6}),
    ("a third nearly used up", {"tight": 0.3}),
    ("with prices", {"priced": True}),
    ("with prices, a third nearly used up", {"tight": 0.3, "worn": 0.6, "priced": True}),
    ("a third nearly used up, none replaced", {"tight": 0.3, "new": False}),
)


def regrind(built: Built) -> list[Figure]:
    """The slowest of three sets by case, how many were not proven, and the baseline."""
    figures: list[Figure] = []
    for name, made in CASES:
        problems = [mill(seed, **made) for seed in (1, 2, 3)]  # type: ignore[arg-type]
        told = [_timed(problem) for problem in problems]
        figures.append(Figure(f"{name}: slowest of 3", max(each[0] for each in told), "s", PLAN_S))
        figures.append(Figure(f"{name}: not proven", sum(not each[1] for each in told), "", 0))
        began = time.perf_counter()
        best_by_milp(problems[0])
        figures.append(Figure(f"{name}: SciPy, one of them", time.perf_counter() - began, "s"))
    return [*figures, *on_screen()]


def on_screen() -> list[Figure]:
    """The demo drawn up, served, and its longest set planned in a browser, one time after the
    other; the first pays for what the server has not read yet and is told apart."""
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"  # Playwright's loop runs in this thread
    with tempfile.TemporaryDirectory() as kept:
        folder = Path(kept)
        began = time.perf_counter()
        done = manage(folder, "demo", "--prepare-only", "--data-dir", kept)
        if done.returncode:
            raise RuntimeError(done.stderr[-2_000:])
        drawn = time.perf_counter() - began
        ((copy, passes),) = rows(folder, MOST_PASSES)
        arguments = ("demo", "--data-dir", kept, "--port", str(free_port()))
        with running(folder, *arguments) as (_process, address), sync_playwright() as play:
            chromium = play.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
            page = chromium.new_page(viewport=TABLET, base_url=address)
            who = json.loads((folder / "logins.json").read_text())["engineer"]
            _log_in(page, who["user"], who["password"])
            first, *others = [_planned(page, copy) for _time in range(TIMES + 1)]
            chromium.close()
    what = f"demo's {passes}-pass set, button to plan on screen"
    return [
        Figure("demo drawn up", drawn, "s"),
        Figure(f"{what}: first after the start", first, "s"),
        Figure(f"{what}: median of {TIMES}", statistics.median(others), "s", ON_SCREEN_S),
        Figure(f"{what}: slowest of {TIMES}", max(others), "s"),
    ]


def _log_in(page: Page, user: str, password: str) -> None:
    page.goto("/login/")
    page.locator("input[name=username]").fill(user)
    page.locator("input[name=password]").fill(password)
    page.locator("main button").first.click()
    page.wait_for_load_state()


def _planned(page: Page, copy: str) -> float:
    page.goto(f"/regrinds/plans/new/?copy={copy}")
    began = time.perf_counter()
    page.locator("main button.first").click()
    page.locator("tr[data-kind=cut]").first.wait_for()
    return time.perf_counter() - began


def _timed(problem: Problem) -> tuple[float, bool]:
    began = time.perf_counter()
    solved = solve_regrind(problem)
    took = time.perf_counter() - began
    return took, solved.status == "infeasible" or bool(solved.plan and solved.plan.is_proven)

"""Spacer stacks of a whole mill: the engine against its limits and against one direct model.

24 stations, two shafts each, up to three fills per shaft, 40 lengths, 1,500 spacers.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time

from tests.bench.build import Built
from tests.bench.clock import Figure
from tests.bench.stack_run import OWN_S, POOLED_S, Case
from tests.engineering.stack_model import direct

LOADS = (0.6, 0.85, 1.1)
OWN_LOADS = (0.6, 0.85, 1.1)
MOST_MB = 500
GAP_MOST = 1.0
DIRECT_S = (20.0, 10.0, 30.0)
"""A minute for the direct model: shafts, shims, spacers."""


def stacks(built: Built) -> list[Figure]:
    """Seconds, shafts beyond the bound and pieces above it, memory, growth, the direct model."""
    rows: list[Figure] = []
    took = {}
    for case in [*(Case(load) for load in LOADS), *(Case(load, own=True) for load in OWN_LOADS)]:
        told = _alone(case)
        took[case] = told["seconds"]
        rows += _limits(case, told)
        if not case.own:
            rows += _against_direct(case, told)
    for size in (0.5, 2.0):
        told = _alone(Case(0.6, size=size))
        rows.append(Figure(f"load 0.6, size × {size:g}", told["seconds"], "s"))
        ratio = told["seconds"] / took[Case(0.6)]
        rows.append(Figure(f"load 0.6, size × {size:g} / its own time", ratio, "×"))
    return rows


def _limits(case: Case, told: dict[str, float]) -> list[Figure]:
    limit = OWN_S if case.own else POOLED_S
    return [
        Figure(f"{case.name}: time", told["seconds"], "s", limit),
        Figure(f"{case.name}: processor", told["processor"], "s"),
        Figure(f"{case.name}: shafts not completed", told["uncompleted"], ""),
        Figure(f"{case.name}: of these not proven", told["uncompleted_gap"], "", 0),
        Figure(f"{case.name}: shims and spacers", told["pieces"], ""),
        Figure(f"{case.name}: pieces above the bound", told["pieces_gap"], "%", GAP_MOST),
        Figure(f"{case.name}: most memory", told["mb"], "MB", MOST_MB),
    ]


def _against_direct(case: Case, told: dict[str, float]) -> list[Figure]:
    """No fewer shafts and, with as many shafts, no more pieces than the direct model."""
    began = time.perf_counter()
    (uncompleted, shims, spacers), _proven = direct(case.problem(), DIRECT_S)
    rows = [Figure(f"{case.name}: direct model, time", time.perf_counter() - began, "s")]
    if uncompleted is None:
        return [*rows, Figure(f"{case.name}: direct model found nothing", 1, "")]
    rows.append(Figure(f"{case.name}: direct model, shafts not completed", uncompleted, ""))
    fewer = max(0, told["uncompleted"] - uncompleted)
    rows.append(Figure(f"{case.name}: shafts fewer than the direct model", fewer, "", 0))
    if uncompleted == told["uncompleted"] and shims is not None and spacers is not None:
        more = max(0, told["pieces"] - shims - spacers)
        rows.append(Figure(f"{case.name}: direct model, pieces", shims + spacers, ""))
        rows.append(Figure(f"{case.name}: pieces more than the direct model", more, "", 0))
    return rows


def _alone(case: Case) -> dict[str, float]:
    """The figures of one case in a process of its own, so that its memory is its own."""
    command = [sys.executable, "-m", "tests.bench.stack_run", f"{case.load}", f"{case.size}"]
    done = subprocess.run(
        [*command, *(["own"] if case.own else [])], check=True, stdout=subprocess.PIPE, text=True
    )
    told: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return told

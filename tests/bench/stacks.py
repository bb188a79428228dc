"""Spacer stacks of a whole mill: the engine against its limits and against one direct model.

24 stations, two shafts each, up to three fills per shaft, 40 lengths, 1,500 spacers.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from typing import Any

from tests.bench.build import Built
from tests.bench.clock import Figure
from tests.bench.stack_run import OWN_S, POOLED_S, Case
from tests.engineering.stack_model import Direct

LOADS = (0.6, 0.85, 1.1)
OWN_LOADS = (0.6, 0.85, 1.1)
MOST_MB = 500
GAP_MOST = 1.0
DIRECT_S = 60.0
"""A minute for the direct model by itself, and another one from the engine's answer on."""


def stacks(built: Built) -> list[Figure]:
    """Seconds, shafts beyond the bound and pieces above it, memory, growth, the direct model."""
    rows: list[Figure] = []
    took = {}
    for case in [*(Case(load) for load in LOADS), *(Case(load, own=True) for load in OWN_LOADS)]:
        told = _alone(case)
        took[case] = told["processor"]
        rows += _limits(case, told)
        if not case.own:
            rows += _against_direct(case, told)
    for size in (0.5, 2.0):
        told, name = _alone(Case(0.6, size=size)), f"load 0.6, size × {size:g}"
        ratio = told["processor"] / took[Case(0.6)]
        rows += [
            Figure(f"{name}: time", told["seconds"], "s"),
            Figure(f"{name}: processor", told["processor"], "s"),
            Figure(f"{name}: processor / that of its own size", ratio, "×"),
            Figure(f"{name}: shafts not completed, not proven", told["uncompleted_gap"], ""),
            Figure(f"{name}: pieces above the bound", told["pieces_gap"], "%"),
        ]
    return rows


def _limits(case: Case, told: dict[str, Any]) -> list[Figure]:
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


def _against_direct(case: Case, told: dict[str, Any]) -> list[Figure]:
    """No fewer shafts than the direct model finds by itself, and no more pieces than it finds when
    it begins with the engine's answer."""
    name = f"{case.name}: direct model"
    began = time.perf_counter()
    model = Direct(case.problem())
    uncompleted, _proven = model.least("uncompleted", DIRECT_S)
    rows = [Figure(f"{name}, time", time.perf_counter() - began, "s")]
    if uncompleted is None:
        uncompleted = len(model.done)
    rows.append(Figure(f"{name}, shafts not completed", uncompleted, ""))
    fewer = max(0, told["uncompleted"] - uncompleted)
    rows.append(Figure(f"{case.name}: shafts fewer than the direct model", fewer, "", 0))
    best = _from_answer(case, told)
    rows.append(Figure(f"{name} from the answer on, pieces", best, ""))
    more = max(0, told["pieces"] - best)
    rows.append(Figure(f"{case.name}: pieces more than the direct model", more, "", 0))
    return rows


def _from_answer(case: Case, told: dict[str, Any]) -> int:
    """The fewest pieces that the direct model finds for as many shafts, in its time."""
    model = Direct(case.problem())
    model.hold("uncompleted", told["uncompleted"])
    answer = {(number, which): fills for number, which, fills in told["stacks"]}
    pieces, _proven = model.least("pieces", DIRECT_S, answer)
    if pieces is None:
        raise RuntimeError(f"{case.name}: the direct model does not take the engine's answer")
    return pieces


def _alone(case: Case) -> dict[str, Any]:
    """The figures of one case in a process of its own, so that its memory is its own."""
    words = ["own"] if case.own else []
    command = [sys.executable, "-m", "tests.bench.stack_run", f"{case.load}", f"{case.size}"]
    done = subprocess.run([*command, *words, "full"], check=True, stdout=subprocess.PIPE, text=True)
    told: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return told

"""One mill's stacks in a process of its own: ``python -m tests.bench.stack_run LOAD SIZE [own]``.

Prints the figures as one JSON object. More words: ``busy`` counts the processor's seconds against
the limit, where others share the machine; ``full`` prints the stacks too, on the last line.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.engineering.stack_shop import shop
from tooling.engineering.stacks import Problem
from tooling.engineering.stacks.engine import solve_stacks

SEED = 3
POOLED_S, OWN_S = 5.0, 10.0


@dataclass(frozen=True)
class Case:
    """One mill; ``size`` multiplies stations and spacers."""

    load: float
    own: bool = False
    size: float = 1.0

    def problem(self) -> Problem:
        return shop(
            stations=round(24 * self.size), lengths=40, spacers=round(1_500 * self.size),
            load=self.load, own=self.own, seed=SEED,
        )  # fmt: skip

    @property
    def name(self) -> str:
        return f"load {self.load:g}{', own widths' if self.own else ''}"


def measure(case: Case, clock: Callable[[], float] = time.perf_counter) -> dict[str, Any]:
    problem = case.problem()
    limit = OWN_S if case.own else POOLED_S
    start, began, busy = clock(), time.perf_counter(), time.process_time()

    def spent() -> float:
        return (clock() - start) / (0.9 * limit)

    found = solve_stacks(problem, make=False, should_stop=lambda: spent() > 1.0, spent=spent)
    took, busy = time.perf_counter() - began, time.process_time() - busy
    pieces, least = sum(found.figures[3:5]), sum(each or 0 for each in found.bound[3:5])
    return {
        "seconds": took,
        "processor": busy,
        "uncompleted": found.figures[0],
        "uncompleted_gap": found.figures[0] - (found.bound[0] or 0),
        "pieces": pieces,
        "pieces_gap": 100 * (pieces - least) / max(1, least),
        "stacks": [
            [shaft.station, shaft.shaft, {fill.fill: fill.pieces for fill in shaft.fills}]
            for shaft in found.shafts
        ],
        "mb": most_mb(),
    }


def most_mb() -> float:
    """The most memory of this process. Linux tells ``ru_maxrss`` of the parent before the start
    too, so the kernel's own mark of this program is read where there is one."""
    try:
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    load, size, *words = sys.argv[1:]
    case = Case(float(load), "own" in words, float(size))
    told = measure(case, time.process_time if "busy" in words else time.perf_counter)
    print(json.dumps({name: figure for name, figure in told.items() if name != "stacks"}))
    if "full" in words:
        print(json.dumps(told))

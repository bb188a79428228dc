"""What nobody measured, and whether another plausible value of it would change the plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from tooling.engineering.regrinds.answer import Unmeasured
from tooling.engineering.regrinds.least import Amounts, Search
from tooling.engineering.regrinds.model import Model, driver

AS_MADE_NM = 25_000
"""An unmeasured diameter is taken to lie so near its drawing, each way; from memory, no source."""


def unmeasured(
    search: Search, new: frozenset[int], found: Amounts, should_stop: Callable[[], bool]
) -> tuple[Unmeasured, ...]:
    """Those that would change it first. With the pieces that are replaced as they were chosen."""
    told = [*_depths(search.model, new), *_drives(search, new, found, should_stop)]
    return tuple(sorted(told, key=lambda each: (not each.changes, each.piece, each.what)))


def _depths(model: Model, new: frozenset[int]) -> Iterator[Unmeasured]:
    """Wear that was never read: with a limit it may ask for a cut, or for a deeper one."""
    for n, facts in enumerate(model.facts):
        for point in facts.piece.points:
            never = point.depth_nm is None or not point.is_read
            if never and n not in new and facts.piece.in_plan:
                yield Unmeasured(facts.piece.name, point.name, point.limit_nm is not None)


def _drives(
    search: Search, new: frozenset[int], found: Amounts, should_stop: Callable[[], bool]
) -> Iterator[Unmeasured]:
    model = search.model
    at = {piece.name: n for n, piece in enumerate(model.problem.pieces)}
    runs = [run for line in model.problem.lines for one in line.passes
            for run in (one.top, one.bottom)]  # fmt: skip
    names = dict.fromkeys(name for run in runs if (name := driver(model.problem, run)))
    stopped = False
    for name in names:
        drive = model.problem.by_name[name].drive
        if drive is not None and drive.uncertainty_nm is None and at[name] not in new:
            stopped = stopped or should_stop()
            changes = not stopped and any(
                _decided(_with(search, at[name], off), new) != found.off_nm
                for off in (-AS_MADE_NM, AS_MADE_NM)
            )
            yield Unmeasured(name, "drive diameter", changes)


def _decided(search: Search, new: frozenset[int]) -> tuple[int, ...] | None:
    found = search.least(new)
    return found.off_nm if isinstance(found, Amounts) else None


def _with(search: Search, n: int, off_nm: int) -> Search:
    """The same where this piece is so much larger: speeds and ratios see it, contours do not."""
    model = search.model
    arcs = tuple(
        replace(arc, least=arc.least + off_nm * (
            (arc.target if arc.second == n else 0) - (arc.source if arc.first == n else 0)))
        if n in (arc.first, arc.second) and model.requirements[arc.requirement].kind != "contour"
        else arc
        for arc in model.arcs
    )  # fmt: skip
    return Search(replace(model, arcs=arcs), search.should_stop)

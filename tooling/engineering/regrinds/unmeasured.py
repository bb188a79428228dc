"""What nobody measured, and whether another plausible value of it would change the plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from tooling.engineering.regrinds.answer import Unmeasured
from tooling.engineering.regrinds.least import Amounts, Search
from tooling.engineering.regrinds.model import Arc, Model, driver

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
                _changes(search, new, found, at[name], off) for off in (-AS_MADE_NM, AS_MADE_NM)
            )
            yield Unmeasured(name, "drive diameter", changes)


def _changes(search: Search, new: frozenset[int], found: Amounts, n: int, off_nm: int) -> bool:
    """Whether the amounts would be others. Worked out anew only where a requirement of the piece
    asks for more than is taken off, or no longer for all of it."""
    asks_less = False
    for arc in _of_piece(search.model, n):
        has = found.off_nm[arc.second]
        domain = search.domain(arc.second, arc.second in new)
        before, after = (
            domain.up(-(-(arc.source * found.off_nm[arc.first] + least) // arc.target))
            for least in (arc.least, arc.least + _shift(arc, n, off_nm))
        )
        if after is None or after > has:
            return True
        asks_less = asks_less or (before == has and after < has)
    return asks_less and _decided(_with(search, n, off_nm), new) != found.off_nm


def _of_piece(model: Model, n: int) -> list[Arc]:
    """What it has to do with others by its drive diameter: contours see no diameter."""
    return [
        arc for arc in model.arcs
        if n in (arc.first, arc.second) and model.requirements[arc.requirement].kind != "contour"
    ]  # fmt: skip


def _shift(arc: Arc, n: int, off_nm: int) -> int:
    """By how much more it asks for, when the piece is so much larger."""
    return off_nm * ((arc.target if arc.second == n else 0) - (arc.source if arc.first == n else 0))


def _decided(search: Search, new: frozenset[int]) -> tuple[int, ...] | None:
    found = search.least(new)
    return found.off_nm if isinstance(found, Amounts) else None


def _with(search: Search, n: int, off_nm: int) -> Search:
    """The same where this piece is so much larger."""
    model = search.model
    touched = {id(arc) for arc in _of_piece(model, n)}
    arcs = tuple(
        replace(arc, least=arc.least + _shift(arc, n, off_nm)) if id(arc) in touched else arc
        for arc in model.arcs
    )
    return Search(replace(model, arcs=arcs), search.should_stop)

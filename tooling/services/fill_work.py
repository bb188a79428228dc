"""Working out what fills the shafts. Only the worker comes here: it loads the solver."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from tooling.engineering.stacks.answer import Stacks
from tooling.engineering.stacks.engine import solve_stacks
from tooling.models import Kit, Person
from tooling.permissions import Verb, check_can
from tooling.queries.fill_problem import fill_problem
from tooling.services.fills import fresh, write_answer

SOLVED = 0.95
"""The share of the work that is done when the computation is; the rest is writing."""
CHOSEN = 0.8 * SOLVED
"""The share that is done when the stacks are chosen, and what to make is still open."""


def nothing_asked() -> None:
    """Nobody stops it."""


def fill_shafts(
    *, by: Person, at: datetime, kit: Kit,
    progress: Callable[[float], None] = lambda share: None,
    should_stop: Callable[[], bool] = lambda: False,
    spent: Callable[[], float] = lambda: 0.0,
    check: Callable[[], None] = nothing_asked,
) -> Stacks:  # fmt: skip
    """Fill every shaft of the kit from stock, as far as that goes, and write it to the kit.

    ``should_stop``: time is up, the best that was found is taken; ``spent``: what part of the time
    to choose has gone, so that bounds get their share; ``check`` raises where somebody stopped the
    work. Raises as ``fill_problem`` and ``write_answer``.
    """
    check_can(by, Verb.GATHER_KITS)
    given = fill_problem(fresh(kit), at=at)
    answer = solve_stacks(
        given.problem,
        progress=lambda share, _said: progress(SOLVED * share),
        should_stop=should_stop,
        spent=spent,
    )
    check()
    write_answer(by=by, at=at, given=given, answer=answer)
    return answer

"""``compute feelers``: GO and NO-GO packs for a gap from the shop's own leaves."""

from __future__ import annotations

from typing import Any

from tooling.engineering.compute.answers import Answer, Computation
from tooling.engineering.compute.schemas import INTEGER, length, many, maybe, obj
from tooling.engineering.feelers import Pack, packs

INPUT = obj(
    ["gap_nm", "below_nm", "above_nm", "leaves_nm"],
    gap_nm=length("What the feeler is to see."),
    below_nm=length("How much less is allowed.", least=0),
    above_nm=length("How much more is allowed."),
    leaves_nm=many(length("One leaf of the set."), most=100) | {"uniqueItems": True},
)
PACK = obj(["leaves_nm", "total_nm"], leaves_nm=many(INTEGER), total_nm=INTEGER)
ANSWER = obj(
    ["method", "go", "no_go"],
    method={"enum": ["feelers", "other"]},
    go=maybe(PACK),
    no_go=maybe(PACK),
)


def solve(given: dict[str, Any]) -> Answer:
    """The packs, or ``other``: a strip sample, a plug or solder."""
    found = packs(**given)
    answer = {"method": found.method, "go": _told(found.go), "no_go": _told(found.no_go)}
    return Answer(answer, (found.step,), status="ok" if found.go else "infeasible")


def _told(pack: Pack | None) -> dict[str, Any] | None:
    if pack is None:
        return None
    return {"leaves_nm": list(pack.leaves_nm), "total_nm": pack.total_nm}


COMPUTATION = Computation(
    "feelers",
    "Two packs of at most three leaves that hold a gap inside its window. Status infeasible: the "
    "set has none; use a strip sample, a plug or solder.",
    INPUT,
    ANSWER,
    solve,
)

"""What is left at a gauge point in the strip that comes next, as wide as that strip's factor is
unsure: every page, the API and the state of a kit tell lengths through here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from tooling.engineering.lengths import NM_PER_M
from tooling.engineering.wear import Onto, Prior, strip_class
from tooling.models import WearState
from tooling.queries.planned_strip import Planned

Which = Literal["half", "sure"]
Run = Mapping[str, float]


@dataclass(frozen=True)
class StripLeft:
    """Of one gauge point at one end; lengths in m of cold rolled strip.

    ``half_m`` and ``sure_m``: in strip like that which was read; ``since_m`` ran after the newest
    reading, of what is not known by class, and counts as strip like that ahead. ``onto`` is None
    for what an earlier version told, until the next: then the factor alone turns lengths into a
    class.
    """

    half_m: float | None
    sure_m: float | None
    since_m: float
    onto: Onto | None
    prior: Prior

    def left_m(self, which: Which, run: Run) -> float | None:
        """In strip like this run, nm by class; None where no length can be told."""
        plain = self.half_m if which == "half" else self.sure_m
        if plain is None or self.onto is None:
            return plain
        wide = self.onto.left_m(which, run, self.prior)
        same: float = getattr(self.onto, which)[0]
        return plain if wide == same else max(0.0, wide - self.since_m)

    def left_nm(self, which: Which, kind: str) -> int | None:
        """Of this class of strip alone."""
        left = self.left_m(which, {kind: 1.0})
        return None if left is None else round(left / self.prior.factor(kind) * NM_PER_M)

    def is_sure_of(self, run: Run) -> bool:
        """Whether it is sure to last this run, nm by class; so where no length can be told."""
        left = self.left_m("sure", run)
        return left is None or equivalent_m(run, self.prior) <= left


def strip_left(state: WearState, prior: Prior) -> StripLeft:
    """What a forecast that is kept tells. No query."""
    return strip_left_of(
        state.left_half_m, state.left_sure_m, state.equivalent_m, state.numbers, prior
    )


def strip_left_of(
    half_m: float | None, sure_m: float | None, ran_m: float, numbers: Mapping[str, Any],
    prior: Prior,
) -> StripLeft:  # fmt: skip
    """The same from the columns of one."""
    onto = numbers.get("onto")
    since = ran_m - numbers.get("read_m", ran_m)
    return StripLeft(half_m, sure_m, since, Onto.from_dict(onto) if onto else None, prior)


def equivalent_m(run: Run, prior: Prior) -> float:
    """m of cold rolled strip that wear as much as this run, nm by class."""
    return sum(prior.factor(kind) * run[kind] for kind in sorted(run)) / NM_PER_M


def with_job(run: Run, kind: str, length_nm: float) -> dict[str, float]:
    """A run, and after it so much of this class."""
    plain = strip_class(kind)
    return {**run, plain: run.get(plain, 0.0) + length_nm}


def lasts_until(left: StripLeft, jobs: Sequence[Planned], chosen: str = "") -> datetime | None:
    """When the planned jobs use up what is sure; None where they all fit in, or no length can be
    told. ``chosen``: take all of them for this class."""
    run: dict[str, float] = {}
    for job in jobs:
        after = with_job(run, chosen or job.strip_class, job.length_nm)
        sure = left.left_m("sure", after)
        if sure is None:
            return None
        over = equivalent_m(after, left.prior) - sure
        if over >= 0:
            before = left.left_m("sure", run) if run else sure
            short = max(0.0, (before or 0.0) - equivalent_m(run, left.prior))
            share = short / (short + over) if short else 0.0
            return job.starts_at + timedelta(hours=job.hours * share)
        run = after
    return None

"""What of an order may be released by itself: the pieces that are back and right, while others
are out or are to be put right."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from tooling.engineering.lengths import Unit
from tooling.queries.regrind_order_views import OrderLineView, OrderPage
from tooling.queries.regrind_orders import find_order
from tooling.queries.regrind_release import judge_order, judged_lines
from tooling.queries.release_views import Judged

MOST_NAMED = 6


@dataclass(frozen=True)
class Part:
    """The pieces that are ready, those that stay on the order, and the sets judged with the ready
    ones as they measure and the others as they are now, uncut where they did not come back."""

    ready: tuple[OrderLineView, ...]
    rest: tuple[OrderLineView, ...]
    judged: Judged

    @property
    def rest_names(self) -> str:
        """By mark, else by code; of many the first few."""
        names = [line.mark or line.code for line in self.rest[:MOST_NAMED]]
        return ", ".join([*names, "…"] if len(self.rest) > MOST_NAMED else names)


def part_of(page: OrderPage, *, at: datetime, unit: Unit | None = None) -> Part | None:
    """None where all is ready, or nothing. At most twenty-five queries where there is a part."""
    still = [line for line in page.lines if line.is_open]
    ready = tuple(line for line in page.back if not line.bad)
    if not page.is_open or not ready or len(ready) == len(still):
        return None
    rest = tuple(line for line in still if line not in ready)
    return Part(ready, rest, judge_part(page.number, [line.code for line in ready], at, unit))


def judge_part(
    number: str, codes: Collection[str], at: datetime, unit: Unit | None = None
) -> Judged:
    """What releasing these pieces alone asks. Raises Unknown ``unknown_order``."""
    wanted = {code.strip().upper() for code in codes}
    lines = judged_lines(find_order(number))
    return judge_order([line for line in lines if line.piece.code in wanted], at=at, unit=unit)

"""Into which bins a count that lies on a cart goes back: as it came, by count.

What was taken out of a bin and has not gone back to it belongs there; what is over (made or
received on the cart, taken from a bin that is no more) goes to the nearest storage that holds the
same drawing, condition and owner; the rest has no bin yet.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Q, Sum

from tooling.models import Movement, Place, StockLine, What
from tooling.queries.homes import STORAGE_KINDS


@dataclass(frozen=True)
class GoesBack:
    """So many of a line go to a place; ``came``: that is where they were taken from. No place:
    no bin is known for them."""

    place: Place | None
    count: int
    came: bool


def homes_of_counts(lines: Sequence[StockLine]) -> dict[int, tuple[GoesBack, ...]]:
    """By line id, in walking order; what lies in storage is home. Place must be loaded. Two
    queries at most."""
    found: dict[int, tuple[GoesBack, ...]] = {
        line.pk: (GoesBack(line.place, line.count, False),) for line in lines if _rests(line)
    }
    asked = [line for line in lines if line.count and not _rests(line)]
    if not asked:
        return found
    net, bins = _came_from([line.pk for line in asked]), _bins(asked)
    return found | {line.pk: _back(line, net.get(line.pk, {}), bins[_like(line)]) for line in asked}


def _rests(line: StockLine) -> bool:
    return line.place.kind in STORAGE_KINDS and line.place.is_active


def _came_from(ids: Sequence[int]) -> dict[int, dict[int, int]]:
    """By line, of each line from which some came: how many came more than went back."""
    wanted = set(ids)
    live = Movement.objects.filter(what=What.MOVE, corrected_by=None)
    rows = live.filter(Q(stock_to__in=ids) | Q(stock__in=ids)).order_by()
    net: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for source, target, count in rows.values_list("stock_id", "stock_to_id").annotate(
        n=Sum("quantity")
    ):
        if target in wanted:
            net[target][source] += count
        if source in wanted:
            net[source][target] -= count
    return net


Like = tuple[int, str, int]


def _bins(lines: Sequence[StockLine]) -> Mapping[Like, list[StockLine]]:
    """By drawing, condition and owner the storage bins in walking order."""
    rows = StockLine.objects.filter(
        drawing__in={line.drawing_id for line in lines},
        place__is_active=True,
        place__kind__in=STORAGE_KINDS,
    ).select_related("place")
    found: dict[Like, list[StockLine]] = defaultdict(list)
    for row in rows.order_by("place__walking_order", "place__path", "code"):
        found[_like(row)].append(row)
    return found


def _like(line: StockLine) -> Like:
    return (line.drawing_id, line.condition, line.owner_id)


def _back(
    line: StockLine, net: Mapping[int, int], bins: Sequence[StockLine]
) -> tuple[GoesBack, ...]:
    left, found = line.count, []
    for source in bins:
        back = min(net.get(source.pk, 0), left)
        if back > 0:
            found.append(GoesBack(source.place, back, True))
            left -= back
    if left:
        found.append(GoesBack(bins[0].place if bins else None, left, False))
    return tuple(found)

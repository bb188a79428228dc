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
    """By line id, in walking order. Drawing and place must be loaded. Four queries at most."""
    asked = [line for line in lines if line.count]
    if not asked:
        return {}
    net = _came_from([line.pk for line in asked])
    sources = StockLine.objects.filter(
        pk__in={source for each in net.values() for source in each},
        place__is_active=True,
        place__kind__in=STORAGE_KINDS,
    ).select_related("place")
    bins = {line.pk: line for line in sources}
    nearest = _nearest(asked)
    return {line.pk: _back(line, net.get(line.pk, {}), bins, nearest) for line in asked}


def _came_from(ids: Sequence[int]) -> dict[int, dict[int, int]]:
    """By line, of each line from which some came: how many came more than went back."""
    live = Movement.objects.filter(what=What.MOVE, corrected_by=None)
    net: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    came = live.filter(stock_to__in=ids).order_by().values_list("stock_to_id", "stock_id")
    for line, source, count in came.annotate(n=Sum("quantity")):
        net[line][source] += count
    gone = live.filter(stock__in=ids).order_by().values_list("stock_id", "stock_to_id")
    for line, target, count in gone.annotate(n=Sum("quantity")):
        net[line][target] -= count
    return net


Like = tuple[int, str, int]


def _nearest(lines: Sequence[StockLine]) -> Mapping[Like, list[StockLine]]:
    """By drawing, condition and owner the storage bins in walking order."""
    wanted = Q(drawing__in={line.drawing_id for line in lines})
    rows = StockLine.objects.filter(
        wanted, place__is_active=True, place__kind__in=STORAGE_KINDS
    ).select_related("place")
    found: dict[Like, list[StockLine]] = defaultdict(list)
    for row in rows.order_by("place__walking_order", "place__path", "code"):
        found[_like(row)].append(row)
    return found


def _like(line: StockLine) -> Like:
    return (line.drawing_id, line.condition, line.owner_id)


def _back(
    line: StockLine,
    net: Mapping[int, int],
    bins: Mapping[int, StockLine],
    nearest: Mapping[Like, list[StockLine]],
) -> tuple[GoesBack, ...]:
    left, found = line.count, []
    came = [(bins[pk], n) for pk, n in net.items() if n > 0 and pk in bins]
    for source, count in sorted(came, key=lambda pair: _walk(pair[0])):
        back = min(count, left)
        if back > 0:
            found.append(GoesBack(source.place, back, True))
            left -= back
    if left:
        like = next((each for each in nearest.get(_like(line), ()) if each.pk != line.pk), None)
        found.append(GoesBack(like.place if like else None, left, False))
    return tuple(found)


def _walk(line: StockLine) -> tuple[int, str, str]:
    return (line.place.walking_order, line.place.path, line.code)

"""Counts at the mill: of which bin lines a setup's shafts take, and what shafts hold already."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence

from django.db.models import Q

from tooling.models import Kit, KitPosition, KitState, Place, Setup, Station, StockLine
from tooling.queries.shaft_states import shaft_states
from tooling.queries.stock_pools import UNUSABLE


def lines_within(setup: Setup, drawings: Collection[int]) -> list[StockLine]:
    """Bins fit for use with something in them, where the kit gathers, on the setup's plate and on
    its mill; not what another kit gathers there. Two queries."""
    places = [setup.kit.place, setup.plate, setup.mill.place]
    paths = tuple(place.path for place in places if place is not None)
    if not paths:
        return []
    inside = Q()
    for path in paths:
        inside |= Q(place__path__startswith=path)
    rows = StockLine.objects.filter(inside, drawing__in=drawings, count__gt=0)
    rows = rows.exclude(condition__in=UNUSABLE).select_related("place")
    others = Kit.objects.exclude(state=KitState.CLOSED).exclude(pk=setup.kit_id)
    theirs = others.filter(place__isnull=False).values_list("place__path", flat=True)
    foreign = tuple(path for path in theirs if path not in paths and path.startswith(paths))
    return [
        line
        for line in rows.order_by("place__path", "code")
        if not (foreign and line.place.path.startswith(foreign))
    ]


def spot_of(setup: Setup, station: Station) -> Place:
    """Where a shaft's pieces are when they are on it: the station's place, or the plate as long
    as the setup is built off line."""
    if setup.plate is not None and setup.docked_at is None:
        return setup.plate
    return station.place


def take_from(
    setup: Setup, station: Station, spot: Place, rows: Sequence[KitPosition]
) -> tuple[dict[int, int], set[int]]:
    """From which line ids how many go to the spot for these counted positions, and the ids of the
    positions for which there is none. What lies at the spot already, and on none of its mounted
    shafts, is used before anything moves."""
    if not rows:
        return {}, set()
    drawings = {row.drawing_id for row in rows}
    lines = lines_within(setup, drawings)
    stations = set(Station.objects.filter(mill=setup.mill_id).values_list("place_id", flat=True))
    lying = _lying(lines, spot, _on_shafts(setup, station, spot, drawings))
    bins = [line for line in lines if line.place_id != spot.pk and line.place_id not in stations]
    left = {line.pk: line.count for line in bins}
    moving: Counter[int] = Counter()
    short: set[int] = set()
    for row in rows:
        if lying[row.drawing_id] > 0:
            lying[row.drawing_id] -= 1
            continue
        source = next((b for b in bins if b.drawing_id == row.drawing_id and left[b.pk]), None)
        if source is None:
            short.add(row.pk)
            continue
        left[source.pk] -= 1
        moving[source.pk] += 1
    return dict(moving), short


def _lying(lines: Iterable[StockLine], spot: Place, used: Counter[int]) -> Counter[int]:
    there: Counter[int] = Counter()
    for line in lines:
        if line.place_id == spot.pk:
            there[line.drawing_id] += line.count
    there.subtract(used)
    return there


def _on_shafts(
    setup: Setup, station: Station, spot: Place, drawings: Collection[int]
) -> Counter[int]:
    """By drawing how many the shafts that are on have at the spot: those of its station, or on a
    plate those of every station."""
    on = {
        (number, shaft)
        for (_setup, number, shaft), state in shaft_states([setup.pk]).items()
        if state.what == "mounted"
    }
    rows = KitPosition.objects.filter(kit=setup.kit_id, piece=None, drawing__in=drawings)
    if spot.pk == station.place_id:
        rows = rows.filter(station_number=station.number)
    found = rows.values_list("drawing_id", "station_number", "shaft")
    return Counter(drawing for drawing, number, shaft in found if (number, shaft) in on)

"""What a kit needs: the positions of the set in the job's variant, each at its station."""

from __future__ import annotations

from itertools import count

from tooling.models import ChartPass, Kit, KitPosition, SetPass, SetPosition, Station
from tooling.queries.line_passes import needs_station


def planned_positions(kit: Kit) -> list[KitPosition]:
    """Unsaved rows for everything the job's set calls for; a variant's own position stands in
    place of the general one."""
    job = kit.job
    chosen: dict[tuple[int, str, int], SetPosition] = {}
    positions = SetPosition.objects.filter(set_pass__tool_set=job.tool_set_id)
    for position in positions.select_related("set_pass"):
        spot = (position.set_pass_id, position.shaft, position.order)
        if position.variant_id is None:
            chosen.setdefault(spot, position)
        elif position.variant_id == job.variant_id:
            chosen[spot] = position
    stations = station_numbers(kit)
    return [
        KitPosition(
            kit=kit,
            set_position=position,
            station_number=stations[position.set_pass_id],
            pass_number=position.set_pass.number,
            shaft=position.shaft,
            order=position.order,
            drawing_id=position.drawing_id,
        )
        for position in chosen.values()
    ]


def station_numbers(kit: Kit) -> dict[int, int]:
    """Pass id → station number: as charted for the mill, else in order from the first station.

    A pass without a station is numbered beyond the last one, and so is one that only names what
    stands on the line.
    """
    job = kit.job
    charted = ChartPass.objects.filter(
        chart__tool_set=job.tool_set_id, chart__mill=job.mill_id, chart__is_current=True
    )
    found = dict(charted.values_list("set_pass_id", "station__number"))
    numbers = list(Station.objects.filter(mill=job.mill_id).values_list("number", flat=True))
    free = iter([] if found else sorted(numbers))
    beyond = count(max(numbers, default=0) + 1)
    passes = SetPass.objects.filter(tool_set=job.tool_set_id).order_by("number")
    for set_pass in needs_station(passes):
        if set_pass.pk not in found:
            found[set_pass.pk] = next(free, None) or next(beyond)
    for set_pass in passes:
        if set_pass.pk not in found:
            found[set_pass.pk] = next(beyond)
    return found

"""Which pieces a setup had mounted at a moment: on shafts that were said to be on, and lying there
by their movements. Also what no longer is of the kit, and what has gone elsewhere since."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from tooling.models import KitPosition, Movement, Place, Setup, ShaftAct, ShaftMount, Station
from tooling.models.movements import STANDS

LINE = "line"


@dataclass(frozen=True)
class MountedThen:
    """Ids of the pieces: those on shafts, and line tooling that stood with the setup; of that,
    ``cutting`` makes a stroke for each part."""

    on_shafts: frozenset[int]
    on_the_line: frozenset[int]
    cutting: frozenset[int] = frozenset()

    @property
    def all(self) -> frozenset[int]:
        return self.on_shafts | self.on_the_line


def mounted_then(setup: Setup, *, at: datetime) -> MountedThen:
    """What of the setup ran at that moment. Four queries, one more where pieces have moved since.

    The setup comes with kit, its place, mill, its place, and plate.
    """
    stations = dict(
        Station.objects.filter(mill=setup.mill_id).values_list("place_id", "number").order_by()
    )
    on, moments = _shafts_on(setup, at)
    claimed = _claimed(setup)
    then = _places_then(claimed, at)
    on_shafts, on_line = set(), set()
    cutting = set()
    for piece, (station, shaft, *_rest, cuts) in claimed.items():
        place = then.get(piece)
        if place is None:
            continue
        if shaft == LINE:
            if place.is_within(setup):
                on_line.add(piece)
                cutting |= {piece} if cuts else set()
        elif (station, shaft) in on and (place.id in stations or place.is_on_plate(setup)):
            on_shafts.add(piece)
    on_shafts |= _off_the_kit(setup, stations, on, moments, at)
    return MountedThen(frozenset(on_shafts), frozenset(on_line), frozenset(cutting))


@dataclass(frozen=True)
class _Spot:
    """A place by its id and path."""

    id: int
    path: str

    def is_on_plate(self, setup: Setup) -> bool:
        return setup.plate is not None and self.path.startswith(setup.plate.path)

    def is_within(self, setup: Setup) -> bool:
        """At the mill, on the setup's plate, or where its kit was gathered."""
        places: list[Place | None] = [setup.mill.place, setup.plate, setup.kit.place]
        return any(each is not None and self.path.startswith(each.path) for each in places)


Claimed = tuple[int, str, int, str, datetime | None, bool]
"""Station, shaft, place and its path now, since when; whether it is sharpened by strokes."""


def _shafts_on(setup: Setup, at: datetime) -> tuple[set[tuple[int, str]], set[datetime]]:
    """Shafts whose last standing word at that moment was that they are on; when each was said to
    be on. One query."""
    rows = ShaftMount.objects.filter(
        setup=setup, corrected_by=None, is_taken_back=False, happened_at__lte=at
    ).order_by("happened_at", "id")
    last: dict[tuple[int, str], str] = {}
    moments = set()
    for station, shaft, what, received in rows.values_list(
        "station_number", "shaft", "what", "received_at"
    ):
        last[station, shaft] = what
        if what == ShaftAct.MOUNTED:
            moments.add(received)
    return {key for key, what in last.items() if what == ShaftAct.MOUNTED}, moments


def _claimed(setup: Setup) -> dict[int, Claimed]:
    """Piece id → where the kit has it. One query."""
    rows = KitPosition.objects.filter(kit=setup.kit_id, piece__isnull=False).order_by()
    found = rows.values_list(
        "piece_id", "station_number", "shaft", "piece__place_id", "piece__place__path",
        "piece__placed_effective_at", "piece__strokes_run", "piece__revision__strokes_to_sharpen",
    )  # fmt: skip
    return {
        pk: (station, shaft, place, path, since, bool(made) or limit is not None)
        for pk, station, shaft, place, path, since, made, limit in found
        if pk is not None
    }


def _places_then(claimed: Mapping[int, Claimed], at: datetime) -> dict[int, _Spot]:
    """Where each piece was. One query for those that have moved since, none where none has."""
    then: dict[int, _Spot] = {}
    moved = []
    for piece, (_station, _shaft, place, path, since, _cuts) in claimed.items():
        if since is None or since <= at:
            then[piece] = _Spot(place, path)
        else:
            moved.append(piece)
    return then | (_placed_by(moved, at) if moved else {})


def _placed_by(pieces: Iterable[int], at: datetime) -> dict[int, _Spot]:
    rows = Movement.objects.filter(STANDS, piece__in=list(pieces), effective_at__lte=at)
    ordered = rows.order_by("effective_at", "received_at", "id")
    told = ordered.values_list("piece_id", "to_id", "to__path")
    return {
        piece: _Spot(place, path or "")
        for piece, place, path in told
        if piece is not None and place is not None
    }


def _off_the_kit(
    setup: Setup,
    stations: Mapping[int, int],
    on: set[tuple[int, str]],
    moments: set[datetime],
    at: datetime,
) -> set[int]:
    """Pieces that were put on for this kit and that it no longer claims, because another took
    their position since. They moved when their shaft was said to be on, which is how they are
    found among all movements. One query, one more where there are any."""
    claimed = KitPosition.objects.filter(kit=setup.kit_id, piece__isnull=False).values("piece")
    rows = Movement.objects.filter(STANDS, received_at__in=moments, kit=setup.kit_id)
    numbers = {number for number, _shaft in on}
    came = {
        piece
        for piece, place in rows.exclude(piece__in=claimed).values_list("piece_id", "to_id")
        if piece is not None and place is not None and stations.get(place) in numbers
    }
    if not came:
        return set()
    then = _placed_by(came, at)
    return {pk for pk in came if pk in then and stations.get(then[pk].id) in numbers}

"""Free pieces for the positions of a kit that lack one, chosen as one assignment over the kit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from tooling.engineering.substitutes import Candidate, LackingPosition, choose_substitutes
from tooling.models import Condition, KitPosition, Piece
from tooling.queries.condition_facts import Facts
from tooling.queries.pieces import size_of
from tooling.queries.shafts import ShaftAt, Stations
from tooling.queries.spares import Spare, Spares

REMARKABLE = (Condition.DIRTY, Condition.MARKED, Condition.BUILD_UP, Condition.CHROME_WORN)


@dataclass(frozen=True)
class Lacking:
    """The kit's rows, those that lack a piece, what is free, and what is claimed already."""

    rows: Sequence[KitPosition]
    lacking: Sequence[KitPosition]
    found: Spares
    facts: Facts
    stations: Stations
    used: set[int] = field(default_factory=set)

    def shaft(self, row: KitPosition) -> ShaftAt | None:
        station = self.stations.get(row.station_number)
        return station.shafts.get(row.shaft) if station else None

    def drawn_nm(self, row: KitPosition) -> int | None:
        """The drawn drive diameter."""
        revision = self.facts.revisions.get(row.drawing_id)
        return revision.drive_diameter_nm if revision else None

    def drive_nm(self, row: KitPosition) -> int | None:
        """The present drive diameter; drawn where the position lacks its piece."""
        if row.piece is None or row.pk in {each.pk for each in self.lacking}:
            return self.drawn_nm(row)
        return size_of(row.piece, "drive_diameter")


def best_pieces(problem: Lacking) -> dict[int, Piece]:
    """Position id → piece: most positions filled first, then closest to the station's ratio and to
    the drawn steps to the neighbouring passes, then least remarks, then nearest."""
    if not problem.lacking:
        return {}
    pieces: dict[str, Piece] = {}
    candidates = []
    walks = _walks(problem)
    for row in problem.lacking:
        for spare in problem.found.pieces.get(row.drawing_id, ()):
            piece = spare.piece
            if piece.pk in problem.used:
                continue
            if problem.facts.fits.problem(piece, problem.shaft(row)) is None:
                pieces[piece.code] = piece
                candidates.append(_candidate(row, spare, walks[piece.place_id]))
    positions = _positions(problem)
    chosen = choose_substitutes(positions, candidates)
    return {choice.position: pieces[choice.piece] for choice in chosen}


def _candidate(row: KitPosition, spare: Spare, walking: int) -> Candidate:
    piece = spare.piece
    remarks = (
        int(piece.condition in REMARKABLE)
        + int(piece.seen_at is None)
        + int(spare.is_allotted)
        + int(not piece.revision.is_current)
    )
    drive = size_of(piece, "drive_diameter")
    return Candidate(row.pk, piece.code, drive, remarks, walking)


def _walks(problem: Lacking) -> dict[int, int]:
    """Place id → rank: 0 where the kit's other pieces lie, the rest in walking order."""
    at_home = {row.piece.place_id for row in problem.rows if row.piece is not None}
    spare_places = {
        spare.piece.place_id: spare.piece.place
        for spares in problem.found.pieces.values()
        for spare in spares
    }
    ordered = sorted(spare_places.values(), key=lambda p: (p.walking_order, p.path_name, p.pk))
    return {
        place.pk: 0 if place.pk in at_home else rank for rank, place in enumerate(ordered, start=1)
    }


def _positions(problem: Lacking) -> list[LackingPosition]:
    driving = _driving(problem)
    order = sorted({row.station_number for row in problem.rows})
    return [_position(problem, row, driving, order) for row in problem.lacking]


Driving = Mapping[tuple[int, str], KitPosition]


def _driving(problem: Lacking) -> dict[tuple[int, str], KitPosition]:
    """Of each stack the roll that runs at strip speed: the largest drawn drive diameter."""
    found: dict[tuple[int, str], KitPosition] = {}
    for row in problem.rows:
        drawn = problem.drawn_nm(row)
        if drawn is None or row.shaft in ("side", "line"):
            continue
        key = (row.station_number, row.shaft)
        if key not in found or drawn > (problem.drawn_nm(found[key]) or 0):
            found[key] = row
    return found


def _position(
    problem: Lacking, row: KitPosition, driving: Driving, order: Sequence[int]
) -> LackingPosition:
    shaft = problem.shaft(row)
    station = problem.stations.get(row.station_number)
    if driving.get((row.station_number, row.shaft)) is not row or shaft is None or not shaft.speed:
        return LackingPosition(row.pk, row.shaft)  # type: ignore[arg-type]
    ratio = Fraction(station.gear_ratio) if station else Fraction(1)
    other = driving.get((row.station_number, "bottom" if row.shaft == "top" else "top"))
    fields: dict[str, Any] = {"ratio": ratio}
    if other is not None:
        other_shaft = problem.shaft(other)
        if other_shaft is not None and other_shaft.speed:
            fields["partner_nm"] = problem.drive_nm(other)
    before, after = _neighbours(row, driving, order)
    fields |= _steps(problem, row, shaft, before, after)
    return LackingPosition(row.pk, row.shaft, **fields)  # type: ignore[arg-type]


def _neighbours(
    row: KitPosition, driving: Driving, order: Sequence[int]
) -> tuple[KitPosition | None, KitPosition | None]:
    """The driving rolls on the same shaft of the occupied stations before and after."""
    here = [number for number in order if (number, row.shaft) in driving]
    at = here.index(row.station_number)
    before = driving[here[at - 1], row.shaft] if at else None
    after = driving[here[at + 1], row.shaft] if at + 1 < len(here) else None
    return before, after


def _steps(
    problem: Lacking,
    row: KitPosition,
    shaft: ShaftAt,
    before: KitPosition | None,
    after: KitPosition | None,
) -> dict[str, int]:
    """Neighbours at equal rpm with the drawn steps from and to them."""
    fields: dict[str, int] = {}
    own = problem.drawn_nm(row) or 0
    for name, step, other in (
        ("previous_nm", "step_from_previous_nm", before),
        ("next_nm", "step_to_next_nm", after),
    ):
        if other is None:
            continue
        theirs, now, drawn = problem.shaft(other), problem.drive_nm(other), problem.drawn_nm(other)
        if theirs is None or theirs.speed != shaft.speed or now is None or drawn is None:
            continue
        fields[name] = now
        fields[step] = own - drawn if other is before else drawn - own
    return fields

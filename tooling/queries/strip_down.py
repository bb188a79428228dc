"""Striking a setup down: what is still on, where each thing goes, what stays for the next kit, and
what is not home at the end."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from tooling.engineering.changeover import Spot
from tooling.models import (
    NOT_FIT,
    Condition,
    KitPosition,
    Movement,
    Place,
    Setup,
    SetupState,
    SetupStep,
    ShaftAct,
    ShaftMount,
    Station,
    StepKind,
    StockLine,
)
from tooling.queries.changeovers import changeover
from tooling.queries.homes import STORAGE_KINDS, Home, homes_of_pieces
from tooling.queries.setup_stacks import OnShaft, ShaftAt, stacks_of
from tooling.queries.setups import find_setup
from tooling.queries.shaft_states import shaft_states
from tooling.queries.stock_homes import homes_of_counts
from tooling.queries.strip_views import Coming, Row, SpacerRow, StripDown


def strip_down(number: str, *, at: datetime, takes_all: bool = False) -> StripDown:
    """The setup of a kit's number as it comes down. At most fifty queries, however many pieces.
    ``takes_all``: nothing stays for the next kit.

    Raises Unknown ``unknown_setup``.
    """
    setup = find_setup(number)
    reading = read_strip(setup, at=at, takes_all=takes_all)
    looked = SetupStep.objects.filter(
        setup=setup, what=StepKind.CLEAN, corrected_by=None, is_taken_back=False
    )
    seen = looked.select_related("by").order_by("-happened_at").first()
    kit = setup.kit
    return StripDown(
        number=kit.number,
        version=kit.version,
        job=kit.job.number,
        set_number=kit.job.tool_set.number,
        set_name=kit.job.tool_set.name,
        mill=setup.mill.number,
        mill_name=setup.mill.name,
        is_over=setup.state == SetupState.STRUCK,
        is_short=kit.complete_at is None,
        cart=(kit.place.path_name or kit.place.name) if kit.place else "",
        next_job=reading.next_job,
        rows=reading.rows,
        spacers=tuple(_spacers(reading.lines)),
        looked_over=str(seen.by or "-") if seen is not None else "",
        undo=_newest_act(setup),
    )


@dataclass(frozen=True)
class Reading:
    """What the page shows and the service acts on."""

    rows: tuple[Row, ...]
    lines: tuple[StockLine, ...]
    next_job: str

    def row(self, station: int) -> Row | None:
        return next((each for each in self.rows if each.station == station), None)


def read_strip(setup: Setup, *, at: datetime, takes_all: bool = False) -> Reading:
    """The rows of a setup and the counts that go back to their bins."""
    stays, next_job = ({}, "") if takes_all else _staying(setup, at)
    states = {
        (station, shaft): state.what
        for (_setup, station, shaft), state in shaft_states([setup.pk]).items()
    }
    stacks = stacks_of(setup)
    rows = [each.row for stack in stacks.values() for each in stack]
    targets = _targets(setup, [row for row in rows if row.piece is not None])
    places = dict(Station.objects.filter(mill=setup.mill_id).values_list("number", "place_id"))
    by: dict[int, dict[str, Sequence[OnShaft]]] = defaultdict(dict)
    for (station, shaft), stack in stacks.items():
        by[station][shaft] = stack
    made = [
        _row(setup, station, of, states, stays, targets, places.get(station))
        for station, of in sorted(by.items())
    ]
    return Reading(tuple(made), tuple(_lying(setup, rows, stays, states)), next_job)


Stays = Mapping[Spot, Collection[str]]


def _staying(setup: Setup, at: datetime) -> tuple[Stays, str]:
    """By shaft the keys of what the next kit leaves on; nothing while no kit is open for the next
    job, or while the setup is not the one that stands on the mill."""
    if setup.state == SetupState.STRUCK or (setup.plate_id and setup.docked_at is None):
        return {}, ""
    found = changeover(setup.mill, at=at)
    if found.change is None or found.next is None or not found.next.kit or found.setup is None:
        return {}, ""
    if found.setup.id != setup.pk:
        return {}, ""
    stays = {
        (each.station, each.shaft): [thing.key for thing in each.stays]
        for each in found.change.shafts
        if each.stays
    }
    return stays, found.next.number if stays else ""


@dataclass(frozen=True)
class _Target:
    place: Place | None
    homes: tuple[str, ...]

    def holds(self, place: Place) -> bool:
        """Whether a piece that lies there is where it belongs."""
        if place.kind in STORAGE_KINDS:
            return True
        return place.path.startswith(self.homes) if self.homes else False


def _targets(setup: Setup, rows: Sequence[KitPosition]) -> dict[int, _Target]:
    """Piece id → where it comes off to: its peg, else the kit's cart or rack, else its home. Four
    queries at most."""
    pegs = Place.objects.in_bulk({row.peg_id for row in rows if row.peg_id is not None})
    gathering = setup.kit.place
    homes: dict[int, Home] = homes_of_pieces([row.piece_id or 0 for row in rows])
    found: dict[int, _Target] = {}
    for row in rows:
        home = homes.get(row.piece_id or 0)
        peg = pegs.get(row.peg_id) if row.peg_id is not None else None
        place = peg or gathering or (home.place if home else None)
        inside = tuple(each.path for each in (gathering, home.place if home else None) if each)
        found[row.piece_id or 0] = _Target(place, inside)
    return found


def _row(
    setup: Setup,
    station: int,
    of: Mapping[str, Sequence[OnShaft]],
    states: Mapping[ShaftAt, str],
    stays: Stays,
    targets: Mapping[int, _Target],
    place: int | None,
) -> Row:
    spots = {place, setup.plate_id} - {None}
    pieces: list[Coming] = []
    shafts: list[str] = []
    for shaft in sorted(of, key=("top", "bottom", "side").index):
        stack, state = of[shaft], states.get((station, shaft), "")
        left = set(stays.get((station, shaft), ()))
        mine = [
            _coming(each, state, left, targets[each.row.piece_id or 0], spots)
            for each in stack
            if each.row.piece is not None
        ]
        pieces += mine
        stay_whole = mine and all(each.state == "stays" for each in mine)
        if state == ShaftAct.MOUNTED and not stay_whole:
            shafts.append(shaft)
    first = next(iter(of.values()))[0].row
    return Row(station, first.pass_number, tuple(shafts), tuple(pieces))


def _coming(
    each: OnShaft, state: str, left: set[str], target: _Target, spots: Collection[int | None]
) -> Coming:
    piece = each.row.piece
    assert piece is not None
    is_there = piece.place_id in spots
    is_hold = piece.condition == Condition.HOLD
    is_flagged = is_hold or piece.condition in NOT_FIT
    if not is_there:
        said = "off"
    elif is_flagged:
        said = "flagged"
    elif piece.code in left:
        said = "stays"
    else:
        said = "on" if state == ShaftAct.MOUNTED else "gap"
    return Coming(
        piece_id=piece.pk,
        code=piece.code,
        mark=piece.mark,
        drawing=each.row.drawing.number,
        shaft=each.row.shaft,
        turn=each.turn,
        to=target.place.pk if target.place else None,
        to_name=(target.place.path_name or target.place.name) if target.place else "",
        state=said,
        condition_word=_("held") if is_hold else str(piece.get_condition_display()),
        now=piece.place.path_name or piece.place.name,
        is_home=not is_there and target.holds(piece.place),
    )


def _lying(
    setup: Setup, rows: Sequence[KitPosition], stays: Stays, states: Mapping[ShaftAt, str]
) -> list[StockLine]:
    """Counts on the kit's cart, its plate and its stations, with as many as go back: not those on
    shafts that are on still, nor those that stay. One query."""
    stations = list(Station.objects.filter(mill=setup.mill_id).values_list("place_id", flat=True))
    kept: dict[int, int] = defaultdict(int)
    for row in rows:
        spot = (row.station_number, row.shaft)
        if (
            row.piece_id is None and (states.get(spot) == ShaftAct.MOUNTED and spot not in stays)
        ) or (
            row.piece_id is None
            and any(key.startswith(f"{row.drawing.number} × ") for key in stays.get(spot, ()))
        ):
            kept[row.drawing_id] += 1
    lines = StockLine.objects.filter(count__gt=0).select_related("drawing", "place", "owner")
    here = lines.filter(place__in=[*stations, *([setup.plate_id] if setup.plate_id else [])])
    mine = here.filter(drawing__in={row.drawing_id for row in rows})
    found = list(mine.order_by("code"))
    for line in found:
        on = min(line.count, kept[line.drawing_id])
        kept[line.drawing_id] -= on
        line.count -= on
    if setup.kit.place is not None:
        cart = lines.filter(place__path__startswith=setup.kit.place.path)
        known = {line.pk for line in found}
        found += [line for line in cart.order_by("code") if line.pk not in known]
    return [line for line in found if line.count]


def _spacers(lines: Sequence[StockLine]) -> list[SpacerRow]:
    """Two queries at most."""
    homes = homes_of_counts(lines)
    found: dict[tuple[str, str], int] = defaultdict(int)
    for line in lines:
        for back in homes.get(line.pk, ()):
            if back.place is None or back.place.pk != line.place_id:
                name = (back.place.path_name or back.place.name) if back.place else ""
                found[line.drawing.number, name] += back.count
    return [SpacerRow(drawing, count, bin_) for (drawing, bin_), count in found.items()]


def _newest_act(setup: Setup) -> str:
    """The newest act of taking off, or of sending counts back, that still stands."""
    rows = ShaftMount.objects.filter(
        setup=setup, what=ShaftAct.TAKEN_OFF, corrected_by=None, is_taken_back=False
    )
    newest = rows.exclude(scan=None).order_by("-received_at", "-pk").first()
    back = (
        Movement.objects.filter(
            note=note_of(setup), stock__isnull=False, corrects=None, corrected_by=None
        )
        .order_by("-pk")
        .first()
    )
    if back is not None and (newest is None or back.received_at >= newest.received_at):
        return str(back.scan)
    return str(newest.scan) if newest is not None and newest.scan else ""


def note_of(setup: Setup) -> str:
    """What the movements of counts that go back say, so that they are found again."""
    return f"strip-down {setup.kit.number}"


def act_id(text: str) -> uuid.UUID | None:
    """An act's id as an address or a form carries it, None for what is none."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return None

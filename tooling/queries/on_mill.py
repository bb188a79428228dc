"""What stands on a mill now, by station and shaft, in order from the shoulder.

The kit of the setup that stands there says what belongs on which shaft; the pieces' own places say
what is really there. A piece that lies at a station and is not of that setup is named as such, on
its shaft where an earlier setup put it there.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from django.db.models import OuterRef, Q, Subquery

from tooling.models import (
    NOT_FIT,
    Condition,
    DrawingRevision,
    Job,
    JobState,
    KitPosition,
    Mill,
    Piece,
    Setup,
    SetupState,
    ShaftAct,
    Station,
)
from tooling.queries.kit_positions import mass_of_row, sizes_of
from tooling.queries.setup_stacks import OnShaft, in_order
from tooling.queries.shaft_states import ShaftKey, ShaftState, shaft_states

STANDING = ~Q(state=SetupState.STRUCK) & (Q(plate=None) | Q(docked_at__isnull=False))
"""Setups that stand on their mill: not struck, and not on a plate beside it."""

SHAFT_TURN = {"top": 0, "bottom": 1, "side": 2, "line": 3, "": 4}
Of = Literal["setup", "waiting", "other"]


@dataclass(frozen=True)
class Stood:
    """One thing at a station. ``of``: the setup (its shaft is mounted), waiting (it is of the
    setup and lies there, the shaft is not said mounted), other. ``order``: from the shoulder;
    it and ``shaft`` are empty where nobody knows. Lengths in nm."""

    piece_id: int | None
    code: str
    mark: str
    drawing: str
    kind: str
    shaft: str
    order: int | None
    of: Of
    condition: str
    is_pooled: bool
    is_fill: bool
    is_split: bool
    side: str
    width_nm: int | None
    diameter_nm: int | None
    mass_kg: float | None

    @property
    def name(self) -> str:
        return self.mark or self.drawing

    @property
    def is_held(self) -> bool:
        """It may not run: held, cracked or chipped."""
        return self.condition == Condition.HOLD or self.condition in NOT_FIT

    @property
    def key(self) -> str:
        """What tells it from others in a changeover."""
        if not self.is_pooled:
            return self.code or f"drawing {self.drawing}"
        return f"{self.drawing} × {self.width_nm}"


@dataclass(frozen=True)
class StationOn:
    """A station with what is at it: top, bottom and side from the shoulder, then what nobody
    knows the shaft of."""

    number: int
    code: str
    pass_number: int | None
    stood: tuple[Stood, ...]
    states: Mapping[str, ShaftState]

    def on(self, shaft: str) -> tuple[Stood, ...]:
        return tuple(each for each in self.stood if each.shaft == shaft)

    @property
    def others(self) -> tuple[Stood, ...]:
        """What is not of the setup that stands on the mill."""
        return tuple(each for each in self.stood if each.of == "other")


@dataclass(frozen=True)
class Standing:
    """The setup that stands on a mill. ``since``: its first good part, else when it was begun."""

    id: int
    kit: str
    job: str
    set_number: str
    set_name: str
    state: str
    state_word: str
    since: datetime
    cart: str
    cart_code: str


@dataclass(frozen=True)
class OnMill:
    """One mill with all that stands on it."""

    number: str
    name: str
    entry_left: bool
    drive_side: str
    setup: Standing | None
    stations: tuple[StationOn, ...]

    @property
    def others(self) -> tuple[tuple[StationOn, Stood], ...]:
        return tuple((station, each) for station in self.stations for each in station.others)

    @property
    def pieces(self) -> int:
        return sum(len(station.stood) for station in self.stations)


def on_mills(numbers: Collection[str] | None = None) -> list[OnMill]:
    """Every mill, or those of these numbers, by number. Eight queries."""
    mills = list(Mill.objects.all() if numbers is None else Mill.objects.filter(number__in=numbers))
    ids = [mill.pk for mill in mills]
    setups = _setups(ids)
    standing = {pk: found[0] for pk, found in setups.items() if found[0] is not None}
    states = shaft_states(setup.pk for setup in standing.values())
    rows = _rows([each for found in setups.values() for each in found if each is not None])
    stations: dict[int, list[Station]] = defaultdict(list)
    for station in Station.objects.filter(mill__in=ids).order_by("number"):
        stations[station.mill_id].append(station)
    there: dict[int, list[Piece]] = defaultdict(list)
    plates = {setup.plate_id for setup in standing.values() if setup.plate_id is not None}
    pieces = Piece.objects.filter(Q(place__station__mill__in=ids) | Q(place__in=plates))
    for piece in pieces.select_related("drawing", "revision").order_by("code"):
        there[piece.place_id].append(piece)
    revisions = _revisions(rows)
    return [
        OnMill(
            number=mill.number,
            name=mill.name,
            entry_left=mill.entry_left,
            drive_side=mill.hand,
            setup=_standing(standing.get(mill.pk)),
            stations=tuple(
                _Reader(station, setups[mill.pk], rows, states, revisions).read(there)
                for station in stations[mill.pk]
            ),
        )
        for mill in mills
    ]  # fmt: skip


def on_mill(number: str) -> OnMill | None:
    """One mill, None when there is none of this number. Eight queries."""
    return next(iter(on_mills([number])), None)


Setups = tuple[Setup | None, Setup | None]
"""The one that stands on a mill, and the last that was struck down."""


def _setups(mills: Sequence[int]) -> dict[int, Setups]:
    """Two queries."""
    related = ("kit__place", "kit__job__tool_set")
    standing = Setup.objects.filter(STANDING, mill__in=mills).select_related(*related)
    now = {setup.mill_id: setup for setup in standing}
    struck = Setup.objects.filter(mill__in=mills, state=SetupState.STRUCK)
    last: dict[int, Setup] = {}
    newest = struck.order_by("-struck_at", "-pk")
    for setup in newest.filter(pk__in=_newest_struck(mills)).select_related(*related):
        last.setdefault(setup.mill_id, setup)
    return {pk: (now.get(pk), last.get(pk)) for pk in mills}


def _newest_struck(mills: Sequence[int]):  # type: ignore[no-untyped-def]
    """As a subquery: of each mill the last that was struck."""
    struck = Setup.objects.filter(mill=OuterRef("pk"), state=SetupState.STRUCK)
    newest = struck.order_by("-struck_at", "-pk").values("pk")[:1]
    return Mill.objects.filter(pk__in=mills).annotate(last=Subquery(newest)).values("last")


Rows = dict[tuple[int, int], list[KitPosition]]
"""Positions by kit's database id and station number."""


def _rows(setups: Sequence[Setup]) -> Rows:
    found: Rows = defaultdict(list)
    rows = KitPosition.objects.filter(kit__in=[setup.kit_id for setup in setups])
    rows = rows.exclude(shaft="line").select_related(
        "drawing", "set_position", "stock_line", "piece__drawing", "piece__revision"
    )
    for row in rows:
        found[row.kit_id, row.station_number].append(row)
    for each in found.values():
        each.sort(key=lambda row: (SHAFT_TURN[row.shaft], row.order))
    return found


def _revisions(rows: Rows) -> dict[int, DrawingRevision]:
    drawings = {row.drawing_id for each in rows.values() for row in each if row.piece_id is None}
    current = DrawingRevision.objects.filter(drawing__in=drawings, is_current=True)
    return {revision.drawing_id: revision for revision in current}


def _standing(setup: Setup | None) -> Standing | None:
    if setup is None:
        return None
    kit = setup.kit
    return Standing(
        id=setup.pk,
        kit=kit.number,
        job=kit.job.number,
        set_number=kit.job.tool_set.number,
        set_name=kit.job.tool_set.name,
        state=setup.state,
        state_word=str(setup.get_state_display()),
        since=setup.good_at or setup.started_at,
        cart=(kit.place.path_name or kit.place.name) if kit.place else "",
        cart_code=kit.place.code if kit.place else "",
    )


@dataclass(frozen=True)
class _Reader:
    """What was said about one station, and what lies there."""

    station: Station
    setups: Setups
    rows: Rows
    states: Mapping[ShaftKey, ShaftState]
    revisions: Mapping[int, DrawingRevision]

    def read(self, there: Mapping[int, Sequence[Piece]]) -> StationOn:
        """``there``: by place, what lies at the stations and on plates that stand on mills."""
        setup, last = self.setups
        number, pieces = self.station.number, there.get(self.station.place_id, ())
        plate = setup.plate_id if setup is not None else None
        mine = self.rows.get((setup.kit_id, number), []) if setup else []
        before = self.rows.get((last.kit_id, number), []) if last else []
        here = {piece.pk for piece in (*pieces, *there.get(plate or 0, ()))}
        states = {
            shaft: self.states[setup.pk, number, shaft]
            for shaft in SHAFT_TURN
            if setup is not None and (setup.pk, number, shaft) in self.states
        }
        stood = [*self._of_setup(_ordered(mine, setup), states, here)]
        known = {each.piece_id for each in stood}
        left = [piece for piece in pieces if piece.pk not in known]
        stood += self._left(_ordered(before, last), left)
        return StationOn(
            number=number,
            code=self.station.code,
            pass_number=mine[0].pass_number if mine else None,
            stood=tuple(sorted(stood, key=lambda e: (SHAFT_TURN[e.shaft], e.order or 0))),
            states=states,
        )

    def _of_setup(
        self, rows: Sequence[OnShaft], states: Mapping[str, ShaftState], here: set[int]
    ) -> Iterable[Stood]:
        for each in rows:
            row, state = each.row, states.get(each.row.shaft)
            is_mounted = state is not None and state.what == ShaftAct.MOUNTED
            if row.piece_id in here:
                yield self._stood(row, "setup" if is_mounted else "waiting", each.turn)
            elif row.piece_id is None and is_mounted:
                yield self._stood(row, "setup", each.turn)

    def _left(self, rows: Sequence[OnShaft], pieces: Sequence[Piece]) -> Iterable[Stood]:
        by_piece = {each.row.piece_id: each for each in rows}
        for piece in pieces:
            found = by_piece.get(piece.pk)
            blank = KitPosition(piece=piece, drawing=piece.drawing, shaft="", order=0)
            if found is not None:
                yield self._stood(found.row, "other", found.turn)
            else:
                yield self._stood(blank, "other", None)

    def _stood(self, row: KitPosition, of: Of, turn: int | None) -> Stood:
        revision = self.revisions.get(row.drawing_id)
        sizes, piece, asked = sizes_of(row, revision), row.piece, row.set_position
        known = ("outside_diameter", "drive_diameter", "root_diameter")
        return Stood(
            piece_id=row.piece_id,
            code=piece.code if piece else row.stock_line.code if row.stock_line else "",
            mark=piece.mark if piece else "",
            drawing=row.drawing.number,
            kind=row.drawing.kind,
            shaft=row.shaft,
            order=turn,
            of=of,
            condition=piece.condition if piece else "",
            is_pooled=piece is None,
            is_fill=bool(row.fill),
            is_split=asked.is_split if asked else False,
            side=asked.side if asked else "",
            width_nm=(row.length_nm if piece is None else None) or sizes["face_width"],
            diameter_nm=max(sizes[name] or 0 for name in known) or None,
            mass_kg=mass_of_row(row, revision),
        )


def _ordered(rows: Sequence[KitPosition], setup: Setup | None) -> list[OnShaft]:
    """A station's positions from the shoulder, turned where their setup is."""
    return [
        each
        for shaft in SHAFT_TURN
        for each in in_order(
            [row for row in rows if row.shaft == shaft],
            is_turned=setup is not None and setup.is_turned,
        )
    ]


def mills_token(numbers: Collection[str] | None = None) -> str:
    """Changes with what stands on the mills, who works there and what comes next. Three queries."""
    where = {} if numbers is None else {"mill__number__in": numbers}
    setups = Setup.objects.filter(STANDING, **where).order_by("pk")
    pieces = Piece.objects.filter(place__station__isnull=False)
    if numbers is not None:
        pieces = pieces.filter(place__station__mill__number__in=numbers)
    jobs = Job.objects.filter(state=JobState.PLANNED, **where).order_by("pk")
    said = (
        list(setups.values_list("pk", "state", "kit__version", "good_at")),
        list(pieces.order_by("pk").values_list("pk", "placed_by_id", "condition")),
        list(jobs.values_list("pk", "starts_at")),
    )
    return hashlib.blake2s(repr(said).encode(), digest_size=8).hexdigest()

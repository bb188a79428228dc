"""How the shafts of a kit are filled, as pages and programs see it: reckoned anew from what stands
there, beside what the last answer could not meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tooling.engineering.stacks.answer import FIGURES
from tooling.engineering.stacks.eligibility import Seat
from tooling.engineering.stacks.specs import Pieces, Shaft, ShaftKey
from tooling.engineering.stacks.told import free_windows, told_shaft, told_station
from tooling.engineering.stacks.windows import (
    aimed,
    difference_holds,
    fill_windows,
    length_of,
    shaft_holds,
)
from tooling.errors import Conflict
from tooling.models import KitFill, KitPosition, Task, TaskState
from tooling.queries.fill_problem import standing_problem
from tooling.queries.fill_views import FillProblem, Spot
from tooling.queries.kits import find_kit

KIND = "fill_shafts"
"""The kind of task."""
UNDER_WAY = (TaskState.WAITING, TaskState.RUNNING)
Window = tuple[int, int]


@dataclass(frozen=True)
class Spacer:
    """One spacer of a fill. ``position``: of the kit; ``is_measured``: its own width is known."""

    position: int
    order: int
    name: str
    code: str
    drawing: str
    length_nm: int
    is_shim: bool
    is_measured: bool


@dataclass(frozen=True)
class FillTold:
    """One fill from the shoulder. ``aim_nm``: the length it should have; ``window_nm``: what it may
    have while the others stay. ``is_pinned``: a person put it there."""

    spot: Spot
    spacers: tuple[Spacer, ...]
    length_nm: int
    aim_nm: int
    window_nm: Window
    is_pinned: bool

    @property
    def as_written(self) -> str:
        """As a person writes such a stack by hand."""
        return " + ".join(each.name for each in self.spacers)


@dataclass(frozen=True)
class ShaftTold:
    """One shaft. ``error_nm`` is the guide point's distance from the guide plane, ``over_nm`` the
    stack's total less the roll space; both with what unmeasured widths may add at k = 2.
    ``state``: filled (within its windows), off (no more within them), empty."""

    station: int
    pass_number: int
    shaft: str
    fills: tuple[FillTold, ...]
    state: str
    guide_from_shoulder_nm: int
    guide_nm: int
    error_nm: int
    spread_nm: int
    total_nm: int
    roll_space_nm: int
    over_nm: int
    total_spread_nm: int
    unmeasured: tuple[str, ...]
    is_mounted: bool
    is_struck: bool = False

    @property
    def spacers(self) -> int:
        return sum(len(each.spacers) for each in self.fills)


@dataclass(frozen=True)
class DifferenceTold:
    """Top against bottom of a station of which both shafts are filled."""

    station: int
    difference_nm: int
    spread_nm: int
    holds: bool


@dataclass(frozen=True)
class LackTold:
    """What stock could not meet: of which fill, what would be needed, what comes nearest."""

    spot: Spot
    window_nm: Window
    below_nm: int | None
    above_nm: int | None
    in_whole_stock: bool


@dataclass(frozen=True)
class MakeTold:
    """A piece to make; ``window_nm``: it must be ground to that. ``shaft_nm`` and
    ``key_width_nm``: what it goes over; 0 where the shaft is not known any more, or has no key
    along it."""

    spot: Spot
    length_nm: int
    window_nm: Window | None
    shaft_nm: int
    key_width_nm: int


@dataclass(frozen=True)
class Missing:
    """Why a shaft, or the whole kit (no station), cannot be reckoned."""

    code: str
    said: str
    station: int | None = None
    shaft: str = ""


@dataclass(frozen=True)
class Answer:
    """The last answer. ``figures`` and ``bound`` as the computation names them; ``not_there``: what
    somebody looked for in vain."""

    solved_at: datetime
    by: str
    is_proven: bool
    stopped: bool
    figures: tuple[int, ...]
    bound: tuple[int | None, ...]
    lacks: tuple[LackTold, ...]
    make: tuple[MakeTold, ...]
    make_total_nm: int
    make_is_proven: bool
    impossible: tuple[Spot, ...]
    how: tuple[Mapping[str, Any], ...]
    not_there: tuple[str, ...]
    left_out: int = 0
    struck: int = 0

    @property
    def is_solved(self) -> bool:
        """Whether it was ever worked out; people may have filled shafts by hand before that."""
        return bool(self.figures)

    @property
    def fills_most(self) -> bool:
        """Whether no other choice fills more shafts."""
        return bool(self.figures) and self.figures[0] == self.bound[0]

    @property
    def least_spacers(self) -> int | None:
        """So many spacers it takes at least, shims apart; None where that is not known."""
        at = FIGURES.index("spacers")
        return self.bound[at] if self.fills_most and len(self.bound) > at else None


@dataclass(frozen=True)
class TaskTold:
    """The work on it: under way, or ended otherwise than done."""

    id: int
    state: str
    is_over: bool
    progress: float
    message: str
    code: str


@dataclass(frozen=True)
class FillPage:
    """All of it. ``windows``: guide, difference and closing, nm."""

    kit: str
    job: str
    mill: str
    mill_number: str
    version: int
    is_open: bool
    unit: str
    shafts: tuple[ShaftTold, ...]
    differences: tuple[DifferenceTold, ...]
    missing: tuple[Missing, ...]
    answer: Answer | None
    task: TaskTold | None
    windows: Mapping[str, Window]

    @property
    def filled(self) -> int:
        return sum(each.state == "filled" for each in self.shafts)

    @property
    def off(self) -> tuple[ShaftTold, ...]:
        return tuple(each for each in self.shafts if each.state == "off")

    @property
    def is_any(self) -> bool:
        """Whether anything stands in any fill."""
        return any(each.spacers for each in self.shafts)

    @property
    def summary(self) -> FillSummary:
        """The same in short, as a kit's page has it."""
        told = self.answer
        lacks = {(each.spot.station, each.spot.shaft) for each in told.lacks} if told else set()
        return FillSummary(
            spacers=sum(each.spacers for each in self.shafts),
            solved_at=told.solved_at if told and told.is_solved else None,
            lacks=len(lacks),
            left_out=told.left_out if told else 0,
            is_proven=told.is_proven if told else False,
            struck=told.struck if told else 0,
            task=self.task,
        )

    def shaft(self, station: int, which: str) -> ShaftTold | None:
        for each in self.shafts:
            if (each.station, each.shaft) == (station, which):
                return each
        return None


def fill_page(number: str) -> FillPage:
    """At most thirteen queries, however many shafts. Raises Unknown ``unknown_kit``."""
    kit = find_kit(number)
    row = KitFill.objects.filter(kit=kit).select_related("by").first()
    task = task_told(kit.number)
    shafts: tuple[ShaftTold, ...] = ()
    differences: tuple[DifferenceTold, ...] = ()
    windows: Mapping[str, Window] = {}
    spots: Mapping[str, Spot] = {}
    seats: Mapping[str, Seat] = {}
    try:
        given = standing_problem(kit)
    except Conflict as error:
        missing: tuple[Missing, ...] = (Missing(error.code, error.message),)
    else:
        struck = {tuple(each) for each in (row.said if row else {}).get("struck", ())}
        shafts, differences = _shafts(given, struck)
        rules, spots = given.problem.rules, given.spots
        seats = {k: f.seat for k, (_key, _shaft, f) in given.fills.items() if f.seat}
        windows = {
            "guide": rules.guide_nm, "difference": rules.difference_nm,
            "closing": rules.closing_nm,
        }  # fmt: skip
        missing = tuple(Missing(e.code, e.said, e.station, e.shaft) for e in given.left_out)
    job = kit.job
    return FillPage(
        kit=kit.number, job=job.number, mill=job.mill.name, mill_number=job.mill.number,
        version=kit.version, is_open=kit.state != "closed", unit=job.mill.unit, shafts=shafts,
        differences=differences, missing=missing, answer=_answer(row, spots, seats), task=task,
        windows=windows,
    )  # fmt: skip


def task_told(number: str) -> TaskTold | None:
    """The newest task that fills the kit's shafts. One query."""
    task = Task.objects.filter(kind=KIND, input__kit=number).order_by("-pk").first()
    if task is None:
        return None
    return TaskTold(
        task.pk, task.state, task.state not in UNDER_WAY, task.progress, task.message,
        task.result.get("code", ""),
    )  # fmt: skip


def _shafts(
    given: FillProblem, struck: set[tuple[Any, ...]]
) -> tuple[tuple[ShaftTold, ...], tuple[DifferenceTold, ...]]:
    shafts: list[ShaftTold] = []
    differences = []
    for station in given.problem.stations:
        stacks: dict[str, tuple[Pieces, ...]] = {
            shaft.which: _stack(given, shaft) for shaft in station.shafts
        }
        lengths = {
            which: [length_of(given.problem, pieces) for pieces in stack]
            for which, stack in stacks.items()
        }
        holds: dict[str, bool] = {s.which: shaft_holds(given.problem.rules, s, lengths[s.which])
                 for s in station.shafts}  # fmt: skip
        filled = {which: lengths[which] for which, each in holds.items() if each}
        windows = free_windows(given.problem, station, filled)
        told = {}
        for shaft in station.shafts:
            free = windows.get(shaft.which) or fill_windows(given.problem.rules, shaft)
            told[shaft.which] = told_shaft(
                given.problem, station, shaft, stacks[shaft.which], kept_closed=False, kept=False,
                free_nm=free,
            )  # fmt: skip
        both = None
        if all(holds.values()) and len(told) == 2:
            answer, _step = told_station(given.problem, told["top"], told["bottom"])
            agree = difference_holds(
                given.problem.rules, told["top"].guide_error_nm, told["bottom"].guide_error_nm
            )
            both = DifferenceTold(station.number, answer.difference_nm, answer.spread_nm, agree)
            differences.append(both)
        for shaft in station.shafts:
            key = (station.number, shaft.which)
            state = "filled" if holds[shaft.which] and (both is None or both.holds) else "off"
            if not any(stacks[shaft.which]) and state == "off":
                state = "empty"
            shafts.append(_told(given, key, shaft, told[shaft.which], state, key in struck))
    return tuple(shafts), tuple(differences)


def _stack(given: FillProblem, shaft: Shaft) -> tuple[Pieces, ...]:
    return tuple(given.keys_of(fill.key) for fill in shaft.fills)


def _told(
    given: FillProblem, key: ShaftKey, shaft: Shaft, told: Any, state: str, is_struck: bool
) -> ShaftTold:
    fills = [
        _fill(given, each, aim) for each, aim in zip(told.fills, aimed(given.problem.rules, shaft),
                                                     strict=True)
    ]  # fmt: skip
    plane = given.problem.rules.guide_plane_nm - shaft.shoulder_offset_nm
    return ShaftTold(
        station=key[0], pass_number=given.spots[told.fills[0].fill].pass_number, shaft=key[1],
        fills=tuple(fills), state=state, guide_from_shoulder_nm=plane,
        guide_nm=plane + told.guide_error_nm, error_nm=told.guide_error_nm,
        spread_nm=told.spread_nm, total_nm=told.total_nm, roll_space_nm=shaft.roll_space_nm,
        over_nm=told.over_nm, total_spread_nm=told.total_spread_nm,
        unmeasured=given.unmeasured[key], is_mounted=key in given.mounted, is_struck=is_struck,
    )  # fmt: skip


def _fill(given: FillProblem, told: Any, aim: int) -> FillTold:
    rows = given.standing.get(told.fill, ())
    spacers = []
    for row, key in zip(rows, told.pieces, strict=True):
        source, stuff = given.problem.by_key[key], given.stuff[key]
        spacers.append(
            Spacer(
                row.pk,
                row.order,
                stuff.name,
                row.piece.code if row.piece else "",
                stuff.drawing,
                source.length_nm,
                stuff.is_shim,
                source.measured,
            )
        )
    pinned = any(row.is_pinned for row in rows)
    return FillTold(
        given.spots[told.fill], tuple(spacers), told.length_nm, aim, told.window_nm, pinned
    )


def _spot(key: str, known: Mapping[str, Spot]) -> Spot:
    """A fill of the last answer, also where the set has it no more."""
    if key in known:
        return known[key]
    station, shaft, fill, *after = key.split("-")
    return Spot(int(station), 0, shaft, fill, int(after[0]) if after else 0)


def _answer(
    row: KitFill | None, spots: Mapping[str, Spot], seats: Mapping[str, Seat]
) -> Answer | None:
    if row is None:
        return None
    said, make = row.said, row.said.get("make") or {}
    return Answer(
        solved_at=row.solved_at,
        by=str(row.by) if row.by else "",
        is_proven=row.is_proven,
        stopped=said.get("stopped", False),
        figures=tuple(said.get("figures", ())),
        bound=tuple(said.get("bound", ())),
        lacks=tuple(
            LackTold(
                _spot(e["fill"], spots),
                _window(e["window_nm"]),
                e["below_nm"],
                e["above_nm"],
                e["in_whole_stock"],
            )
            for e in said.get("lacks", ())
        ),
        make=tuple(_make(each, spots, seats) for each in make.get("pieces", ())),
        make_total_nm=make.get("total_nm", 0),
        make_is_proven=make.get("proven", False),
        impossible=tuple(_spot(key, spots) for key in make.get("impossible", ())),
        how=tuple(said.get("how", ())),
        not_there=tuple(key.removeprefix("of ") for key in said.get("not_there", {})),
        left_out=len(said.get("left_out", ())),
        struck=len(said.get("struck", ())),
    )


def _make(
    said: Mapping[str, Any], spots: Mapping[str, Spot], seats: Mapping[str, Seat]
) -> MakeTold:
    seat = seats.get(said["fill"])
    return MakeTold(
        _spot(said["fill"], spots),
        said["length_nm"],
        _window(said["window_nm"]) if said["window_nm"] else None,
        seat.shaft_nm if seat else 0,
        seat.key_width_nm if seat else 0,
    )


def _window(pair: Sequence[int]) -> Window:
    return pair[0], pair[1]


@dataclass(frozen=True)
class FillSummary:
    """What a kit's page says of its fills. ``struck``: shafts whose fills other rolls took out."""

    spacers: int
    solved_at: datetime | None
    lacks: int
    left_out: int
    is_proven: bool
    struck: int
    task: TaskTold | None


def fill_summary(number: str) -> FillSummary:
    """Three queries."""
    row = KitFill.objects.filter(kit__number=number).first()
    said = row.said if row else {}
    spacers = KitPosition.objects.filter(kit__number=number).exclude(fill="").count()
    shafts = {(each["station"], each["shaft"]) for each in said.get("lacks", ())}
    return FillSummary(
        spacers=spacers,
        solved_at=row.solved_at if row and "figures" in said else None,
        lacks=len(shafts),
        left_out=len(said.get("left_out", ())),
        is_proven=row.is_proven if row else False,
        struck=len(said.get("struck", ())),
        task=task_told(number),
    )

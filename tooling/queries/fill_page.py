"""How the shafts of a kit are filled, as pages and programs see it: reckoned anew from what stands
there, beside what the last answer could not meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

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
from tooling.queries.fill_told import (
    Answer,
    DifferenceTold,
    FillPage,
    FillSummary,
    FillTold,
    LackTold,
    MakeTold,
    Missing,
    ShaftTold,
    Spacer,
    TaskTold,
    Window,
)
from tooling.queries.fill_views import FillProblem, Spot
from tooling.queries.kits import find_kit

KIND = "fill_shafts"
"""The kind of task."""
UNDER_WAY = (TaskState.WAITING, TaskState.RUNNING)


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

"""From a kit to the computation of its spacer stacks: rolls, windows, spacers and what stands."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, cast

from django.utils.translation import gettext_lazy as _

from tooling.engineering.stacks.specs import (
    Closing,
    MakeGrid,
    Pieces,
    Problem,
    Rules,
    ShaftKey,
    Station,
)
from tooling.errors import Conflict
from tooling.models import (
    DrawingRevision,
    Kit,
    KitFill,
    KitPosition,
    MillShaft,
    SetFill,
    Setup,
    SetupChart,
    SetupState,
    ShaftAct,
)
from tooling.queries.fill_clear import centres_of, with_clearances
from tooling.queries.fill_shafts import ShaftReader, Shafts, turned
from tooling.queries.fill_stock import Wishes, offered, standing_sources
from tooling.queries.fill_views import FillProblem, Stuff, source_key
from tooling.queries.kits import kit_rows
from tooling.queries.on_mill import OnMill, StationOn, Stood, on_mill
from tooling.queries.settings import setting_values
from tooling.queries.shaft_states import shaft_states
from tooling.queries.shafts import stations_of

SETTINGS = [
    "guide_window", "difference_window", "shims_per_fill", "spacer_tolerance", "spacer_bore_play",
    "make_grid_step", "make_grid_least", "make_grid_most", "spacer_seat",
]  # fmt: skip


def fill_problem(kit: Kit, *, at: datetime) -> FillProblem:
    """Everything that filling a kit's shafts depends on. At most thirty-six queries.

    The kit's job with mill and set must be loaded. Raises Conflict ``guide_plane_missing``,
    ``closing_missing``, ``closing_window_odd``, ``kit_not_assembled``, ``nothing_to_fill``.
    """
    read = _read(kit)
    wishes = _wishes(kit, read.rows, read.given)
    stock = offered(wishes, at=at)
    gone = frozenset(pk for ids in wishes.not_there.values() for pk in ids)
    known = {source.key: source.count for source in stock.sources}
    on = on_mill(kit.job.mill.number)
    problem = Problem(
        rules=_rules(kit, read.given),
        stations=tuple(_carrying(e, read.shafts, on, known) for e in read.shafts.stations),
        sources=stock.sources,
        places=stock.places,
        pins=_pins(read.shafts, read.mounted, known),
        keep=_keep(read.shafts, known, gone),
    )
    return replace(_whole(kit, read, problem, stock.stuff), gone=gone)


def standing_problem(kit: Kit) -> FillProblem:
    """The same of what stands on the shafts alone, with no more stock than that: enough to judge
    it. At most eleven queries. Raises as ``fill_problem``."""
    read = _read(kit)
    sources, stuff = standing_sources(
        [row for rows in read.shafts.standing.values() for row in rows],
        tolerance_nm=int(read.given["spacer_tolerance"]),
    )
    problem = Problem(_rules(kit, read.given), read.shafts.stations, sources)
    return _whole(kit, read, problem, stuff)


@dataclass(frozen=True)
class _Reading:
    """What both begin with."""

    rows: Sequence[KitPosition]
    given: Mapping[str, int | float]
    mounted: frozenset[ShaftKey]
    is_turned: bool
    shafts: Shafts


def _read(kit: Kit) -> _Reading:
    check_can_be_reckoned(kit)
    rows = kit_rows(kit)
    given = setting_values(
        SETTINGS, unit=kit.job.mill.unit, mill=kit.job.mill, tool_set=kit.job.tool_set
    )
    setup = Setup.objects.filter(kit=kit).exclude(state=SetupState.STRUCK).first()
    mounted = _mounted(setup)
    is_turned = turned(setup, _charted_turned(kit) if setup is None else False)
    reader = _reader(kit, rows, mounted, is_turned, given)
    shafts = reader.read(rows)
    shafts = replace(
        shafts,
        stations=with_clearances(
            shafts.stations, shafts.rows,
            centres=centres_of(kit, setup, rows, reader.revisions),
            revisions=reader.revisions,
            guide_plane_nm=kit.job.mill.guide_plane_nm or 0,
            window_nm=int(given["difference_window"]),
            mounted=mounted,
        ),
    )  # fmt: skip
    if not shafts.stations:
        raise _nothing(kit, shafts)
    return _Reading(rows, given, mounted, is_turned, shafts)


def _whole(kit: Kit, read: _Reading, problem: Problem, stuff: Mapping[str, Stuff]) -> FillProblem:
    shafts = read.shafts
    return FillProblem(
        kit=kit, problem=problem, is_turned=read.is_turned, stuff=stuff, spots=shafts.spots,
        rows=shafts.rows, standing=shafts.standing, left_out=shafts.left_out,
        unmeasured=shafts.unmeasured, mounted=read.mounted,
    )  # fmt: skip


def check_can_be_reckoned(kit: Kit) -> None:
    """Raise what must be entered before stacks can be worked out. No query."""
    mill = kit.job.mill
    if kit.assembled_at is None:
        raise Conflict(
            "kit_not_assembled",
            _("Nothing is chosen for kit {kit} yet, so its rolls are unknown. Assemble it first."),
            kit=kit.number,
        )
    if mill.guide_plane_nm is None:
        raise Conflict(
            "guide_plane_missing",
            _("Mill {mill} has no guide plane on record, and every pass is placed to it. Enter it "
              "on the mill's page."),
            mill=mill.name,
        )  # fmt: skip
    if not mill.closing or mill.closing_least_nm is None or mill.closing_most_nm is None:
        raise Conflict(
            "closing_missing",
            _("Nobody has said how the shafts of mill {mill} close and how far a stack may stand "
              "proud or short. Enter it on the mill's page."),
            mill=mill.name,
        )  # fmt: skip


def _nothing(kit: Kit, shafts: Shafts) -> Conflict:
    first = shafts.left_out[0] if shafts.left_out else None
    if first is None:
        return Conflict(
            "nothing_to_fill",
            _("Kit {kit} puts nothing on a top or bottom shaft, so there is nothing to fill."),
            kit=kit.number,
        )
    return Conflict(
        "nothing_to_fill",
        _("No shaft of kit {kit} can be reckoned. Station {station}: {said}"),
        kit=kit.number, station=first.station, said=first.said,
    )  # fmt: skip


def _mounted(setup: Setup | None) -> frozenset[ShaftKey]:
    states = shaft_states([setup.pk]) if setup is not None else {}
    return frozenset(
        (station, shaft)
        for (_setup, station, shaft), state in states.items()
        if state.what == ShaftAct.MOUNTED
    )


def _charted_turned(kit: Kit) -> bool:
    charts = SetupChart.objects.filter(
        tool_set=kit.job.tool_set_id, mill=kit.job.mill_id, is_current=True
    )
    return charts.filter(is_turned=True).exists()


def _reader(
    kit: Kit, rows: Sequence[KitPosition], mounted: frozenset[ShaftKey], is_turned: bool,
    given: Mapping[str, int | float],
) -> ShaftReader:  # fmt: skip
    shafts: dict[ShaftKey, MillShaft] = {}
    banks: dict[int, int] = defaultdict(int)
    found = MillShaft.objects.filter(station__mill=kit.job.mill_id).select_related("station")
    for each in found.order_by("-bank"):
        shafts[each.station.number, each.which] = each
        banks[each.station.number] = max(banks[each.station.number], each.bank)
    middle: dict[tuple[int, str], list[SetFill]] = defaultdict(list)
    fills = SetFill.objects.filter(set_pass__tool_set=kit.job.tool_set_id)
    for each_fill in fills.select_related("set_pass"):
        middle[each_fill.set_pass.number, each_fill.shaft].append(each_fill)
    drawings = {row.drawing_id for row in rows}
    revisions = DrawingRevision.objects.filter(drawing__in=drawings, is_current=True)
    return ShaftReader(
        shafts=shafts,
        stations=frozenset(number for number, _which in shafts),
        middle=middle,
        revisions={revision.drawing_id: revision for revision in revisions},
        is_turned=is_turned,
        play_nm=int(given["spacer_bore_play"]),
        seat_nm=int(given["spacer_seat"]),
        duplex=frozenset(number for number, bank in banks.items() if bank > 1),
        mounted=mounted,
    )


def _wishes(kit: Kit, rows: Sequence[KitPosition], given: Mapping[str, int | float]) -> Wishes:
    said = KitFill.objects.filter(kit=kit).values_list("said", flat=True).first() or {}
    gone = {key: frozenset(ids) for key, ids in said.get("not_there", {}).items()}
    mill = kit.job.mill_id
    stations = stations_of([mill], tool_set_id=kit.job.tool_set_id)[mill]
    return Wishes(kit, rows, stations, gone, int(given["spacer_tolerance"]))


def _rules(kit: Kit, given: Mapping[str, int | float]) -> Rules:
    mill = kit.job.mill
    guide, difference = int(given["guide_window"]), int(given["difference_window"])
    try:
        return Rules(
            guide_plane_nm=mill.guide_plane_nm,
            closing=cast(Closing, mill.closing),
            closing_nm=(mill.closing_least_nm, mill.closing_most_nm),
            guide_nm=(-guide, guide),
            difference_nm=(-difference, difference),
            most_shims=int(given["shims_per_fill"]),
            make=MakeGrid(
                int(given["make_grid_step"]), int(given["make_grid_least"]),
                int(given["make_grid_most"]),
            ),
        )  # fmt: skip
    except ValueError as error:
        raise Conflict(
            "closing_window_odd",
            _("How mill {mill} closes and what a shop makes do not go together: {said}. Put it "
              "right on the mill's page or in the settings."),
            mill=mill.name, said=str(error),
        ) from error  # fmt: skip


def _stack(shafts: Shafts, station: Station, which: str) -> tuple[Pieces, ...] | None:
    """What stands in every fill of a shaft."""
    shaft = next(each for each in station.shafts if each.which == which)
    return tuple(
        tuple(source_key(row) for row in shafts.standing.get(fill.key, ())) for fill in shaft.fills
    )


def _keep(
    shafts: Shafts, known: Mapping[str, int], gone: Collection[int]
) -> dict[ShaftKey, tuple[Pieces, ...]]:
    """By shaft what an earlier answer or a person put there, as far as it still exists; not where
    one of the positions was looked for in vain."""
    lost = {
        (shafts.spots[key].station, shafts.spots[key].shaft)
        for key, rows in shafts.standing.items()
        if any(row.pk in gone for row in rows)
    }
    found = {}
    for station in shafts.stations:
        for shaft in station.shafts:
            stack = _stack(shafts, station, shaft.which) or ()
            is_lost = (station.number, shaft.which) in lost
            if (
                any(stack)
                and not is_lost
                and all(key in known for pieces in stack for key in pieces)
            ):
                found[station.number, str(shaft.which)] = stack
    return found


def _pins(
    shafts: Shafts, mounted: frozenset[ShaftKey], known: Mapping[str, int]
) -> dict[str, Pieces]:
    """Fills that a person put there, and all of a shaft that is mounted."""
    found: dict[str, Pieces] = {}
    for key, rows in shafts.standing.items():
        spot = shafts.spots[key]
        is_mounted = (spot.station, spot.shaft) in mounted
        if is_mounted or any(row.is_pinned for row in rows):
            pieces = tuple(source_key(row) for row in rows)
            if all(each in known for each in pieces):
                found[key] = pieces
    return found


def _carrying(
    station: Station, shafts: Shafts, on: OnMill | None, known: Mapping[str, int]
) -> Station:
    """With what the mill carries there now, where its rolls are the kit's own, in order."""
    there = (
        next((each for each in on.stations if each.number == station.number), None) if on else None
    )
    if there is None or not there.stood:
        return station
    carried: dict[str, tuple[Pieces, ...]] = {}
    for shaft in station.shafts:
        rolls = [r for r in shafts.rows[station.number, shaft.which] if not r.fill]
        stack = _carried(there, shaft, rolls)
        if stack is None or not all(key in known for pieces in stack for key in pieces):
            return station
        carried[shaft.which] = stack
    return Station(station.number, station.shafts, carried)


def _carried(
    there: StationOn, shaft: Any, rolls: Sequence[KitPosition]
) -> tuple[Pieces, ...] | None:
    stood = [each for each in there.on(shaft.which) if each.of == "setup"]
    mine = [row.piece_id for row in rolls]
    if None in mine or [each.piece_id for each in stood if not each.is_fill] != mine:
        return None
    found: list[tuple[str, ...]] = []
    rest = list(stood)
    for part in shaft.parts:
        if part in shaft.rolls and rest and not rest[0].is_fill:
            rest.pop(0)
            continue
        here: list[str] = []
        while rest and rest[0].is_fill:
            here.append(_key_of(rest.pop(0)))
        found.append(tuple(here))
    return tuple(found) if len(found) == len(shaft.fills) and not rest else None


def _key_of(each: Stood) -> str:
    return f"of {each.drawing}" if each.is_pooled else each.code

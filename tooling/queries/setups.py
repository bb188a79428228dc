"""Setups as pages, lists and programs see them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.engineering.codes import fold
from tooling.errors import Unknown
from tooling.models import (
    ChartState,
    KitState,
    Setup,
    SetupState,
    SetupStep,
    ShaftMount,
    Station,
    StepKind,
)
from tooling.queries.as_set import Aim, aims_of, last_set
from tooling.queries.part_checks import checks_of
from tooling.queries.setup_stacks import SHAFTS, OnShaft, ShaftAt, stacks_of
from tooling.queries.setup_views import (
    CheckView,
    HandoverView,
    MountState,
    OtherSetup,
    Remaining,
    SetupHead,
    SetupPage,
    ShaftMark,
    StationMarks,
)
from tooling.queries.shaft_states import ShaftState, shaft_states
from tooling.queries.strip_measures import strip_of

SETUP_WITH = (
    "kit__job__tool_set",
    "kit__job__mill",
    "kit__place",
    "mill__place",
    "chart",
    "plate",
    "started_by",
)
MOST_OTHERS = 12
MOST_ROWS = 100
SHAFT_WORDS = {
    "top": gettext_lazy("top"),
    "bottom": gettext_lazy("bottom"),
    "side": gettext_lazy("side rolls"),
}


def find_setup(number: str, *, bare: bool = False) -> Setup:
    """The setup of the kit of this number; ``bare``: without what it belongs to, where that is read
    anew anyway. One query. Raises Unknown ``unknown_setup``."""
    rows = Setup.objects.all() if bare else Setup.objects.select_related(*SETUP_WITH)
    found = rows.filter(kit__number=fold(number.replace("\x00", ""))).first()
    if found is None:
        raise Unknown(
            "unknown_setup",
            _("Kit {number} is not being mounted. Start from its page."),
            number=number[:60],
        )
    return found


def setup_version(number: str) -> int:
    """The setup's version, which is its kit's. One query. Raises Unknown ``unknown_setup``."""
    found = Setup.objects.filter(kit__number=number).values_list("kit__version", flat=True).first()
    if found is None:
        raise Unknown("unknown_setup", _("There is no setup {number}."), number=number[:60])
    return found


def number_of_kit(code: str) -> str:
    """The number of the setup of the kit with this label code; empty where it has none. One query,
    none for a label of another kind."""
    folded = fold(code)
    if not folded.startswith("K"):
        return ""
    found = Setup.objects.filter(kit__number=folded).values_list("kit__number", flat=True)
    return found.first() or ""


def mounted_at(code: str, *, while_mounting: bool = False) -> tuple[str, int] | None:
    """Of a station's label: the setup that stands on its mill, else one that is built off line for
    it, and the station's number. ``while_mounting``: not one that runs already.

    Two queries at most, none for a label of another kind.
    """
    folded = fold(code)
    if not folded.startswith("M"):
        return None
    station = Station.objects.filter(code=folded).values_list("mill_id", "number").first()
    if station is None:
        return None
    rows = Setup.objects.exclude(state=SetupState.STRUCK).filter(mill=station[0])
    up = list(rows.order_by("-started_at").select_related("kit"))
    found = next((row for row in up if row.plate_id is None or row.docked_at), None)
    found = found or next(iter(up), None)
    if found is None or (while_mounting and found.state != SetupState.MOUNTING):
        return None
    return found.kit.number, station[1]


@dataclass(frozen=True)
class SetupRow:
    """One setup in the list."""

    number: str
    job: str
    set_number: str
    mill: str
    state: str
    state_word: str
    plate: str
    started_at: datetime
    good_at: datetime | None


def setup_list() -> list[SetupRow]:
    """Those that stand first, the newest on top. One query."""
    rows = Setup.objects.select_related("kit__job__tool_set", "mill", "plate")
    ordered = sorted(
        rows.order_by("-started_at")[:MOST_ROWS], key=lambda each: each.state == SetupState.STRUCK
    )
    return [
        SetupRow(
            number=row.kit.number,
            job=row.kit.job.number,
            set_number=row.kit.job.tool_set.number,
            mill=row.mill.name,
            state=row.state,
            state_word=str(row.get_state_display()),
            plate=row.plate.name if row.plate and not row.docked_at else "",
            started_at=row.started_at,
            good_at=row.good_at,
        )
        for row in ordered
    ]


def head_of(setup: Setup) -> SetupHead:
    """What every page names; no query for a setup from ``find_setup``."""
    kit, chart = setup.kit, setup.chart
    proved = (
        chart is not None
        and chart.state == ChartState.PROVED
        and chart.is_turned == setup.is_turned
    )
    return SetupHead(
        number=kit.number,
        version=kit.version,
        state=setup.state,
        state_word=str(setup.get_state_display()),
        is_kit_open=kit.state != KitState.CLOSED,
        job=kit.job.number,
        set_number=kit.job.tool_set.number,
        set_name=kit.job.tool_set.name,
        mill=setup.mill.name,
        mill_number=setup.mill.number,
        unit=setup.mill.unit,
        is_turned=setup.is_turned,
        needs_proving=not proved,
        check_level=setup.check_level,
        check_word=str(setup.get_check_level_display()),
        plate=setup.plate.name if setup.plate else "",
        is_docked=setup.docked_at is not None,
        started_at=setup.started_at,
        started_by=str(setup.started_by) if setup.started_by else "",
        good_at=setup.good_at,
        struck_at=setup.struck_at,
    )


def setup_page(number: str) -> SetupPage:
    """A setup with its stations. Eleven queries, however many stations.

    Raises Unknown ``unknown_setup``.
    """
    setup = find_setup(number)
    stations = stations_of_setup(setup)
    checks = checks_of(setup)
    remaining = _remaining(stations, checks)
    return SetupPage(
        head=head_of(setup),
        stations=stations,
        remaining=remaining,
        checks=checks,
        handover=last_handover(setup),
        others=_others(setup),
        summary=summary(remaining),
        strip=strip_of(setup),
    )


def stations_of_setup(setup: Setup) -> tuple[StationMarks, ...]:
    """Every station of the mill, with what the kit puts there. Six queries."""
    stacks, states = stacks_of(setup), shaft_states([setup.pk])
    codes = dict(Station.objects.filter(mill=setup.mill_id).values_list("number", "code"))
    aims, done = aims_of(setup), last_set([setup.pk])
    numbers = sorted({*codes, *(station for station, _shaft in stacks)})
    return tuple(
        _station(number, codes.get(number, ""), setup, stacks, states, aims, done)
        for number in numbers
    )


def _station(
    number: int,
    code: str,
    setup: Setup,
    stacks: Mapping[ShaftAt, Sequence[OnShaft]],
    states: Mapping[tuple[int, int, str], ShaftState],
    aims: Mapping[tuple[int, str], Aim],
    done: Mapping[tuple[int, int, str, str], object],
) -> StationMarks:
    marks = tuple(
        mark_of(number, shaft, stacks[number, shaft], states.get((setup.pk, number, shaft)))
        for shaft in SHAFTS
        if (number, shaft) in stacks
    )
    first = next((stacks[number, s][0].row for s in SHAFTS if (number, s) in stacks), None)
    wanted, is_set = gaps_count(setup, number, aims, done) if marks else (0, 0)
    return StationMarks(number, code, first.pass_number if first else None, marks, is_set, wanted)


def gaps_count(
    setup: Setup,
    number: int,
    aims: Mapping[tuple[int, str], Aim],
    done: Mapping[tuple[int, int, str, str], object],
) -> tuple[int, int]:
    """How many numbers the chart wants at the station, and how many of them are set."""
    keys = [
        (setup.pk, number, aim.name, end)
        for (station, _name), aim in aims.items()
        if station == number and aim.has_target
        for end in aim.ends
    ]
    return len(keys), sum(key in done for key in keys)


def mark_of(
    number: int, shaft: str, stack: Sequence[OnShaft], state: ShaftState | None
) -> ShaftMark:
    """How one shaft stands: the last word about it, else whether all of it is here."""
    if state is not None and state.what in ("mounted", "skipped"):
        found = MountState.MOUNTED if state.what == "mounted" else MountState.LEFT_OUT
        return ShaftMark(
            number, shaft, found, len(stack), state.by, state.at, state.note, state.checked
        )
    here = all(each.row.is_staged for each in stack)
    return ShaftMark(
        number, shaft, MountState.TO_MOUNT if here else MountState.NOT_HERE, len(stack)
    )


def last_handover(setup: Setup) -> HandoverView | None:
    """One query."""
    rows = SetupStep.objects.filter(
        setup=setup, what=StepKind.HANDED_OVER, corrected_by=None, is_taken_back=False
    )
    row = rows.select_related("by").order_by("happened_at", "id").last()
    if row is None:
        return None
    return HandoverView(row.happened_at, str(row.by) if row.by else "", row.by_id, row.note)


def handover_to(setup_number: str, person_id: int | None) -> HandoverView | None:
    """The last handover that stands, for whoever comes next: not its writer, and not somebody who
    mounted anything since. One query."""
    since = ShaftMount.objects.filter(
        setup=OuterRef("setup"), by=person_id, happened_at__gt=OuterRef("happened_at")
    )
    rows = SetupStep.objects.filter(
        setup__kit__number=setup_number,
        what=StepKind.HANDED_OVER,
        corrected_by=None,
        is_taken_back=False,
    )
    rows = rows.annotate(is_known=Exists(since)).select_related("by")
    row = rows.order_by("happened_at", "id").last()
    if row is None or row.is_known or row.by_id == person_id:
        return None
    return HandoverView(row.happened_at, str(row.by) if row.by else "", row.by_id, row.note)


def _others(setup: Setup) -> tuple[OtherSetup, ...]:
    rows = Setup.objects.filter(kit__job__tool_set=setup.kit.job.tool_set_id).exclude(pk=setup.pk)
    found = rows.select_related("kit", "mill").order_by("-started_at")[:MOST_OTHERS]
    return tuple(OtherSetup(row.kit.number, row.mill.name, row.started_at) for row in found)


def _remaining(stations: Sequence[StationMarks], checks: Sequence[CheckView]) -> Remaining:
    shafts = [each for row in stations for each in row.shafts]
    waiting = tuple(
        f"{each.station} {SHAFT_WORDS[each.shaft]}" for each in shafts if not each.is_done
    )
    return Remaining(
        shafts=len(shafts),
        mounted=sum(each.state == MountState.MOUNTED for each in shafts),
        left_out=sum(each.state == MountState.LEFT_OUT for each in shafts),
        gaps_wanted=sum(row.gaps_wanted for row in stations),
        gaps_set=sum(row.gaps_set for row in stations),
        checks=len(checks),
        checks_good=sum(bool(each.is_good) for each in checks),
        to_mount=waiting,
    )


def summary(remaining: Remaining) -> tuple[str, ...]:
    """What is done and what remains, in sentences for whoever takes over."""
    told = [
        _("{mounted} of {shafts} shafts are mounted, {left_out} left out.").format(
            mounted=remaining.mounted, shafts=remaining.shafts, left_out=remaining.left_out
        )
    ]
    if remaining.to_mount:
        which = ", ".join(remaining.to_mount[:8])
        more = len(remaining.to_mount) - 8
        words = (
            _("Still to mount: {which}.")
            if more <= 0
            else _("Still to mount: {which} and {n} more.")
        )
        told.append(words.format(which=which, n=more))
    if remaining.gaps_wanted:
        told.append(
            _("{done} of {wanted} numbers are set.").format(
                done=remaining.gaps_set, wanted=remaining.gaps_wanted
            )
        )
    if remaining.checks:
        told.append(
            _("{good} of {checks} characteristics of the first piece are good.").format(
                good=remaining.checks_good, checks=remaining.checks
            )
        )
    return tuple(told)

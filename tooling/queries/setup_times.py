"""The times of setups: steps and delays as they stand, and the mill's own timed setups."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from tooling.engineering.changeover import Forecast, Load, Mounted, change_between, forecast
from tooling.models import (
    Delay,
    DelayCause,
    KitPosition,
    Mill,
    Setup,
    SetupState,
    SetupStep,
    StepKind,
)
from tooling.queries.settings import setting_values
from tooling.queries.setups import find_setup

IN_ORDER = (
    StepKind.STOPPED,
    StepKind.CLEARED,
    StepKind.MOUNTED,
    StepKind.GAPPED,
    StepKind.THREADED,
    StepKind.GOOD,
)
"""The steps of a changeover that are timed; looked over and handed over may come at any time."""

LAST_TIMED = 30
"""So many of a mill's newest setups are asked for their times."""


@dataclass(frozen=True)
class StepRow:
    """A step that stands. ``minutes`` since the one before it, delays of that stretch included;
    ``is_timed`` when it is one of a changeover's own."""

    id: int
    uuid: str
    what: str
    word: str
    at: datetime
    by: str
    note: str
    minutes: float | None
    is_timed: bool


@dataclass(frozen=True)
class DelayRow:
    id: int
    uuid: str
    cause: str
    word: str
    minutes: float
    station: int | None
    at: datetime
    by: str
    note: str


@dataclass(frozen=True)
class CauseRow:
    """What one cause took in all."""

    word: str
    minutes: float
    times: int


@dataclass(frozen=True)
class Times:
    """Steps and delays of one setup. ``own_minutes``: from the stop (else the begin) to the first
    good part, without the delays; None until then. ``running_minutes``: so far, in all."""

    steps: tuple[StepRow, ...]
    delays: tuple[DelayRow, ...]
    next_step: str
    begun_at: datetime
    good_at: datetime | None
    own_minutes: float | None

    @property
    def delay_minutes(self) -> float:
        return sum(each.minutes for each in self.delays)

    @property
    def all_minutes(self) -> float | None:
        """With the delays, None until the first good part."""
        return None if self.own_minutes is None else self.own_minutes + self.delay_minutes

    @property
    def causes(self) -> tuple[CauseRow, ...]:
        """The costliest cause first."""
        words: dict[str, list[float]] = defaultdict(list)
        for each in self.delays:
            words[each.word].append(each.minutes)
        rows = [CauseRow(word, sum(all_), len(all_)) for word, all_ in words.items()]
        return tuple(sorted(rows, key=lambda row: (-row.minutes, row.word)))


@dataclass(frozen=True)
class TimesPage:
    """A setup's times beside what was forecast for it. ``opened``: stations that it opened,
    reckoned from what stood there before."""

    kit: str
    version: int
    job: str
    set_number: str
    set_name: str
    mill: str
    mill_name: str
    state: str
    is_over: bool
    stations: tuple[int, ...]
    times: Times
    opened: int
    forecast: Forecast


def times_page(number: str) -> TimesPage:
    """One setup's times. Eight queries. Raises Unknown ``unknown_setup``."""
    setup = find_setup(number)
    steps, delays = _said([setup.pk])
    times = times_of(setup, steps[setup.pk], delays[setup.pk])
    opened = opened_by_setup(setup.mill, until=setup)
    stations = setup.mill.stations.order_by("number").values_list("number", flat=True)
    return TimesPage(
        kit=setup.kit.number,
        version=setup.kit.version,
        job=setup.kit.job.number,
        set_number=setup.kit.job.tool_set.number,
        set_name=setup.kit.job.tool_set.name,
        mill=setup.mill.number,
        mill_name=setup.mill.name,
        state=setup.state,
        is_over=setup.state == SetupState.STRUCK,
        stations=tuple(stations),
        times=times,
        opened=opened.get(setup.pk, 0),
        forecast=forecast_for(setup.mill, opened.get(setup.pk, 0), without=setup, known=opened),
    )


def _said(
    setups: Sequence[int],
) -> tuple[dict[int, list[SetupStep]], dict[int, list[Delay]]]:
    """What stands of steps and delays, by setup. Two queries."""
    steps: dict[int, list[SetupStep]] = defaultdict(list)
    delays: dict[int, list[Delay]] = defaultdict(list)
    where = {"setup__in": list(setups), "corrected_by": None, "is_taken_back": False}
    for step in (
        SetupStep.objects.filter(**where).select_related("by").order_by("happened_at", "pk")
    ):
        steps[step.setup_id].append(step)
    for delay in Delay.objects.filter(**where).select_related("by").order_by("happened_at", "pk"):
        delays[delay.setup_id].append(delay)
    return steps, delays


def times_of(setup: Setup, steps: Sequence[SetupStep], delays: Sequence[Delay]) -> Times:
    """What stands of one setup. No query."""
    first = {step.what: step.happened_at for step in reversed(steps)}
    begun = first.get(StepKind.STOPPED, setup.started_at)
    good = first.get(StepKind.GOOD)
    lost = sum(each.minutes for each in delays if good is None or each.happened_at <= good)
    own = None if good is None else max(0.0, (good - begun).total_seconds() / 60 - lost)
    return Times(
        steps=_step_rows(setup, steps),
        delays=tuple(_delay_row(each) for each in delays),
        next_step=_next_step(first),
        begun_at=begun,
        good_at=good,
        own_minutes=own,
    )


def _next_step(said: Mapping[str, datetime]) -> str:
    """The one after the last that was said; empty after the first good part."""
    last = max((n for n, each in enumerate(IN_ORDER) if each in said), default=-1)
    return IN_ORDER[last + 1].value if last + 1 < len(IN_ORDER) else ""


def _step_rows(setup: Setup, steps: Sequence[SetupStep]) -> tuple[StepRow, ...]:
    rows: list[StepRow] = []
    last: datetime | None = None
    for step in steps:
        timed = step.what in IN_ORDER
        minutes = None if last is None else (step.happened_at - last).total_seconds() / 60
        rows.append(
            StepRow(
                id=step.pk,
                uuid=str(step.uuid),
                what=step.what,
                word=str(step.get_what_display()),
                at=step.happened_at,
                by=str(step.by) if step.by else "",
                note=step.note,
                minutes=minutes if timed else None,
                is_timed=timed,
            )
        )
        last = step.happened_at if timed else last
    return tuple(rows)


def _delay_row(delay: Delay) -> DelayRow:
    return DelayRow(
        id=delay.pk,
        uuid=str(delay.uuid),
        cause=delay.cause,
        word=str(DelayCause(delay.cause).label),
        minutes=delay.minutes,
        station=delay.station_number,
        at=delay.happened_at,
        by=str(delay.by) if delay.by else "",
        note=delay.note,
    )


def opened_by_setup(mill: Mill, *, until: Setup | None = None) -> dict[int, int]:
    """Setup id → stations that it opened, reckoned from the kit that stood there before it; of
    the newest setups. The first that is known opened all that it fills, and so did one whose kit
    was not there yet when the setup before it was struck down: nothing was left on for it. Two
    queries."""
    rows = Setup.objects.filter(mill=mill).order_by("-started_at", "-pk")
    if until is not None:
        rows = rows.filter(started_at__lte=until.started_at)
    values = rows.values_list("pk", "kit_id", "kit__assembled_at", "struck_at")
    newest = list(reversed(values[: LAST_TIMED + 1]))
    loads = _loads([kit for _pk, kit, _at, _struck in newest])
    found: dict[int, int] = {}
    before, struck = Load({}), None
    for pk, kit, assembled_at, struck_at in newest:
        if struck is not None and (assembled_at is None or assembled_at > struck):
            before = Load({})
        after = loads.get(kit, Load({}))
        found[pk] = change_between(before, after).effort.stations
        before, struck = after, struck_at
    return found


def _loads(kits: Sequence[int]) -> dict[int, Load]:
    """What each kit put on the shafts, fills left aside. One query."""
    rows = KitPosition.objects.filter(kit__in=kits, fill="").exclude(shaft="line")
    values = rows.order_by("kit", "station_number", "shaft", "order").values_list(
        "kit_id", "station_number", "shaft", "piece__code", "drawing__number"
    )
    stacks: dict[int, dict[tuple[int, str], list[Mounted]]] = defaultdict(dict)
    for kit, station, shaft, piece, drawing in values:
        thing = Mounted(piece or f"drawing {drawing}", is_pooled=piece is None)
        stacks[kit].setdefault((station, shaft), []).append(thing)
    return {
        kit: Load({spot: tuple(stack) for spot, stack in of_kit.items()})
        for kit, of_kit in stacks.items()
    }


def timed_setups(
    mill: Mill, *, without: Setup | None = None, known: Mapping[int, int] | None = None
) -> list[tuple[int, float]]:
    """The mill's own setups as (stations opened, minutes without delays), the newest of them. Three
    queries, two more without ``known``."""
    opened = opened_by_setup(mill) if known is None else known
    setups = Setup.objects.filter(pk__in=list(opened), mill=mill)
    if without is not None:
        setups = setups.exclude(pk=without.pk)
    rows = list(setups)
    steps, delays = _said([setup.pk for setup in rows])
    found = []
    for setup in rows:
        times = times_of(setup, steps[setup.pk], delays[setup.pk])
        if times.own_minutes is not None and opened[setup.pk]:
            found.append((opened[setup.pk], times.own_minutes))
    return found


def forecast_for(
    mill: Mill,
    opened: int,
    *,
    without: Setup | None = None,
    known: Mapping[int, int] | None = None,
) -> Forecast:
    """Minutes for so many opened stations, from the mill's own times once it has enough."""
    return Forecaster.of(mill, without=without, known=known).minutes(opened)


@dataclass(frozen=True)
class Forecaster:
    """What a mill's forecasts rest on, read once."""

    timed: tuple[tuple[int, float], ...]
    minutes_per_opened: float
    timed_least: int

    @classmethod
    def of(
        cls, mill: Mill, *, without: Setup | None = None, known: Mapping[int, int] | None = None
    ) -> Forecaster:
        """Four queries, two more without ``known``."""
        names = ["minutes_per_opened_station", "timed_setups_least"]
        values = setting_values(names, mill=mill)
        return cls(
            tuple(timed_setups(mill, without=without, known=known)),
            float(values["minutes_per_opened_station"]),
            int(values["timed_setups_least"]),
        )

    def minutes(self, opened: int) -> Forecast:
        return forecast(
            opened=opened,
            timed=self.timed,
            minutes_per_opened=self.minutes_per_opened,
            timed_least=self.timed_least,
        )

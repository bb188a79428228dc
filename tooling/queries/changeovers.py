"""From what stands on a mill to what comes next: what stays, what comes off and where to, what
goes on, and how long it takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from tooling.engineering.changeover import (
    Change,
    Forecast,
    Mounted,
    ShaftChange,
    Spot,
    change_between,
)
from tooling.errors import Unknown
from tooling.models import Job, JobState, Kit, KitPosition, KitState, Mill
from tooling.queries.homes import homes_of_pieces
from tooling.queries.mill_loads import JobLoad, Thing, compared, job_loads, standing_load
from tooling.queries.on_mill import OnMill, Standing, on_mill
from tooling.queries.setup_times import Forecaster
from tooling.queries.staying import staying


@dataclass(frozen=True)
class Going:
    """One thing that stays, comes off or goes on. ``where``: to where it comes off, or from where
    it goes on; empty where nobody knows."""

    code: str
    mark: str
    drawing: str
    where: str
    count: int = 1

    @property
    def name(self) -> str:
        return self.mark or self.drawing


@dataclass(frozen=True)
class ShaftRow:
    """One shaft: what stays from the shoulder, what comes off outermost first, what goes on from
    the shoulder. ``reason``: why nothing may stay."""

    station: int
    shaft: str
    stays: tuple[Going, ...]
    off: tuple[Going, ...]
    on: tuple[Going, ...]
    reason: str

    @property
    def is_touched(self) -> bool:
        return bool(self.off or self.on)


@dataclass(frozen=True)
class NextUp:
    """The job that comes next. ``is_filled``: its spacers are chosen; ``is_known``: its set tells
    what goes on."""

    number: str
    set_number: str
    set_name: str
    variant: str
    kit: str
    starts_at: datetime
    is_filled: bool
    is_known: bool


@dataclass(frozen=True)
class Changeover:
    """The mill's next changeover. Lengths play no part; mass in kg, times in minutes.
    ``next`` is None while no job is planned, ``change`` too. ``leaves_fills_out``: the next kit's
    shafts are not filled yet, so what fills them now is left aside."""

    mill: str
    mill_name: str
    setup: Standing | None
    next: NextUp | None
    shafts: tuple[ShaftRow, ...]
    opened: tuple[int, ...]
    pieces: int
    mass_kg: float
    staying: int
    forecast: Forecast | None
    change: Change | None
    leaves_fills_out: bool = False

    @property
    def touched(self) -> tuple[ShaftRow, ...]:
        return tuple(each for each in self.shafts if each.is_touched)

    @property
    def untouched(self) -> tuple[ShaftRow, ...]:
        return tuple(each for each in self.shafts if not each.is_touched)


def next_jobs(mill: Mill, setup: Standing | None, *, most: int) -> list[Job]:
    """The mill's planned jobs by start, without the one whose setup stands there. One query."""
    rows = Job.objects.filter(mill=mill, state=JobState.PLANNED).select_related(
        "tool_set", "variant"
    )
    if setup is not None:
        rows = rows.exclude(number=setup.job)
    return list(rows.order_by("starts_at", "number")[:most])


def changeover(mill: Mill, *, at: datetime) -> Changeover:
    """What the next job changes on a mill. Thirty-one queries at most."""
    on = on_mill(mill.number)
    if on is None:
        raise Unknown("unknown_mill", _("There is no mill {number}."), number=mill.number)
    jobs = next_jobs(mill, on.setup, most=1)
    if not jobs:
        return Changeover(mill.number, mill.name, on.setup, None, (), (), 0, 0.0, 0, None, None)
    job = jobs[0]
    now, then = standing_load(on), job_loads(mill, jobs)[job.pk]
    before, after = compared(now, then)
    rule = staying(mill, on, at=at)
    change = change_between(before, after, must_strip=rule.must_strip(now, then))
    kit = Kit.objects.filter(job=job).exclude(state=KitState.CLOSED).first()
    words = _Words.of(on, now, then, change)
    return Changeover(
        mill=mill.number,
        mill_name=mill.name,
        setup=on.setup,
        next=NextUp(
            number=job.number,
            set_number=job.tool_set.number,
            set_name=job.tool_set.name,
            variant=job.variant.name if job.variant else "",
            kit=kit.number if kit else "",
            starts_at=job.starts_at,
            is_filled=then.is_filled,
            is_known=then.is_known,
        ),
        shafts=tuple(words.row(each) for each in change.shafts),
        opened=change.opened,
        pieces=change.effort.pieces,
        mass_kg=change.effort.mass_kg,
        staying=sum(len(each.stays) for each in change.shafts),
        forecast=Forecaster.of(mill).minutes(change.effort.stations),
        change=change,
        leaves_fills_out=now.is_filled and now.is_known and not then.is_filled,
    )


@dataclass(frozen=True)
class _Words:
    """Names and places for what moves."""

    now: Mapping[str, Thing]
    then: Mapping[str, Thing]
    off_to: Mapping[str, str]
    goes_to: Mapping[str, Spot]

    @classmethod
    def of(cls, on: OnMill, now: JobLoad, then: JobLoad, change: Change) -> _Words:
        """Five queries at most."""
        off = [thing.key for each in change.shafts for thing in each.off]
        goes_to = {
            thing.key: (each.station, each.shaft)
            for each in change.shafts
            for thing in each.on
            if not thing.is_pooled
        }
        pieces = {now.things[key].piece_id or 0: key for key in off if key in now.things}
        pieces.pop(0, None)
        pegs = _pegs(on, list(pieces))
        homes = homes_of_pieces([pk for pk in pieces if pk not in pegs])
        off_to = {pieces[pk]: said for pk, said in pegs.items()}
        off_to |= {
            pieces[pk]: home.place.path_name or home.place.name for pk, home in homes.items()
        }
        return cls(now.things, then.things, off_to, goes_to)

    def row(self, each: ShaftChange) -> ShaftRow:
        return ShaftRow(
            station=each.station,
            shaft=each.shaft,
            stays=_gathered([self._going(thing, "") for thing in each.stays]),
            off=_gathered([self._going(thing, self._away(thing)) for thing in each.off]),
            on=_gathered([self._going(thing, self._from(thing)) for thing in each.on]),
            reason=each.reason,
        )

    def _going(self, thing: Mounted, where: str) -> Going:
        said = self.now.get(thing.key) or self.then[thing.key]
        return Going(said.code, said.mark, said.drawing, where)

    def _away(self, thing: Mounted) -> str:
        spot = self.goes_to.get(thing.key)
        if spot is not None:
            return _("station {n} {shaft}").format(n=spot[0], shaft=spot[1])
        if thing.is_pooled:
            return _("to its bin, by count")
        return self.off_to.get(thing.key, "")

    def _from(self, thing: Mounted) -> str:
        said = self.then[thing.key]
        return f"{said.where} {said.peg}".strip() if said.peg not in said.where else said.where


def _pegs(on: OnMill, pieces: list[int]) -> dict[int, str]:
    """Where the standing setup's kit has its pieces when they are off: peg, else cart. One query,
    none without a setup."""
    if on.setup is None:
        return {}
    rows = KitPosition.objects.filter(kit__number=on.setup.kit, piece__in=pieces)
    return {
        row.piece_id or 0: (row.peg.path_name or row.peg.name) if row.peg else on.setup.cart
        for row in rows.select_related("peg")
        if row.peg is not None or on.setup.cart
    }


def _gathered(things: list[Going]) -> tuple[Going, ...]:
    """Counted things that follow each other as one."""
    found: list[Going] = []
    for each in things:
        last = found[-1] if found else None
        if last is not None and not each.mark and _alike(last, each):
            found[-1] = Going(last.code, "", last.drawing, last.where, last.count + 1)
        else:
            found.append(each)
    return tuple(found)


def _alike(one: Going, other: Going) -> bool:
    return (one.code, one.mark, one.drawing, one.where) == (
        other.code, other.mark, other.drawing, other.where,
    )  # fmt: skip

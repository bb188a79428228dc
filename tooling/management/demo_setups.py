"""How the demo's crew mounts, sets, times and strikes down: one changeover after the other."""

from __future__ import annotations

import contextlib
import random
from collections.abc import Sequence
from datetime import datetime, timedelta

from tooling.errors import Conflict
from tooling.management.demo_story import Story
from tooling.models import Characteristic, DelayCause, Kit, KitPosition, Method, Setup, StepKind
from tooling.queries.as_set import aims_of
from tooling.services import (
    as_set,
    mounting,
    part_checks,
    proving,
    setup_times,
    setups,
    strip_down,
    strip_measures,
)

SHAFT_MINUTES = 4
GAP_MINUTES = 3
SHAFTS = ("bottom", "top", "side")
OFF_NM = (0, 0, 0, 10_000, -10_000, 20_000)
"""How far from their target the crew's gaps came out: most of them not at all."""


STRIP_OFF_NM = (-30_000, -20_000, -10_000, 0, 10_000)
"""How far from plan the strip measured: mostly thinner, as it is bought."""


class Changeovers(Story):
    """A crew of two that says what it does."""

    def change_over(
        self, kit: Kit, at: datetime, *, lost: Sequence[tuple[str, float, str]] = ()
    ) -> Setup:
        """From the last good part of the job before to the first of this one. ``lost``: minutes
        that went to something else, with their cause and a word."""
        setup, then = self.begin(kit, at)
        then = self.mount_all(setup, then)
        for cause, minutes, note in lost:
            then += timedelta(minutes=minutes)
            setup_times.say_delay(
                by=self.people["crew"], at=then, setup=setup, cause=cause, minutes=minutes,
                note=note,
            )  # fmt: skip
        self.say(setup, StepKind.MOUNTED, then)
        self.measure_strip(setup, then)
        then = self.set_gaps(setup, then + timedelta(minutes=2))
        self.say(setup, StepKind.GAPPED, then)
        self.say(setup, StepKind.THREADED, then + timedelta(minutes=20))
        self.say(setup, StepKind.GOOD, then + timedelta(minutes=35))
        self.first_piece(setup, then + timedelta(minutes=45))
        setup.refresh_from_db()
        return setup

    def first_piece(self, setup: Setup, at: datetime) -> None:
        """Everything is measured and well within its limits; the engineer proves the set."""
        known = Characteristic.objects.filter(tool_set=setup.kit.job.tool_set)
        checks = [
            part_checks.CheckIn(each.name, value_nm=each.nominal_nm, value=each.nominal)
            for each in known
        ]
        if checks:
            part_checks.check_part(by=self.people["crew"], at=at, setup=setup, checks=checks)
        with contextlib.suppress(Conflict):
            proving.prove_setup(by=self.people["engineer"], at=at, setup=setup)

    def begin(self, kit: Kit, at: datetime) -> tuple[Setup, datetime]:
        """The job before is off the mill; the kit stands beside it."""
        setup = setups.start_setup(by=self.people["crew"], at=at, kit=kit)
        self.say(setup, StepKind.STOPPED, at)
        self.say(setup, StepKind.CLEARED, at + timedelta(minutes=25))
        return setup, at + timedelta(minutes=30)

    def mount_all(self, setup: Setup, at: datetime, *, stations: int | None = None) -> datetime:
        """Station after station as the strip meets them; the first so many, or all."""
        rows = KitPosition.objects.filter(kit=setup.kit, shaft__in=SHAFTS).order_by()
        spots = sorted(set(rows.values_list("station_number", "shaft")))
        numbers = sorted({number for number, _shaft in spots})[:stations]
        for number, shaft in spots:
            if number in numbers:
                mounting.mount(
                    by=self.people["crew"], at=at, setup=setup, station=number, shaft=shaft
                )
                at += timedelta(minutes=SHAFT_MINUTES)
        return at

    def measure_strip(self, setup: Setup, at: datetime) -> None:
        """The strip with a micrometer: a little off what was planned, as strip is."""
        job, dice = setup.kit.job, random.Random(f"{setup.kit.number} strip")
        if job.thickness_nm:
            strip_measures.measure_strip(
                by=self.people["crew"], at=at, setup=setup, unit=job.unit,
                thickness_nm=job.thickness_nm + dice.choice(STRIP_OFF_NM),
            )  # fmt: skip

    def set_gaps(self, setup: Setup, at: datetime) -> datetime:
        """By feelers, both ends; now and then not quite the target."""
        dice = random.Random(setup.kit.number)
        for (station, name), aim in sorted(aims_of(setup).items()):
            if name or aim.target_nm is None:
                continue
            off = dice.choice(OFF_NM)
            if not off:
                as_set.set_as_target(by=self.people["crew"], at=at, setup=setup, station=station)
            else:
                numbers = [
                    as_set.SetIn(end, "", aim.target_nm + off, None, aim.unit) for end in aim.ends
                ]
                as_set.set_numbers(
                    by=self.people["crew"], at=at, setup=setup, station=station, numbers=numbers,
                    method=aim.method or Method.FEELER, is_loaded=aim.is_loaded, sure=True,
                )  # fmt: skip
            at += timedelta(minutes=GAP_MINUTES)
        return at

    def strike(self, setup: Setup, at: datetime, *, reason: str = "") -> None:
        """All rows of pegs are full; everything is clean and sound, spacers back in their bins."""
        by = self.people["crew"]
        rows = KitPosition.objects.filter(kit=setup.kit)
        stations = set(rows.values_list("station_number", flat=True))
        strip_down.take_off(by=by, at=at, setup=setup, stations=stations)
        strip_down.look_over(by=by, at=at + timedelta(minutes=20), setup=setup)
        strip_down.strike(by=by, at=at + timedelta(minutes=25), setup=setup, reason=reason)

    def say(self, setup: Setup, what: str, at: datetime) -> None:
        setup_times.say_step(by=self.people["crew"], at=at, setup=setup, what=what, happened_at=at)


WAITED = ((DelayCause.WAITING, 18.0, "the crane was at the coil store"),)

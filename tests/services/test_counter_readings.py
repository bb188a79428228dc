"""The counter feed: whatever order it comes in, it says the same; a reset does not count back."""

from __future__ import annotations

import random
import uuid
from datetime import datetime, timedelta

import pytest

from tests.services.mounted import mounted
from tests.world import World
from tooling.engineering.lengths import NM_PER_M
from tooling.errors import NotAllowed, ToolingError
from tooling.models import CounterReading, Mill, Person, Run
from tooling.queries.counter_feed import counters_moved
from tooling.queries.runs import run_page, setup_runs
from tooling.services import counter_readings, runs
from tooling.services.counter_readings import CounterIn
from tooling.services.run_ways import RunIn

pytestmark = pytest.mark.django_db
M = NM_PER_M


def told(at: datetime, minute: float, metres: int, **more: object) -> CounterIn:
    return CounterIn(uuid.uuid4(), metres * M, at + timedelta(minutes=minute), **more)  # type: ignore[arg-type]


def send(by: Person, at: datetime, mill: Mill, *rows: CounterIn) -> list[str]:
    found = counter_readings.record_counter(
        by=by, at=at + timedelta(hours=5), mill=mill, readings=rows
    )
    return [each.code or each.status for each in found]


def moved(mill: Mill, at: datetime, first: float, last: float) -> list[tuple[str, int, int]]:
    since, until = at + timedelta(minutes=first), at + timedelta(minutes=last)
    found = counters_moved(mill, since=since, until=until)
    return [(each.counter, each.moved_nm // M, each.resets) for each in found]


def test_it_may_come_twice_late_and_in_any_order(world: World, crew: Person) -> None:
    """100 → 400, a fall to 50, then 250, set to nothing, 30: 300 + 50 + 200 + 30."""
    at, mill = world.at, world.mill()
    rows = [told(at, 0, 100), told(at, 10, 400), told(at, 20, 50), told(at, 30, 250),
            told(at, 40, 30, was_reset=True)]  # fmt: skip
    mixed = [*rows, *rows]
    random.Random(7).shuffle(mixed)
    for start in range(0, len(mixed), 3):
        send(crew, at, mill, *mixed[start : start + 3])
    assert CounterReading.objects.count() == 5
    assert moved(mill, at, 0, 60) == [("", 580, 2)]
    assert moved(mill, at, 5, 35) == [("", 550, 1)], "what it stood at before is the beginning"
    assert moved(mill, at, -60, -1) == []
    assert moved(mill, at, 12, 18) == []


def test_each_reading_is_judged_by_itself(world: World, crew: Person, viewer: Person) -> None:
    at, mill = world.at, world.mill()
    first = told(at, 0, 100)
    again = CounterIn(first.id, 200 * M, first.happened_at)
    ahead, absurd = told(at, 9_999, 5), told(at, 1, -1)
    assert send(crew, at, mill, first, first, again, ahead, absurd, told(at, 1, 101)) == [
        "taken", "repeated", "id_reused", "in_the_future", "absurd_length", "taken",
    ]  # fmt: skip
    assert moved(mill, at, -1, 60) == [("", 1, 0)]
    with pytest.raises(NotAllowed):
        send(viewer, at, mill, told(at, 2, 102))


def test_a_run_takes_its_length_from_the_feed(world: World, crew: Person) -> None:
    stood = mounted(world, crew)
    mill, at = stood.setup.mill, stood.at
    send(crew, at, mill, told(at, 5, 1_000), told(at, 40, 1_700), told(at, 80, 2_100))
    first = runs.record_run(
        by=crew, at=at + timedelta(minutes=50), setup=stood.setup, said=RunIn(from_feed=True)
    )
    assert (first.length_nm, first.source, first.way) == (700 * M, "counter", "counter")
    later = runs.record_run(
        by=crew, at=at + timedelta(minutes=90), setup=stood.setup, said=RunIn(from_feed=True)
    )
    assert (later.length_nm, later.began_at) == (400 * M, first.happened_at)
    send(crew, at, mill, told(at, 95, 5, counter="entry"), told(at, 96, 9, counter="exit"),
         told(at, 98, 25, counter="entry"), told(at, 99, 12, counter="exit"))  # fmt: skip
    with pytest.raises(ToolingError) as error:
        runs.record_run(
            by=crew, at=at + timedelta(minutes=99), setup=stood.setup, said=RunIn(from_feed=True)
        )
    assert error.value.code == "which_counter"
    named = runs.record_run(
        by=crew, at=at + timedelta(minutes=99), setup=stood.setup,
        said=RunIn(from_feed=True, counter="entry"),
    )  # fmt: skip
    assert named.length_nm == 20 * M


def test_a_run_says_what_readings_that_came_late_tell_of_it(world: World, crew: Person) -> None:
    """By hand: 1000 at the start, 1700 at 40', 2100 at 80'. The run to 50' took 700, the next
    400. Then 1760 at 48' comes late: 760 and 340. What one gains the other loses."""
    stood = mounted(world, crew)
    mill, at = stood.setup.mill, stood.at

    def come(minute: float, *rows: CounterIn) -> None:
        received = at + timedelta(minutes=minute)
        counter_readings.record_counter(by=crew, at=received, mill=mill, readings=rows)

    def ran(minute: float, **said: object) -> Run:
        return runs.record_run(
            by=crew, at=at + timedelta(minutes=minute), setup=stood.setup, sure=True,
            said=RunIn(**(said or {"from_feed": True})),  # type: ignore[arg-type]
        )  # fmt: skip

    def otherwise() -> dict[float, int]:
        page = setup_runs(stood.setup, at=at + timedelta(hours=4))
        return {(run.happened_at - at) / timedelta(minutes=1): moved.moved_nm // M
                for run, moved in page.otherwise}  # fmt: skip

    come(41, told(at, 5, 1_000), told(at, 40, 1_700))
    first = ran(50)
    come(81, told(at, 80, 2_100))
    second, typed = ran(90), ran(95, length_nm=10 * M)
    assert [run.length_nm // M for run in (first, second, typed)] == [700, 400, 10]
    assert otherwise() == {}
    come(100, told(at, 48, 1_760))
    assert otherwise() == {50: 760, 90: 340}
    assert run_page(first.pk).otherwise_nm == 760 * M
    assert run_page(typed.pk).otherwise is None
    mended = runs.correct_run(
        by=crew, at=at + timedelta(minutes=101), run=first, said=RunIn(from_feed=True), sure=True
    )
    assert (mended.length_nm, mended.began_at) == (760 * M, first.began_at)
    assert otherwise() == {90: 340}
    assert run_page(first.pk).otherwise is None, "another row stands in its place"
    runs.correct_run(
        by=crew, at=at + timedelta(minutes=102), run=second, said=RunIn(from_feed=True), sure=True
    )
    assert otherwise() == {}
    assert setup_runs(stood.setup, at=at + timedelta(hours=4)).total_nm == 1_110 * M


def test_of_several_counters_the_one_that_told_the_run_tells_it_again(
    world: World, crew: Person
) -> None:
    stood = mounted(world, crew)
    mill, at = stood.setup.mill, stood.at

    def come(minute: float, *rows: CounterIn) -> None:
        received = at + timedelta(minutes=minute)
        counter_readings.record_counter(by=crew, at=received, mill=mill, readings=rows)

    come(20, told(at, 1, 0, counter="entry"), told(at, 2, 0, counter="exit"),
         told(at, 18, 90, counter="entry"), told(at, 19, 80, counter="exit"))  # fmt: skip
    run = runs.record_run(
        by=crew, at=at + timedelta(minutes=21), setup=stood.setup,
        said=RunIn(from_feed=True, counter="exit"),
    )  # fmt: skip
    come(30, told(at, 20, 99, counter="entry"))
    assert run_page(run.pk).otherwise is None
    come(31, told(at, 20, 84, counter="exit"))
    moved = run_page(run.pk).otherwise
    assert moved is not None
    assert (moved.counter, moved.moved_nm) == ("exit", 84 * M)

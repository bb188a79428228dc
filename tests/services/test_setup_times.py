"""Steps and delays: said once, taken back, kept apart; the forecast of a mill's own times."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta

import pytest

from tests.services.mounted import Mounted, mounted
from tests.standing import Standing
from tests.world import World
from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import Delay, Kit, Person, Setup, SetupState, SetupStep, ToolSet
from tooling.queries.setup_times import forecast_for, times_page
from tooling.services import setup_times as services

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_stood(standing_world: World, standing_cast: dict[str, Person]) -> Mounted:
    return mounted(standing_world, standing_cast["crew"])


@pytest.fixture
def stood(standing: Standing, standing_stood: Mounted) -> Mounted:
    return standing.copy(standing_stood)


def after(stood: Mounted, minutes: float) -> datetime:
    return stood.at + timedelta(minutes=minutes)


def test_steps_in_their_order_and_what_it_took(stood: Mounted, crew: Person) -> None:
    for minutes, what in ((0, "stopped"), (40, "mounted"), (70, "good")):
        services.say_step(by=crew, at=after(stood, minutes), setup=stood.setup, what=what)
        if what == "mounted":
            assert times_page(stood.kit.number).times.next_step == "gapped"
    services.say_delay(
        by=crew, at=after(stood, 60), setup=stood.setup, cause="strip", minutes=20, station=2
    )
    services.say_delay(by=crew, at=after(stood, 90), setup=stood.setup, cause="other", minutes=5)
    page = times_page(stood.kit.number)
    assert [(row.what, row.minutes) for row in page.times.steps] == [
        ("stopped", None), ("mounted", 40.0), ("good", 30.0),
    ]  # fmt: skip
    assert page.times.own_minutes == 50.0, "what was lost after the good part is no changeover"
    assert page.times.delay_minutes == 25.0
    assert [row.minutes for row in page.times.causes] == [20.0, 5.0]
    assert page.times.next_step == ""
    stood.setup.refresh_from_db()
    assert stood.setup.state == SetupState.RUNNING


def test_a_step_stands_once_and_is_taken_back(stood: Mounted, crew: Person) -> None:
    step = services.say_step(by=crew, at=stood.at, setup=stood.setup, what="good")
    with pytest.raises(Conflict) as error:
        services.say_step(by=crew, at=stood.at, setup=stood.setup, what="good")
    assert error.value.code == "step_said"
    services.undo_step(by=crew, at=after(stood, 1), step=step)
    stood.setup.refresh_from_db()
    assert (stood.setup.state, stood.setup.good_at) == (SetupState.MOUNTING, None)
    with pytest.raises(Conflict) as error:
        services.undo_step(by=crew, at=after(stood, 2), step=step)
    assert error.value.code == "already_corrected"
    services.say_step(by=crew, at=after(stood, 3), setup=stood.setup, what="good")
    assert SetupStep.objects.count() == 3


def test_the_same_tap_again_writes_nothing(stood: Mounted, crew: Person) -> None:
    key = uuid.uuid4()
    for _again in range(2):
        services.say_step(by=crew, at=stood.at, setup=stood.setup, what="stopped", uuid=key)
        services.say_delay(
            by=crew, at=stood.at, setup=stood.setup, cause="wrong", minutes=5, uuid=key
        )
    assert (SetupStep.objects.count(), Delay.objects.count()) == (1, 1)


def test_another_step_or_delay_under_the_same_id_is_refused(stood: Mounted, crew: Person) -> None:
    way = {"by": crew, "at": stood.at, "setup": stood.setup, "uuid": uuid.uuid4()}
    services.say_step(what="stopped", **way)
    services.say_delay(cause="wrong", minutes=5, **way)
    for act in (
        lambda: services.say_step(what="cleared", **way),
        lambda: services.say_delay(cause="wrong", minutes=6, **way),
        lambda: services.say_delay(cause="wrong", minutes=5, station=1, **way),
    ):
        with pytest.raises(Conflict) as error:
            act()
        assert error.value.code == "id_reused"
    assert (SetupStep.objects.count(), Delay.objects.count()) == (1, 1)


def test_a_delay_is_taken_back(stood: Mounted, crew: Person) -> None:
    delay = services.say_delay(by=crew, at=stood.at, setup=stood.setup, cause="waiting", minutes=15)
    services.undo_delay(by=crew, at=after(stood, 1), delay=delay)
    assert times_page(stood.kit.number).times.delays == ()
    with pytest.raises(Conflict):
        services.undo_delay(by=crew, at=after(stood, 1), delay=delay)


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"cause": "strip", "minutes": 0}, "improbable_value"),
        ({"cause": "strip", "minutes": -5}, "improbable_value"),
        ({"cause": "strip", "minutes": float("nan")}, "improbable_value"),
        ({"cause": "strip", "minutes": 100_000}, "improbable_value"),
        ({"cause": "rain", "minutes": 5}, "unknown_cause"),
        ({"cause": "strip", "minutes": 5, "station": 99}, "unknown_station"),
    ],
)
def test_a_delay_that_cannot_be_is_refused(
    stood: Mounted, crew: Person, values: dict[str, object], code: str
) -> None:
    with pytest.raises(ToolingError) as error:
        services.say_delay(by=crew, at=stood.at, setup=stood.setup, **values)  # type: ignore[arg-type]
    assert error.value.code == code
    assert not Delay.objects.exists()


def test_a_step_that_is_none_or_still_to_come_is_refused(stood: Mounted, crew: Person) -> None:
    with pytest.raises(ToolingError) as error:
        services.say_step(by=crew, at=stood.at, setup=stood.setup, what="lunch")
    assert error.value.code == "unknown_step"
    with pytest.raises(ToolingError) as error:
        services.say_step(
            by=crew, at=stood.at, setup=stood.setup, what="stopped", happened_at=after(stood, 9)
        )
    assert error.value.code == "not_yet"


def test_a_viewer_says_nothing(stood: Mounted, viewer: Person) -> None:
    with pytest.raises(NotAllowed):
        services.say_step(by=viewer, at=stood.at, setup=stood.setup, what="stopped")
    with pytest.raises(NotAllowed):
        services.say_delay(by=viewer, at=stood.at, setup=stood.setup, cause="strip", minutes=5)


def test_until_five_timed_setups_the_setting_then_median_and_range(
    world: World, crew: Person
) -> None:
    """Two sets in turn on one mill; each changeover opens both stations."""
    mill = world.mill("M9", stations=2)
    shelf = world.place("Shelf 9")
    sets = []
    for name in ("A", "B"):
        drawings = {(n, "top", 1): world.drawing(f"{name}-{n}") for n in (1, 2)}
        tool_set = world.tool_set(name, drawings)
        world.copy(tool_set, "A", {k: world.piece(d, shelf) for k, d in drawings.items()})
        world.chart(tool_set, mill)
        sets.append(tool_set)
    assert forecast_for(mill, 3).minutes == 60.0
    for n, minutes in enumerate((60, 40, 44, 80, 36)):
        at = world.at - timedelta(days=30 - n)
        _run(world, sets[n % 2], n, at, minutes)
        told = forecast_for(mill, 3)
        assert told.timed == (5 if n == 4 else 0)
    assert (told.minutes, told.least, told.most) == (66.0, 54.0, 120.0)


def test_what_was_struck_down_before_a_kit_was_there_left_nothing_on_for_it(
    world: World, crew: Person
) -> None:
    """The same set twice: taken off in between, both stations are opened again; gathered before
    the first was struck, nothing is."""
    mill, shelf = world.mill("M9", stations=2), world.place("Shelf 9")
    drawings = {(n, "top", 1): world.drawing(f"A-{n}") for n in (1, 2)}
    tool_set = world.tool_set("A", drawings)
    world.copy(tool_set, "A", {k: world.piece(d, shelf) for k, d in drawings.items()})
    world.chart(tool_set, mill)
    for n in (0, 1):
        _run(world, tool_set, n, world.at - timedelta(days=30 - n), 60)
    first, second = Setup.objects.filter(mill=mill).order_by("started_at")
    assert times_page(second.kit.number).opened == 2
    Kit.objects.filter(pk=second.kit_id).update(assembled_at=first.started_at)
    assert times_page(second.kit.number).opened == 0


def _run(world: World, tool_set: ToolSet, n: int, at: datetime, minutes: float) -> None:
    mill = tool_set.charts.get().mill
    made = world.job(tool_set, mill, number=f"J{n}")
    kit = Kit.objects.create(number=world.code("K"), job=made, state="closed", closed_at=at)
    for allotted in tool_set.copies.get().allotments.select_related("position__set_pass"):
        kit.positions.create(
            set_position=allotted.position, station_number=allotted.position.set_pass.number,
            pass_number=allotted.position.set_pass.number, shaft="top", order=1,
            drawing=allotted.position.drawing, piece=allotted.piece, is_open=False,
        )  # fmt: skip
    good = at + timedelta(minutes=minutes + 10)
    setup = Setup.objects.create(
        kit=kit, mill=mill, started_at=at, state="struck", struck_at=good, good_at=good
    )
    said = {"setup": setup, "received_at": good}
    SetupStep.objects.create(what="good", happened_at=good, **said)
    Delay.objects.create(cause="strip", minutes=10, happened_at=at, **said)

"""Striking a setup down: rows, gaps, flags, what stays, counts, the end, and every way back."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest

from tests.services.mounted import Mounted, line_at, mounted
from tests.standing import Standing
from tests.world import World
from tooling.errors import Conflict, NotAllowed, ToolingError, Unknown
from tooling.models import (
    Condition,
    JobState,
    KitState,
    Person,
    Setup,
    SetupState,
    SetupStep,
    ShaftMount,
)
from tooling.queries.on_mill import on_mill
from tooling.queries.strip_down import strip_down
from tooling.services import kits, setups
from tooling.services import strip_down as services

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_stood(standing_world: World, standing_cast: dict[str, Person]) -> Mounted:
    return mounted(standing_world, standing_cast["crew"])


@pytest.fixture
def stood(standing: Standing, standing_stood: Mounted) -> Mounted:
    return standing.copy(standing_stood)


def off(stood: Mounted, by: Person, *stations: int, **more: object) -> uuid.UUID:
    return services.take_off(by=by, at=stood.at, setup=stood.setup, stations=stations, **more)  # type: ignore[arg-type]


def page(stood: Mounted):  # type: ignore[no-untyped-def]
    return strip_down(stood.kit.number, at=stood.at)


def test_a_full_row_goes_to_the_cart_in_one_act_and_back(stood: Mounted, crew: Person) -> None:
    station = stood.stations[0]
    pieces = [stood.shop.pieces[1, "top", 1], stood.shop.pieces[1, "bottom", 1]]
    act = off(stood, crew, station)
    for piece in pieces:
        piece.refresh_from_db()
        assert piece.place_id == stood.shop.cart.pk
    assert [row.station for row in page(stood).open_rows] == stood.stations[1:]
    assert page(stood).undo == str(act)
    services.undo_act(by=crew, at=stood.at + timedelta(minutes=1), setup=stood.setup, act=act)
    for piece in pieces:
        piece.refresh_from_db()
        assert piece.place.station.number == station
    assert len(page(stood).open_rows) == 3
    with pytest.raises(Conflict) as error:
        services.undo_act(by=crew, at=stood.at, setup=stood.setup, act=act)
    assert error.value.code == "nothing_to_take_back"


def test_the_same_act_again_writes_nothing(stood: Mounted, crew: Person) -> None:
    act = uuid.uuid4()
    off(stood, crew, stood.stations[0], act=act)
    count = ShaftMount.objects.count()
    off(stood, crew, stood.stations[0], act=act)
    assert ShaftMount.objects.count() == count


def test_an_act_of_other_stations_under_the_same_id_is_refused(
    stood: Mounted, crew: Person
) -> None:
    act = off(stood, crew, stood.stations[0])
    with pytest.raises(Conflict) as error:
        off(stood, crew, stood.stations[1], act=act)
    assert error.value.code == "id_reused"
    assert len(page(stood).open_rows) == 2


def test_a_gap_stays_where_it_was_and_is_named(stood: Mounted, crew: Person) -> None:
    gap = stood.shop.pieces[1, "top", 1]
    off(stood, crew, *stood.stations, gaps=[gap.code])
    gap.refresh_from_db()
    assert gap.place.station.number == stood.stations[0]
    found = page(stood)
    assert [(each.code, each.state) for each in found.not_home] == [(gap.code, "gap")]
    assert not found.open_rows
    said = ShaftMount.objects.get(station_number=stood.stations[0], shaft="top", what="taken_off")
    assert gap.mark in said.note


def test_a_gap_of_another_row_is_refused(stood: Mounted, crew: Person) -> None:
    with pytest.raises(ToolingError) as error:
        off(stood, crew, stood.stations[0], gaps=[stood.shop.pieces[3, "top", 1].code])
    assert error.value.code == "not_of_these_rows"


def test_a_flagged_roll_is_left_to_be_scanned(stood: Mounted, crew: Person) -> None:
    piece = stood.shop.pieces[2, "top", 1]
    services.flag(by=crew, at=stood.at, setup=stood.setup, code=piece.code, what="chipped")
    off(stood, crew, *stood.stations)
    piece.refresh_from_db()
    assert piece.condition == Condition.HOLD
    assert piece.place.station.number == stood.stations[1]
    assert [each.code for each in page(stood).not_home] == [piece.code]


def test_only_rolls_of_the_setup_are_flagged(stood: Mounted, crew: Person, world: World) -> None:
    other = world.piece(world.drawing("X-1"), stood.shop.shelf)
    with pytest.raises(Unknown) as error:
        services.flag(by=crew, at=stood.at, setup=stood.setup, code=other.code, what="chipped")
    assert error.value.code == "not_of_this_setup"


def test_spacers_go_to_their_bins_by_count_and_come_back(stood: Mounted, crew: Person) -> None:
    shop = stood.shop
    with pytest.raises(Conflict) as error:
        services.send_counts_back(by=crew, at=stood.at, setup=stood.setup)
    assert error.value.code == "nothing_to_put_back"
    off(stood, crew, stood.stations[0])
    assert [(each.count, each.drawing) for each in page(stood).spacers] == [(2, "SP 25")]
    at = stood.at + timedelta(minutes=1)
    act = services.send_counts_back(by=crew, at=at, setup=stood.setup)
    assert line_at(shop, shop.shelf.pk) == 2
    assert not page(stood).spacers
    services.undo_act(by=crew, at=at + timedelta(minutes=1), setup=stood.setup, act=act)
    assert line_at(shop, shop.shelf.pk) == 0


def test_looked_over_takes_dirt_away_and_back(stood: Mounted, crew: Person) -> None:
    dirty, marked = stood.shop.pieces[1, "top", 1], stood.shop.pieces[2, "top", 1]
    type(dirty).objects.filter(pk=dirty.pk).update(condition=Condition.DIRTY)
    type(marked).objects.filter(pk=marked.pk).update(condition=Condition.MARKED)
    at = stood.at + timedelta(minutes=1)
    services.look_over(by=crew, at=at, setup=stood.setup)
    dirty.refresh_from_db()
    marked.refresh_from_db()
    assert (dirty.condition, marked.condition) == (Condition.CLEAN, Condition.MARKED)
    assert page(stood).looked_over
    services.undo_look(by=crew, at=at + timedelta(minutes=1), setup=stood.setup)
    dirty.refresh_from_db()
    assert dirty.condition == Condition.DIRTY
    assert not page(stood).looked_over
    assert SetupStep.objects.filter(what="clean").count() == 2


def test_the_end_strikes_the_setup_and_closes_the_kit(stood: Mounted, crew: Person) -> None:
    with pytest.raises(Conflict) as error:
        services.strike(by=crew, at=stood.at, setup=stood.setup)
    assert error.value.code == "shafts_still_on"
    off(stood, crew, *stood.stations)
    at = stood.at + timedelta(days=3)
    services.strike(by=crew, at=at, setup=stood.setup)
    setup = Setup.objects.select_related("kit__job").get()
    assert (setup.state, setup.struck_at) == (SetupState.STRUCK, at)
    assert setup.kit.state == KitState.CLOSED
    assert setup.kit.job.state == JobState.DONE
    found = on_mill("M1")
    assert found is not None
    assert found.setup is None
    assert found.pieces == 0
    with pytest.raises(Conflict) as error:
        off(stood, crew, stood.stations[0])
    assert error.value.code == "setup_struck"


def test_a_job_that_made_a_good_part_has_run_though_it_was_planned_for_later(
    stood: Mounted, crew: Person
) -> None:
    setups.say_good(by=crew, at=stood.at, setup=stood.setup)
    off(stood, crew, *stood.stations)
    assert stood.at < stood.kit.job.starts_at
    services.strike(by=crew, at=stood.at, setup=stood.setup)
    stood.kit.job.refresh_from_db()
    assert stood.kit.job.state == JobState.DONE


def test_a_job_struck_before_its_time_without_a_good_part_is_still_to_run(
    stood: Mounted, crew: Person
) -> None:
    off(stood, crew, *stood.stations)
    services.strike(by=crew, at=stood.at, setup=stood.setup)
    stood.kit.job.refresh_from_db()
    assert stood.kit.job.state == JobState.PLANNED


def test_what_the_next_kit_runs_stays_on(stood: Mounted, crew: Person) -> None:
    """A planned job alone, that may be months away, leaves nothing on; its open kit does."""
    job = stood.shop.world.job(stood.shop.tool_set, stood.shop.mill, number="24-1190", in_hours=48)
    assert (page(stood).next_job, len(page(stood).open_rows)) == ("", 3)
    kits.open_kit(by=crew, at=stood.at, job=job)
    found = page(stood)
    assert found.next_job == "24-1190"
    assert len(found.staying) == 6
    assert not found.open_rows
    all_of_it = strip_down(stood.kit.number, at=stood.at, takes_all=True)
    assert len(all_of_it.open_rows) == 3
    act = off(stood, crew, stood.stations[0], takes_all=True)
    assert not page(stood).not_home
    services.undo_act(by=crew, at=stood.at, setup=stood.setup, act=act)
    services.strike(by=crew, at=stood.at, setup=stood.setup)
    on = on_mill("M1")
    assert on is not None
    assert on.setup is None
    stays = [(station.number, each.shaft, each.of) for station, each in on.others]
    assert stays == [(n, s, "other") for n in stood.stations for s in ("top", "bottom")]


def test_a_viewer_takes_nothing_off(stood: Mounted, viewer: Person) -> None:
    for act in (
        lambda: off(stood, viewer, stood.stations[0]),
        lambda: services.send_counts_back(by=viewer, at=stood.at, setup=stood.setup),
        lambda: services.look_over(by=viewer, at=stood.at, setup=stood.setup),
        lambda: services.strike(by=viewer, at=stood.at, setup=stood.setup),
        lambda: services.undo_act(by=viewer, at=stood.at, setup=stood.setup, act=uuid.uuid4()),
    ):
        with pytest.raises(NotAllowed):
            act()

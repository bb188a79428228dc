"""The pages of runs: the one number at the end of a coil, and all that may be known beside it."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.setting_up import SettingUp
from tests.standing import Standing
from tests.world import World
from tooling.engineering.lengths import NM_PER_M
from tooling.models import Person, Run, Setup
from tooling.queries.runs import run_list, run_page, setup_runs
from tooling.queries.setups import find_setup
from tooling.services import counter_readings, mounting, runs, setup_times
from tooling.services.counter_readings import CounterIn
from tooling.services.run_ways import RunIn

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_setup(standing_world: World, standing_cast: dict[str, Person]) -> Setup:
    shop = SettingUp(standing_world, standing_cast["crew"])
    found = shop.start()
    for station in (1, 2):
        for shaft in ("top", "bottom"):
            mounting.mount(
                by=standing_cast["crew"],
                at=standing_world.at,
                setup=found,
                station=station,
                shaft=shaft,
            )
    setup_times.say_step(by=standing_cast["crew"], at=standing_world.at, setup=found, what="good")
    found.refresh_from_db()
    return found


@pytest.fixture
def setup(standing: Standing, standing_setup: Setup) -> Setup:
    return standing.copy(standing_setup)


@pytest.fixture
def page(log_in: Any, crew: Person) -> Client:
    client: Client = log_in(crew)
    return client


def text_of(answer: Any) -> str:
    said: str = answer.content.decode()
    return said


def test_one_number_from_the_running_setups_page(setup: Setup, page: Client) -> None:
    number = setup.kit.number
    assert f'action="/setups/{number}/runs/"' in text_of(page.get(f"/setups/{number}/"))
    answer = page.post(f"/setups/{number}/runs/", {"length": "1240"}, follow=True)
    assert "1\u202f240 m ran; 8 pieces have it." in text_of(answer)
    assert Run.objects.get().length_nm == 1_240 * NM_PER_M


def test_what_is_refused_stands_at_its_field_with_all_that_was_typed(
    setup: Setup, page: Client
) -> None:
    url = f"/setups/{setup.kit.number}/runs/"
    answer = page.post(url, {"length": "much", "coil": "C-9"})
    assert (answer.status_code, 'data-code="not_a_length"' in text_of(answer)) == (400, True)
    assert 'value="C-9"' in text_of(answer)
    backwards = {"length": "100", "kind": "now", "counter_start": "900", "note": "blue tag"}
    answer = page.post(url, backwards)
    assert 'data-code="counter_backwards"' in text_of(answer)
    assert 'value="blue tag"' in text_of(answer)
    assert not Run.objects.exists()


def test_ways_that_differ_are_shown_beside_each_other(setup: Setup, page: Client) -> None:
    said = {"length": "1000", "parts": "400", "part_length": "2000 mm", "scrap": "20"}
    answer = page.post(f"/setups/{setup.kit.number}/runs/", said, follow=True)
    assert 'data-code="lengths_differ"' in text_of(answer)
    assert "By parts it is 820 m, -18.0 % off the 1\u202f000 m that counts." in text_of(answer)


def test_the_counter_offers_what_it_moved_in_one_tap(
    setup: Setup, page: Client, crew: Person
) -> None:
    now = timezone.now()
    Setup.objects.filter(pk=setup.pk).update(good_at=now - timedelta(hours=2))
    rows = [CounterIn(id=uuid.uuid4(), value_nm=value * NM_PER_M,
                      happened_at=now - timedelta(minutes=minutes))
            for minutes, value in ((60, 10), (5, 760))]  # fmt: skip
    counter_readings.record_counter(by=crew, at=now, mill=setup.mill, readings=rows)
    url = f"/setups/{setup.kit.number}/runs/"
    assert "750 m ran" in text_of(page.get(url))
    Setup.objects.filter(pk=setup.pk).update(state="struck", struck_at=now)
    assert "750 m ran" not in text_of(page.get(url)), "what moves now is another setup's"
    Setup.objects.filter(pk=setup.pk).update(state=setup.state, struck_at=None)
    page.post(url, {"counter": ""})
    run = Run.objects.get()
    assert (run.length_nm, run.source) == (750 * NM_PER_M, "counter")


def test_a_run_is_put_right_and_taken_back_from_its_page(setup: Setup, page: Client) -> None:
    page.post(f"/setups/{setup.kit.number}/runs/", {"length": "1000", "coil": "C-1"})
    run = Run.objects.get()
    filled = text_of(page.get(f"/runs/{run.pk}/correct/"))
    assert 'value="1000"' in filled
    assert 'value="C-1"' in filled
    answer = page.post(f"/runs/{run.pk}/correct/", {"length": "900", "coil": "C-1"}, follow=True)
    new = Run.objects.get(corrects=run)
    assert f"/runs/{run.pk}/" in text_of(answer)
    again = page.post(f"/runs/{run.pk}/correct/", {"length": "800"})
    assert 'data-code="already_corrected"' in text_of(again)
    page.post(f"/runs/{new.pk}/take-back/")
    assert "None like that." not in text_of(page.get("/runs/"))
    assert "No run is written down" in text_of(page.get("/runs/"))
    sheet = page.get("/runs.csv").content.decode("utf-8-sig").splitlines()
    assert [row.split(",")[1] for row in sheet[1:]] == ["taken_back", "taken_back", "corrected"]


def test_a_list_asks_the_same_however_many_ran(
    setup: Setup, crew: Person, django_assert_num_queries: Any, page: Client
) -> None:
    at = setup.started_at + timedelta(minutes=1)
    for n in range(25):
        runs.record_run(
            by=crew, at=at + timedelta(minutes=n), setup=setup, said=RunIn(length_nm=NM_PER_M)
        )
    with django_assert_num_queries(2):
        assert len(run_list()) == 25
    first = Run.objects.values_list("pk", flat=True)[0]
    with django_assert_num_queries(3):
        run_page(first)
    found = find_setup(setup.kit.number)
    with django_assert_num_queries(4):
        setup_runs(found, at=at + timedelta(hours=1))
    assert page.get("/runs/?mill=M").status_code == 200


def test_readings_that_came_late_are_told_and_taken_with_one_press(
    setup: Setup, crew: Person, page: Client, django_assert_num_queries: Any
) -> None:
    """10 taken of 0 → 10; then 14 comes late, from before the run's end."""
    at, mill = setup.started_at + timedelta(minutes=1), setup.mill

    def come(minute: int, *told: tuple[float, int]) -> None:
        counter_readings.record_counter(
            by=crew, at=at + timedelta(minutes=minute), mill=mill,
            readings=[CounterIn(uuid.uuid4(), metres * NM_PER_M, at + timedelta(minutes=when))
                      for when, metres in told],
        )  # fmt: skip

    come(3, (0, 0), (2, 10))
    run = runs.record_run(
        by=crew, at=at + timedelta(minutes=5), setup=setup, said=RunIn(from_feed=True),
        began_at=at, coil="C-9",
    )  # fmt: skip
    where = f"/setups/{setup.kit.number}/runs/"
    assert "fed_otherwise" not in text_of(page.get(where))
    come(6, (4, 14))
    for address in (where, f"/runs/{run.pk}/"):
        shown = text_of(page.get(address))
        assert 'data-code="fed_otherwise"' in shown
        assert "14" in shown.split('data-code="fed_otherwise"')[1][:900]
    with django_assert_num_queries(5):
        run_page(run.pk)
    found = find_setup(setup.kit.number)
    with django_assert_num_queries(6):
        setup_runs(found, at=at + timedelta(hours=1))
    answer = page.post(f"/runs/{run.pk}/correct/", {"counter": "", "id": str(uuid.uuid4())})
    new = Run.objects.get(corrects=run)
    assert answer["Location"] == f"/runs/{new.pk}/"
    assert (new.length_nm, new.coil, new.began_at) == (14 * NM_PER_M, "C-9", run.began_at)
    assert "fed_otherwise" not in text_of(page.get(where))
    again = page.post(f"/runs/{run.pk}/correct/", {"counter": ""})
    assert 'data-code="already_corrected"' in text_of(again)

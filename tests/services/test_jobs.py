"""Planning, changing and calling off jobs."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.rolling import Rolling
from tests.world import MM
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Job, JobState, KitState
from tooling.services import jobs, kits

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_shop(standing_world):
    return Rolling(standing_world)


@pytest.fixture
def shop(standing, standing_shop):
    return standing.copy(standing_shop)


def plan(shop, by, **fields):
    at = shop.world.at
    fields = {"number": "J9", "starts_at": at + timedelta(days=2), **fields}
    return jobs.plan(by=by, at=at, tool_set=shop.set, mill=shop.mill, **fields)


def test_a_job_is_planned_with_its_history_row(shop, engineer):
    job = plan(shop, engineer, thickness_nm=2 * MM, grade="DX51D")
    assert (job.state, job.thickness_nm) == (JobState.PLANNED, 2 * MM)
    assert Change.objects.get(subject="Job").after["grade"] == "DX51D"


def test_its_kit_is_gathered_a_day_before_unless_said(shop, engineer):
    job = plan(shop, engineer)
    assert job.starts_at - job.gathers_at == timedelta(days=1)


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_only_planners_plan(shop, cast, role):
    with pytest.raises(NotAllowed):
        plan(shop, cast[role])
    assert not Job.objects.exists()


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"hours": 0}, "absurd_hours"),
        ({"hours": 1001}, "absurd_hours"),
        ({"thickness_nm": 0}, "improbable_value"),
        ({"thickness_nm": 31 * MM}, "improbable_value"),
        ({"width_nm": -1}, "improbable_value"),
        ({"length_nm": -1}, "improbable_value"),
        ({"number": "  "}, "empty_text"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_saved(shop, engineer, fields, code):
    with pytest.raises(ToolingError) as caught:
        plan(shop, engineer, **fields)
    assert caught.value.code == code
    assert not Job.objects.exists()


def test_a_kit_is_not_gathered_after_the_start(shop, engineer, at):
    with pytest.raises(ToolingError) as caught:
        plan(shop, engineer, gathers_at=at + timedelta(days=3))
    assert caught.value.code == "gathers_after_start"


def test_a_number_is_given_once(shop, engineer):
    plan(shop, engineer)
    with pytest.raises(ToolingError) as caught:
        plan(shop, engineer)
    assert (caught.value.code, Job.objects.count()) == ("already_there", 1)


def test_a_variant_belongs_to_the_set(shop, engineer):
    other = shop.world.tool_set("S2", {}).variants.create(name="wide")
    with pytest.raises(ToolingError) as caught:
        plan(shop, engineer, variant=other)
    assert caught.value.code == "other_set"


def test_an_edit_says_before_and_after(shop, engineer, at):
    job = plan(shop, engineer, hours=8)
    jobs.edit(by=engineer, at=at, job=job, hours=12)
    row = Change.objects.get(subject="Job", what="edited")
    assert (row.before, row.after) == ({"hours": 8.0}, {"hours": 12})


def test_set_variant_and_mill_stay_while_a_kit_is_open(shop, engineer, crew, at):
    job = plan(shop, engineer)
    kit = kits.open_kit(by=crew, at=at, job=job)
    other = shop.world.mill("M2")
    with pytest.raises(ToolingError) as caught:
        jobs.edit(by=engineer, at=at, job=job, mill=other)
    assert (caught.value.code, kit.number in caught.value.message) == ("job_has_kit", True)
    kits.close(by=crew, at=at, kit=kit, reason="other mill")
    assert jobs.edit(by=engineer, at=at, job=job, mill=other).mill == other


def test_calling_off_closes_the_kit_short_for_that_reason(shop, engineer, crew, at):
    job = plan(shop, engineer)
    kit = kits.open_kit(by=crew, at=at, job=job)
    jobs.cancel(by=engineer, at=at, job=job, reason="no strip")
    kit.refresh_from_db()
    job.refresh_from_db()
    assert (job.state, kit.state, kit.short_reason) == (
        JobState.CANCELLED,
        KitState.CLOSED,
        "no strip",
    )


def test_a_job_that_is_over_is_not_changed(shop, engineer, at):
    job = plan(shop, engineer)
    jobs.cancel(by=engineer, at=at, job=job, reason="no strip")
    for call in (
        lambda: jobs.edit(by=engineer, at=at, job=job, hours=3),
        lambda: jobs.cancel(by=engineer, at=at, job=job, reason="again"),
        lambda: kits.open_kit(by=engineer, at=at, job=job),
    ):
        with pytest.raises(ToolingError) as caught:
            call()
        assert caught.value.code == "job_is_over"


def test_without_a_reason_nothing_is_called_off(shop, engineer, at):
    job = plan(shop, engineer)
    with pytest.raises(ToolingError):
        jobs.cancel(by=engineer, at=at, job=job, reason=" ")
    job.refresh_from_db()
    assert job.state == JobState.PLANNED


def test_called_off_after_its_start_it_was_never_done(shop, engineer, at):
    """Closing the kit of a job whose start is past says done; calling it off does not."""
    job = plan(shop, engineer)
    kits.open_kit(by=engineer, at=at, job=job)
    jobs.cancel(by=engineer, at=at + timedelta(days=3), job=job, reason="mill stood")
    said = Change.objects.filter(subject="Job", what__in=["done", "cancelled"])
    assert [each.what for each in said] == ["cancelled"]


def test_without_a_time_it_is_gathered_a_day_before_the_new_start(shop, engineer, at):
    job = plan(shop, engineer, gathers_at=at)
    starts = at + timedelta(days=9)
    job = jobs.edit(by=engineer, at=at, job=job, starts_at=starts, gathers_at=None)
    assert job.gathers_at == starts - timedelta(days=1)

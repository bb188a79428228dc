"""The best order of a mill's jobs: found, kept to dates and rules, accepted or not."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from tests.world import World
from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import Change, Job, Mill, MillRule, Person, Task, ToolSet
from tooling.queries.changeovers import changeover
from tooling.queries.job_order import KIND, proposal
from tooling.services import job_order as services
from tooling.services import jobs, mill_care
from tooling.services.job_order_work import find_order
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

FAR = 20_000
"""Days ahead: the worker goes by the real clock, for which no job here has started yet."""


@pytest.fixture
def mill(world: World) -> Mill:
    return world.mill("M1", stations=3)


@pytest.fixture
def sets(world: World, mill: Mill) -> dict[str, ToolSet]:
    """A and B share nothing; each fills three stations."""
    shelf, found = world.place("Shelf"), {}
    for name in ("A", "B"):
        drawings = {(n, "top", 1): world.drawing(f"{name}-{n}") for n in (1, 2, 3)}
        found[name] = world.tool_set(name, drawings)
        pieces = {spot: world.piece(each, shelf) for spot, each in drawings.items()}
        world.copy(found[name], "A", pieces)
        world.chart(found[name], mill)
    return found


@pytest.fixture
def plan(world: World, mill: Mill, sets: dict[str, ToolSet]) -> dict[str, Job]:
    """A B A B, a day apart."""
    return {
        number: world.job(sets[number[0]], mill, number=number, in_hours=24 * (n + FAR))
        for n, number in enumerate(("A1", "B1", "A2", "B2"))
    }


def found(mill: Mill, world: World) -> dict[str, Any]:
    return find_order(at=world.at, mill=mill)


def ask(mill: Mill, by: Person, world: World) -> int:
    """Asked for and worked out as the worker does."""
    task = services.ask_order(by=by, at=world.at, mill=mill)
    assert work_once(HANDLERS)
    return task.pk


@pytest.mark.usefixtures("plan")
def test_the_same_set_runs_twice_in_a_row(mill: Mill, world: World) -> None:
    told = found(mill, world)
    assert [row["job"] for row in told["rows"]] == ["A1", "A2", "B1", "B2"]
    assert told["proven"]
    assert (told["present"]["stations"], told["best"]["stations"]) == (12, 6)
    assert told["best"]["minutes"] == 120, "20 minutes for each of six stations"


def test_a_due_date_weighs_more_than_any_changeover(
    mill: Mill, world: World, plan: dict[str, Job]
) -> None:
    Job.objects.filter(number="B1").update(due_at=plan["B1"].starts_at + timedelta(hours=8))
    told = found(mill, world)
    order = [row["job"] for row in told["rows"]]
    assert order.index("B1") < 2
    assert told["best"]["late_minutes"] == 0


@pytest.mark.usefixtures("plan")
def test_rules_are_kept(mill: Mill, world: World, engineer: Person) -> None:
    Job.objects.filter(number__startswith="B").update(coating="Painted", thickness_nm=2_000_000)
    Job.objects.filter(number="A1").update(strip_class="scaled", thickness_nm=1_000_000)
    way = {"by": engineer, "at": world.at, "mill": mill}
    mill_care.add_rule(**way, kind="first", first="painted")
    mill_care.add_rule(**way, kind="last", first="scaled")
    told = found(mill, world)
    order = [row["job"] for row in told["rows"]]
    assert order == ["B1", "B2", "A2", "A1"]
    assert not told["keeps_rules"]
    mill_care.add_rule(**way, kind="thicker")
    told = found(mill, world)
    assert told["best"] is None
    assert told["broken"], "A1 is thinner than what must run before it"


@pytest.mark.usefixtures("plan")
def test_never_straight_after(mill: Mill, world: World) -> None:
    Job.objects.filter(number__startswith="A").update(coating="oiled")
    MillRule.objects.create(mill=mill, kind="apart", first="oiled", then="oiled")
    order = [row["job"] for row in found(mill, world)["rows"]]
    assert abs(order.index("A1") - order.index("A2")) > 1


@pytest.mark.usefixtures("sets")
def test_no_jobs_no_order(mill: Mill, world: World) -> None:
    told = found(mill, world)
    assert (told["rows"], told["best"], told["present"]) == ([], None, None)


def test_one_job_stays_where_it_is(mill: Mill, world: World, sets: dict[str, ToolSet]) -> None:
    job = world.job(sets["A"], mill)
    row = found(mill, world)["rows"][0]
    assert (row["starts_at"], row["opened"]) == (job.starts_at.isoformat(), 3)


def test_accepted_the_jobs_move_and_say_why(
    mill: Mill, world: World, plan: dict[str, Job], engineer: Person
) -> None:
    task = ask(mill, engineer, world)
    moved = services.accept_order(by=engineer, at=world.at, mill=mill, task=task)
    assert {job.number for job in moved} == {"A2", "B1", "B2"}
    starts = Job.objects.order_by("starts_at").values_list("number", flat=True)
    assert list(starts) == ["A1", "A2", "B1", "B2"]
    second = Job.objects.get(number="A2")
    lead = plan["A2"].starts_at - plan["A2"].gathers_at
    assert second.starts_at - second.gathers_at == lead
    reasons = Change.objects.filter(subject="Job", subject_key="A2").values_list("reason")
    assert "Mill M1" in reasons.get()[0]
    settled = proposal(mill)
    assert settled is not None
    assert settled.settled == "order accepted"
    with pytest.raises(Conflict) as error:
        services.accept_order(by=engineer, at=world.at, mill=mill, task=task)
    assert error.value.code == "order_settled"


def test_what_moved_meanwhile_makes_it_stale_and_nothing_moves(
    mill: Mill, world: World, plan: dict[str, Job], engineer: Person
) -> None:
    task = ask(mill, engineer, world)
    later = plan["A2"].starts_at + timedelta(hours=1)
    jobs.edit(by=engineer, at=world.at, job=plan["A2"], starts_at=later)
    before = list(Job.objects.order_by("pk").values_list("starts_at"))
    with pytest.raises(Conflict) as error:
        services.accept_order(by=engineer, at=world.at, mill=mill, task=task)
    assert error.value.code == "stale_plan"
    assert list(Job.objects.order_by("pk").values_list("starts_at")) == before


@pytest.mark.usefixtures("plan")
def test_a_new_rule_makes_it_stale(mill: Mill, world: World, engineer: Person) -> None:
    task = ask(mill, engineer, world)
    mill_care.add_rule(by=engineer, at=world.at, mill=mill, kind="last", first="scaled")
    with pytest.raises(Conflict) as error:
        services.accept_order(by=engineer, at=world.at, mill=mill, task=task)
    assert error.value.code == "stale_plan"


@pytest.mark.usefixtures("plan")
def test_kept_nothing_moves_and_it_is_settled(mill: Mill, world: World, engineer: Person) -> None:
    task = ask(mill, engineer, world)
    services.keep_order(by=engineer, at=world.at, mill=mill, task=task)
    offer = proposal(mill)
    assert offer is not None
    assert (offer.settled, offer.is_open) == ("own order kept", False)
    assert not Change.objects.filter(subject="Job").exists()


@pytest.mark.usefixtures("plan")
def test_one_search_at_a_time_and_planners_only(
    mill: Mill, world: World, engineer: Person, crew: Person
) -> None:
    one = services.ask_order(by=engineer, at=world.at, mill=mill)
    assert services.ask_order(by=engineer, at=world.at, mill=mill) == one
    assert Task.objects.filter(kind=KIND).count() == 1
    for act in (services.accept_order, services.keep_order):
        with pytest.raises(NotAllowed):
            act(by=crew, at=world.at, mill=mill, task=one.pk)
        with pytest.raises(Conflict) as error:
            act(by=engineer, at=world.at, mill=mill, task=one.pk)
        assert error.value.code == "no_such_order"
    with pytest.raises(NotAllowed):
        services.ask_order(by=crew, at=world.at, mill=mill)


def test_an_accepted_order_is_as_good_as_the_next(
    mill: Mill, world: World, plan: dict[str, Job], engineer: Person
) -> None:
    """Asked again, nothing more is moved."""
    task = ask(mill, engineer, world)
    services.accept_order(by=engineer, at=world.at, mill=mill, task=task)
    told = found(mill, world)
    assert [row["starts_at"] for row in told["rows"]] == [row["was_at"] for row in told["rows"]]
    assert len(plan) == len(told["rows"])


@pytest.mark.usefixtures("plan")
def test_the_next_changeover_of_an_empty_mill(mill: Mill, world: World) -> None:
    page = changeover(mill, at=world.at)
    assert page.next is not None
    assert (page.next.number, page.opened, page.pieces) == ("A1", (1, 2, 3), 3)
    assert page.forecast is not None
    assert page.forecast.minutes == 60
    assert all(row.on[0].where == "Shelf" for row in page.shafts)


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"kind": "odd"}, "unknown_rule"),
        ({"kind": "first"}, "empty_text"),
        ({"kind": "apart", "first": "oiled"}, "empty_text"),
        ({"kind": "last", "first": "x" * 41}, "long_text"),
    ],
)
def test_a_rule_that_says_nothing_is_refused(
    mill: Mill, world: World, engineer: Person, values: dict[str, str], code: str
) -> None:
    with pytest.raises(ToolingError) as error:
        mill_care.add_rule(by=engineer, at=world.at, mill=mill, **values)  # type: ignore[arg-type]
    assert error.value.code == code


def test_a_rule_stands_once_and_is_removed(mill: Mill, world: World, engineer: Person) -> None:
    way = {"by": engineer, "at": world.at}
    rule = mill_care.add_rule(**way, mill=mill, kind="last", first="scaled")  # type: ignore[arg-type]
    with pytest.raises(ToolingError) as error:
        mill_care.add_rule(**way, mill=mill, kind="last", first="scaled")  # type: ignore[arg-type]
    assert error.value.code == "already_there"
    mill_care.remove_rule(**way, rule=rule)  # type: ignore[arg-type]
    assert not MillRule.objects.exists()
    with pytest.raises(Conflict) as gone:
        mill_care.remove_rule(**way, rule=rule)  # type: ignore[arg-type]
    assert gone.value.code == "rule_gone"


def test_many_jobs_when_time_is_up(mill: Mill, world: World, sets: dict[str, ToolSet]) -> None:
    """Stopped at once the planner's order stays; without a bound the search still groups sets."""
    for n in range(14):
        world.job(sets["AB"[n % 2]], mill, number=f"J{n:02d}", in_hours=24 * (n + 1))
    told = find_order(at=world.at, mill=mill, should_stop=lambda: True)
    assert [row["job"] for row in told["rows"]] == [f"J{n:02d}" for n in range(14)]
    assert told["rows"][3]["starts_at"] == told["rows"][3]["was_at"]
    told = find_order(at=world.at, mill=mill, enough_bounding=lambda: True)
    assert (told["present"]["stations"], told["best"]["stations"]) == (42, 6)
    assert not told["proven"]

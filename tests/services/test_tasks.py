"""A task is done once, says how far it is, can be stopped, and survives one dead worker."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import Person, Task, TaskState
from tooling.services import tasks
from tooling.tasks import Run, work_forever, work_once

pytestmark = pytest.mark.django_db


def done(run: Run) -> dict[str, object]:
    return {"doubled": run.given["number"] * 2}


def test_a_waiting_task_is_done_with_its_result(engineer: Person, at: datetime) -> None:
    task = tasks.ask(by=engineer, at=at, kind="double", given={"number": 21})
    assert work_once({"double": done})
    task.refresh_from_db()
    assert (task.state, task.result, task.progress) == (TaskState.DONE, {"doubled": 42}, 1.0)


def test_there_is_nothing_to_do_in_an_empty_queue() -> None:
    assert not work_once({"double": done})


def test_tasks_are_done_in_the_order_they_were_asked(engineer: Person, at: datetime) -> None:
    seen: list[int] = []

    def note(run: Run) -> dict[str, object]:
        seen.append(run.given["number"])
        return {}

    for number in range(3):
        tasks.ask(by=engineer, at=at, kind="note", given={"number": number})
    left = [True] * 3
    work_forever({"note": note}, keep_on=lambda: bool(left and left.pop()), pause=lambda: None)
    assert seen == [0, 1, 2]


def test_a_failing_task_says_so_and_the_worker_goes_on(engineer: Person, at: datetime) -> None:
    def fail(run: Run) -> dict[str, object]:
        raise ToolingError("no_steel", "There is no steel for {what}.", what="spacers")

    task = tasks.ask(by=engineer, at=at, kind="fail", given={})
    assert work_once({"fail": fail})
    task.refresh_from_db()
    assert (task.state, task.message) == (TaskState.FAILED, "There is no steel for spacers.")
    assert task.result == {"code": "no_steel"}


def test_a_bug_in_a_handler_is_logged_and_told_without_its_insides(
    engineer: Person, at: datetime, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(run: Run) -> dict[str, object]:
        return {"number": run.given["absent"]}

    task = tasks.ask(by=engineer, at=at, kind="broken", given={})
    work_once({"broken": broken})
    task.refresh_from_db()
    assert task.state == TaskState.FAILED
    assert "absent" not in task.message
    assert "KeyError" in caplog.text


def test_work_that_was_made_stale_says_so(engineer: Person, at: datetime) -> None:
    def stale(run: Run) -> dict[str, object]:
        raise Conflict("stale_plan", "Made stale by {what}.", what="a scan")

    task = tasks.ask(by=engineer, at=at, kind="stale", given={})
    work_once({"stale": stale})
    task.refresh_from_db()
    assert (task.state, task.message) == (TaskState.STALE, "Made stale by a scan.")


def test_a_waiting_task_is_cancelled_at_once(engineer: Person, at: datetime) -> None:
    task = tasks.ask(by=engineer, at=at, kind="double", given={"number": 1})
    tasks.cancel(by=engineer, at=at, task=task)
    task.refresh_from_db()
    assert task.state == TaskState.CANCELLED
    assert not work_once({"double": done})


def test_running_work_is_asked_to_stop_and_stops(engineer: Person, at: datetime) -> None:
    def long(run: Run) -> dict[str, object]:
        tasks.cancel(by=engineer, at=at, task=run.task)
        run.progress(0.5, "half way")
        run.check()
        return {"finished": True}

    task = tasks.ask(by=engineer, at=at, kind="long", given={})
    work_once({"long": long})
    task.refresh_from_db()
    assert (task.state, task.result) == (TaskState.CANCELLED, {})


def test_progress_is_kept_for_the_page(engineer: Person, at: datetime) -> None:
    def half(run: Run) -> dict[str, object]:
        run.progress(0.5, "row 500 of 1000")
        kept = Task.objects.get(pk=run.task.pk)
        return {"progress": kept.progress, "message": kept.message}

    task = tasks.ask(by=engineer, at=at, kind="half", given={})
    work_once({"half": half})
    task.refresh_from_db()
    assert task.result == {"progress": 0.5, "message": "row 500 of 1000"}


def test_finished_work_cannot_be_cancelled(engineer: Person, at: datetime) -> None:
    task = tasks.ask(by=engineer, at=at, kind="double", given={"number": 1})
    work_once({"double": done})
    with pytest.raises(Conflict) as refused:
        tasks.cancel(by=engineer, at=at, task=task)
    assert refused.value.code == "task_over"


def test_only_the_asker_or_a_supervisor_cancels(
    engineer: Person, crew: Person, supervisor: Person, at: datetime
) -> None:
    task = tasks.ask(by=engineer, at=at, kind="double", given={"number": 1})
    with pytest.raises(NotAllowed):
        tasks.cancel(by=crew, at=at, task=task)
    tasks.cancel(by=supervisor, at=at, task=task)


def test_a_dead_worker_s_task_is_taken_up_once_more(engineer: Person, at: datetime) -> None:
    task = tasks.ask(by=engineer, at=at, kind="double", given={"number": 1})
    assert tasks.claim(at=at) == task
    assert tasks.claim(at=at + timedelta(seconds=5)) is None
    assert tasks.claim(at=at + timedelta(seconds=20)) == task


def test_a_task_whose_worker_died_twice_has_failed(engineer: Person, at: datetime) -> None:
    task = tasks.ask(by=engineer, at=at, kind="double", given={"number": 1})
    tasks.claim(at=at)
    tasks.claim(at=at + timedelta(seconds=20))
    assert tasks.claim(at=at + timedelta(seconds=40)) is None
    task.refresh_from_db()
    assert task.state == TaskState.FAILED

"""Which function does which kind of task."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from tooling.errors import NotAllowed, Unknown
from tooling.models import Import, ImportState, Mill, Owner, Person
from tooling.queries import fill_page, job_order, regrind_plans
from tooling.queries.kits import find_kit
from tooling.services import (
    fill_work,
    import_work,
    imports,
    job_order_work,
    labels,
    owner_papers,
    regrind_plan_work,
    wear_work,
)
from tooling.services.backup import kept
from tooling.tasks import Handler, Run

ORDER_SECONDS = 60.0
"""So long the best order of jobs is looked for; by then the best one found is given."""
FILL_SECONDS = 15.0
"""So long spacers are chosen, and so long what to make; by then the best that is found is taken."""

BOUND_SECONDS = 15.0
"""So much of it, at most, goes into what no order can beat."""


def draw_labels(run: Run) -> dict[str, Any]:
    """Many labels as one PDF, kept as the task's file and recorded as issued at its end."""
    given, by = run.given, run.task.by
    codes = given["codes"]

    def progress(share: float) -> None:
        run.progress(share, _("{done} of {all} labels").format(done=round(share * len(codes)),
                                                               all=len(codes)))  # fmt: skip
        run.check()

    if by is None:
        raise NotAllowed(_("Nobody asked for these labels."))
    labels.draw_and_keep(
        by=by, at=timezone.now(), task_id=run.task.pk, codes=codes, size=given["size"],
        skip=given["skip"], progress=progress,
    )  # fmt: skip
    return {"count": len(codes)}


def make_backup(run: Run) -> dict[str, Any]:
    """Everything in one file in the data directory, read back whole."""

    def progress(share: float) -> None:
        run.progress(share, _("{n} % of the backup").format(n=round(share * 100)))
        run.check()

    if run.task.by is None:
        raise NotAllowed(_("Nobody asked for this backup."))
    return kept.make_and_keep(by=run.task.by, at=timezone.now(), progress=progress)


def draw_register(run: Run) -> dict[str, Any]:
    """An owner's tooling with its pictures as one PDF, kept as the task's file."""

    def progress(share: float) -> None:
        run.progress(share, _("{n} % of the register").format(n=round(share * 100)))
        run.check()

    owner = Owner.objects.filter(code=run.given["owner"]).first()
    if owner is None:
        raise Unknown("unknown_owner", _("This owner is no longer here."))
    owner_papers.draw_and_keep(
        at=timezone.now(), task_id=run.task.pk, owner=owner, paper=run.given["paper"],
        progress=progress,
    )  # fmt: skip
    return {"owner": owner.code}


def read_import(run: Run) -> dict[str, Any]:
    """What a large import's sheets hold and what applying it would do, kept with the import."""
    made, by = _import_of(run)
    if made.state != ImportState.READING:
        return import_work.result_of(made, len(made.problems))
    problems = imports.read(
        by=by, at=timezone.now(), made=made, mapping_name=run.given.get("mapping_name", ""),
        progress=_telling(run), task_id=run.task.pk,
    )  # fmt: skip
    return import_work.result_of(made, problems)


def apply_import(run: Run) -> dict[str, Any]:
    """All of a large import, or nothing of it; once, also where the worker died after writing."""
    made, by = _import_of(run)
    if made.state == ImportState.APPLYING:
        import_work.write(
            by=by, at=timezone.now(), made=made, progress=_telling(run), task_id=run.task.pk
        )
    return import_work.result_of(made)


def _import_of(run: Run) -> tuple[Import, Person]:
    if run.task.by is None:
        raise NotAllowed(_("Nobody asked for this import."))
    return Import.objects.get(pk=run.given["import"]), run.task.by


def _telling(run: Run) -> import_work.Progress:
    def progress(share: float, message: str) -> None:
        run.progress(share, message)
        run.check()

    return progress


def order_jobs(run: Run) -> dict[str, Any]:
    """The best order of a mill's coming jobs, for the planner to accept or not. After its time is
    up it answers with the best it has."""
    if run.task.by is None:
        raise NotAllowed(_("Nobody asked for this order."))
    mill = Mill.objects.filter(number=run.given["mill"]).first()
    if mill is None:
        raise Unknown("unknown_mill", _("This mill is no longer here."))
    until = time.monotonic() + ORDER_SECONDS
    started = time.monotonic()

    def should_stop() -> bool:
        now = time.monotonic()
        run.progress(min(0.99, (now - started) / ORDER_SECONDS), _("weighing orders"))
        run.check()
        return now >= until

    return job_order_work.find_order(
        at=timezone.now(), mill=mill, should_stop=should_stop,
        enough_bounding=lambda: time.monotonic() >= started + BOUND_SECONDS,
    )  # fmt: skip


@dataclass
class _FillWatch:
    """How far the filling of a kit is, and when its time is up: once for choosing, once for what
    to make."""

    run: Run
    share: float = 0.0
    until: float = field(default_factory=lambda: time.monotonic() + FILL_SECONDS)
    is_making: bool = False

    def progress(self, share: float) -> None:
        self.share = share
        if share >= fill_work.CHOSEN and not self.is_making:
            self.is_making, self.until = True, time.monotonic() + FILL_SECONDS
        self.run.progress(share, _("choosing what to make") if self.is_making
                          else _("choosing spacers"))  # fmt: skip

    def should_stop(self) -> bool:
        self.progress(self.share)
        return self.run.should_stop() or time.monotonic() >= self.until

    def spent(self) -> float:
        """What part of the time of the present step has gone."""
        return 1.0 - (self.until - time.monotonic()) / FILL_SECONDS


def fill_shafts(run: Run) -> dict[str, Any]:
    """Spacers for every shaft of a kit, taken for it at once. After its time is up it takes the
    best it has."""
    if run.task.by is None:
        raise NotAllowed(_("Nobody asked for these shafts to be filled."))
    watch = _FillWatch(run)

    answer = fill_work.fill_shafts(
        by=run.task.by, at=timezone.now(), kit=find_kit(run.given["kit"]),
        progress=watch.progress, should_stop=watch.should_stop, spent=watch.spent,
        check=run.check,
    )  # fmt: skip
    return {"kit": run.given["kit"], "shafts": len(answer.shafts), "lacks": len(answer.lacks)}


def plan_regrind(run: Run) -> dict[str, Any]:
    """A regrind plan, kept with it."""
    if run.task.by is None:
        raise NotAllowed(_("Nobody asked for this plan."))

    def progress(share: float) -> None:
        run.progress(share, _("weighing what to cut"))
        run.check()

    def should_stop() -> bool:
        run.progress(0.5, _("weighing what to cut"))
        return run.should_stop()

    return regrind_plan_work.work_plan_out(
        by=run.task.by, at=timezone.now(), number=run.given["plan"], should_stop=should_stop,
        progress=progress,
    )  # fmt: skip


def learn_wear(run: Run) -> dict[str, Any]:
    """What like pieces teach about wear, and every forecast anew."""

    def progress(share: float) -> None:
        run.progress(share, _("{n} % of learning").format(n=round(share * 100)))
        run.check()

    return {"points": wear_work.learn(at=timezone.now(), progress=progress)}


HANDLERS: dict[str, Handler] = {
    wear_work.KIND: learn_wear,
    job_order.KIND: order_jobs,
    fill_page.KIND: fill_shafts,
    regrind_plans.KIND: plan_regrind,
    "labels": draw_labels,
    kept.TASK: make_backup,
    owner_papers.KIND: draw_register,
    import_work.READING: read_import,
    import_work.APPLYING: apply_import,
}

"""Filling the shafts of a kit: asked for, written when the worker has the answer, taken back."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.stacks.answer import MakeList, Stacks
from tooling.engineering.stacks.specs import Pieces, ShaftKey
from tooling.errors import Conflict
from tooling.models import Kit, KitFill, KitPosition, Person, Task
from tooling.permissions import Verb, check_can
from tooling.queries.fill_page import KIND, UNDER_WAY
from tooling.queries.fill_problem import check_can_be_reckoned, fill_problem, standing_problem
from tooling.queries.fill_views import FillProblem, source_key
from tooling.queries.kits import WITH_JOB
from tooling.services import tasks
from tooling.services.fill_bins import Really, correct_bin
from tooling.services.fill_rows import Stack, Written, write_stacks
from tooling.services.kit_state import check_open
from tooling.services.write import bump, lock, record_change, writing


def ask_fill(*, by: Person, at: datetime, kit: Kit) -> Task:
    """Have the worker fill the shafts; where that is under way for the kit, the same task.

    Raises NotAllowed, ``kit_closed``, and what ``check_can_be_reckoned`` raises.
    """
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={kit.pk})
        kit = fresh(kit)
        check_can_be_reckoned(kit)
        bump([kit.pk])
        there = task_of(kit)
        if there is not None and there.state in UNDER_WAY:
            return there
        return tasks.ask(
            by=by, at=at, kind=KIND, given={"kit": kit.number}, version=str(kit.version)
        )


def stop_fill(*, by: Person, at: datetime, kit: Kit) -> None:
    """Stop working it out. Raises NotAllowed, Conflict ``task_over``."""
    check_can(by, Verb.GATHER_KITS)
    task = task_of(kit)
    if task is None:
        raise Conflict("task_over", _("Nothing is being worked out for kit {kit}."), kit=kit.number)
    tasks.stop(at=at, task=task)


def task_of(kit: Kit) -> Task | None:
    """The newest task that fills the shafts of a kit. One query."""
    return Task.objects.filter(kind=KIND, input__kit=kit.number).order_by("-pk").first()


def fresh(kit: Kit) -> Kit:
    """The kit as it is now, open, with its job. Raises ``kit_closed``."""
    kit = Kit.objects.select_related(*WITH_JOB).get(pk=kit.pk)
    check_open(kit)
    return kit


def write_answer(*, by: Person, at: datetime, given: FillProblem, answer: Stacks) -> Written:
    """Make the kit what the answer says: one short write.

    A shaft that cannot be completed keeps only what is pinned. Raises NotAllowed, ``kit_closed``,
    Conflict ``stale_plan`` where the kit or the stock moved since it was worked out.
    """
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={given.kit.pk})
        now = fill_problem(fresh(given.kit), at=at)
        if now.problem != given.problem:
            raise _stale(given.kit)
        stacks = _stacks(now, answer)
        pinned = pinned_fills(now)
        written = write_stacks(by=by, at=at, given=now, stacks=stacks, pinned=pinned)
        _keep_answer(by=by, at=at, given=now, answer=answer)
        _record(by=by, at=at, given=now, what="shafts filled", written=written)
        bump([now.kit.pk])
    return written


def _stale(kit: Kit) -> Conflict:
    return Conflict(
        "stale_plan",
        _("While the shafts of kit {kit} were worked out, its pieces or the stock of spacers "
          "changed, so nothing was taken. Fill the shafts again."),
        kit=kit.number,
    )  # fmt: skip


def _stacks(now: FillProblem, answer: Stacks) -> dict[ShaftKey, Stack]:
    """By shaft what every fill is to hold; of one that is not completed only what is pinned."""
    done = {(each.station, each.shaft): each for each in answer.shafts}
    found: dict[ShaftKey, Stack] = {}
    for key, shaft in now.problem.shafts.items():
        if key in now.mounted:
            continue
        if key in done:
            found[key] = {fill.fill: fill.pieces for fill in done[key].fills}
        else:
            found[key] = {f.key: now.problem.pins.get(f.key, ()) for f in shaft.fills}
    return found


def pinned_fills(now: FillProblem) -> set[str]:
    """The fills of which a person pinned something."""
    return {key for key, rows in now.standing.items() if any(row.is_pinned for row in rows)}


def _keep_answer(*, by: Person, at: datetime, given: FillProblem, answer: Stacks) -> None:
    said = KitFill.objects.filter(kit=given.kit).values_list("said", flat=True).first() or {}
    told = {**_told(given, answer), "not_there": said.get("not_there", {})}
    KitFill.objects.update_or_create(
        kit=given.kit,
        defaults={
            "solved_at": at, "by": by, "is_proven": all(answer.is_proven), "said": told,
        },
    )  # fmt: skip


def _told(given: FillProblem, answer: Stacks) -> dict[str, Any]:
    """The answer as plain JSON: figures and bounds, what lacks, what to make, how."""
    return {
        "figures": list(answer.figures),
        "bound": list(answer.bound),
        "stopped": answer.stopped,
        "lacks": [
            {
                "station": lack.station, "shaft": lack.shaft, "fill": lack.fill,
                "window_nm": list(lack.window_nm), "below_nm": lack.below_nm,
                "above_nm": lack.above_nm, "in_whole_stock": lack.in_whole_stock,
            }
            for lack in answer.lacks
        ],
        "make": _made(answer.make),
        "left_out": [
            {"station": e.station, "shaft": e.shaft, "code": e.code, "said": e.said}
            for e in given.left_out
        ],
        "how": [step.as_dict() for step in answer.steps],
    }  # fmt: skip


def _made(make: MakeList | None) -> dict[str, Any] | None:
    if make is None:
        return None
    return {
        "pieces": [
            {
                "fill": each.fill, "length_nm": each.length_nm,
                "window_nm": list(each.window_nm) if each.window_nm else None,
            }
            for each in make.pieces
        ],
        "total_nm": make.total_nm,
        "proven": make.is_proven,
        "impossible": list(make.impossible),
        "stopped": make.stopped,
    }  # fmt: skip


def _record(
    *, by: Person, at: datetime, given: FillProblem, what: str, written: Written, reason: str = ""
) -> None:
    record_change(
        by=by, at=at, subject=given.kit, key=given.kit.number, what=what,
        before={fill: names for fill, names in written.before.items() if names},
        after={fill: names for fill, names in written.after.items() if names}, reason=reason,
    )  # fmt: skip


def change_fills(
    *, by: Person, at: datetime, given: FillProblem, fills: Mapping[str, Pieces],
    pinned: Collection[str], what: str, reason: str = "",
) -> Written:  # fmt: skip
    """Make some fills of a kit hold this, leave all others of their shafts as they are, and write
    it down. Call inside the write."""
    stacks: dict[ShaftKey, dict[str, Pieces]] = {}
    for fill in fills:
        key, shaft, _fill = given.fills[fill]
        stacks.setdefault(key, {f.key: given.keys_of(f.key) for f in shaft.fills})
    for fill, pieces in fills.items():
        stacks[given.fills[fill][0]][fill] = tuple(pieces)
    written = write_stacks(by=by, at=at, given=given, stacks=stacks, pinned=pinned)
    if written.shafts:
        _record(by=by, at=at, given=given, what=what, written=written, reason=reason)
    bump([given.kit.pk])
    return written


def check_not_mounted(given: FillProblem, key: ShaftKey) -> None:
    """Raise Conflict ``shaft_mounted`` for a shaft on which the stack is already."""
    if key in given.mounted:
        raise Conflict(
            "shaft_mounted",
            _("Station {station}, {shaft}: the stack is on the shaft already. Take it off first."),
            station=key[0], shaft=key[1],
        )  # fmt: skip


def clear(
    *, by: Person, at: datetime, kit: Kit, station: int | None = None, shaft: str = ""
) -> int:
    """Take out what fills one shaft, or all that are not mounted, pinned or not; how many spacers.
    What was not there is forgotten too. Raises NotAllowed, ``kit_closed``, ``shaft_mounted``."""
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={kit.pk})
        given = standing_problem(fresh(kit))
        keys = [k for k in given.problem.shafts if station is None or k == (station, shaft)]
        if station is not None:
            check_not_mounted(given, (station, shaft))
        fills: dict[str, Pieces] = {
            fill.key: () for key in keys if key not in given.mounted
            for fill in given.problem.shafts[key].fills
        }  # fmt: skip
        taken = sum(len(given.standing.get(key, ())) for key in fills)
        pinned = pinned_fills(given) - set(fills)
        change_fills(by=by, at=at, given=given, fills=fills, pinned=pinned, what="fills taken out")
        for row in KitFill.objects.filter(kit=kit):
            row.said = {**row.said, "not_there": {}}
            row.save(update_fields=["said"])
    return taken


def not_there(
    *, by: Person, at: datetime, kit: Kit, position: KitPosition, really: Really | None = None
) -> Task:
    """The spacer of a fill is not where it should be: no more of it is taken for this kit, and the
    worker looks for another stack of that shaft. ``really``: what its bin holds, so that the count
    is put right for everybody.

    Raises NotAllowed, ``kit_closed``, ``no_fill``, ``shaft_mounted``, and as ``correct_bin``.
    """
    check_can(by, Verb.GATHER_KITS)
    with writing():
        lock(kits={kit.pk})
        given = standing_problem(fresh(kit))
        row = fill_row(given, position)
        check_not_mounted(given, (row.station_number, row.shaft))
        key = source_key(row)
        answer, _made_now = KitFill.objects.get_or_create(
            kit=kit, defaults={"solved_at": at, "by": by}
        )
        gone = answer.said.get("not_there", {})
        ids = sorted({*gone.get(key, ()), row.pk})
        answer.said = {**answer.said, "not_there": {**gone, key: ids}}
        answer.save(update_fields=["said"])
        if row.is_pinned:
            KitPosition.objects.filter(kit=kit, pk__in=_mates(given, row)).update(is_pinned=False)
        record_change(
            by=by, at=at, subject=kit, key=kit.number, what="spacer not there",
            after={f"{row.station_number} {row.shaft} {row.order}": key},
        )  # fmt: skip
        if really is not None:
            correct_bin(by=by, at=at, kit=kit, position=row, really=really)
        return ask_fill(by=by, at=at, kit=kit)


def _mates(given: FillProblem, row: KitPosition) -> list[int]:
    """All positions of the same fill."""
    key = given.spot_of(row)
    return [each.pk for each in given.standing.get(key or "", ())]


def fill_row(given: FillProblem, position: KitPosition) -> KitPosition:
    """The position as the problem knows it. Raises Conflict ``no_fill`` for one that the set calls
    for."""
    for rows in given.rows.values():
        for row in rows:
            if row.pk == position.pk and row.fill:
                return row
    raise Conflict(
        "no_fill",
        _("The set calls for that position; it is no spacer that fills the shaft. Choose another "
          "piece for it instead."),
    )  # fmt: skip

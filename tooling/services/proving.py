"""A set is proved when a job with it ran good, or a setup of it made a good first piece: its new
pieces are sound, its chart holds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import (
    ChartState,
    Condition,
    JobState,
    Kit,
    KitPosition,
    KitState,
    Movement,
    Person,
    Piece,
    Setup,
    SetupChart,
    ShaftAct,
)
from tooling.models.movements import STANDS
from tooling.permissions import Verb, check_can
from tooling.queries.part_checks import checks_of
from tooling.queries.shaft_states import shaft_states
from tooling.services.edits import apply_edit
from tooling.services.setup_state import hold
from tooling.services.touched import touch_kits_of
from tooling.services.write import bump, lock, record_change, writing


def prove_set(*, by: Person, at: datetime, kit: Kit, note: str = "") -> int:
    """The job of this kit ran good: every new piece that was in it is sound from now on, and the
    set's chart on its mill is proved. How many pieces were new.

    Raises NotAllowed, ``kit_is_open``, ``job_not_run``, ``proved_already``.
    """
    check_can(by, Verb.PROVE_SETS)
    said = " ".join(note.split())[:400]
    with writing():
        lock(kits={kit.pk})
        kit = Kit.objects.select_related("place", "job__tool_set", "job__mill__place").get(
            pk=kit.pk
        )
        _check_ran(kit)
        n = _prove(by=by, at=at, kit=kit, ids=new_pieces_of(kit), chart=_chart_of(kit), said=said)
    return n


def prove_setup(*, by: Person, at: datetime, setup: Setup, note: str = "") -> int:
    """This setup ran good: a good part came and every characteristic of the set is good. The new
    pieces on its shafts are sound from now on, and its chart is proved as it stands, turned or not.
    How many pieces were new.

    Raises NotAllowed, ``setup_struck``, ``no_good_part``, ``checks_lacking`` naming them,
    ``proved_already``.
    """
    check_can(by, Verb.PROVE_SETS)
    said = " ".join(note.split())[:400]
    with writing():
        setup = hold(setup)
        _check_good(setup)
        on = mounted_pieces(setup)
        new = Piece.objects.filter(pk__in=on, condition=Condition.NEW)
        ids = list(new.values_list("pk", flat=True))
        n = _prove(by=by, at=at, kit=setup.kit, ids=ids, chart=setup.chart, said=said,
                   is_turned=setup.is_turned)  # fmt: skip
    return n


def mounted_pieces(setup: Setup) -> set[int]:
    """Ids of the pieces on the shafts that are said to be on. Two queries."""
    on = {
        (station, shaft)
        for (_setup, station, shaft), state in shaft_states([setup.pk]).items()
        if state.what == ShaftAct.MOUNTED
    }
    rows = KitPosition.objects.filter(kit=setup.kit_id, piece__isnull=False, is_staged=True)
    found = rows.values_list("piece_id", "station_number", "shaft")
    return {pk for pk, station, shaft in found if pk is not None and (station, shaft) in on}


def _check_good(setup: Setup) -> None:
    if setup.good_at is None:
        raise Conflict(
            "no_good_part",
            _("Nobody said yet that kit {kit} made a good part. Say so first."),
            kit=setup.kit.number,
        )
    lacking = [each.name for each in checks_of(setup) if not each.is_good]
    if lacking:
        raise Conflict(
            "checks_lacking",
            _("Not good, or not checked yet: {names}. Check the first piece, then prove the set."),
            names=", ".join(lacking[:6]) + (" …" if len(lacking) > 6 else ""),
        )


def _chart_of(kit: Kit) -> SetupChart | None:
    return SetupChart.objects.filter(
        tool_set=kit.job.tool_set, mill=kit.job.mill, is_current=True
    ).first()


def _prove(
    *,
    by: Person,
    at: datetime,
    kit: Kit,
    ids: Sequence[int],
    chart: SetupChart | None,
    said: str,
    is_turned: bool | None = None,
) -> int:
    """The new pieces are sound, the chart holds; both on record."""
    lock(pieces=ids)
    new = list(Piece.objects.filter(pk__in=ids, condition=Condition.NEW).order_by("code"))
    state: dict[str, object] = {"state": ChartState.PROVED}
    if is_turned is not None:
        state["is_turned"] = is_turned
    holds = chart is None or all(getattr(chart, name) == value for name, value in state.items())
    if not new and holds:
        raise Conflict(
            "proved_already",
            _("Nothing of kit {kit} is new, and its chart is proved."),
            kit=kit.number,
        )
    for piece in new:
        apply_edit(
            by=by, at=at, row=piece, key=piece.code, what="proved", reason=said,
            fields={"condition": Condition.SOUND},
        )  # fmt: skip
    if chart is not None:
        key = f"{kit.job.tool_set.number} on {kit.job.mill.number}"[:48]
        apply_edit(by=by, at=at, row=chart, key=key, what="proved", reason=said, fields=state)
    after = {"job": kit.job.number, "pieces": len(new)}
    record_change(
        by=by, at=at, subject=kit, key=kit.number, what="proved", after=after, reason=said
    )
    touch_kits_of(pieces=ids, drawings={piece.drawing_id for piece in new})
    bump([kit.pk])
    return len(new)


def new_pieces_of(kit: Kit) -> list[int]:
    """Ids of the new pieces that were in a closed kit: all it chose, if it was ever complete; else
    those that lie there still or were put there while it was gathered. One query. The job's mill
    comes with the kit."""
    rows = KitPosition.objects.filter(kit=kit, piece__condition=Condition.NEW)
    if kit.is_short:
        came = Movement.objects.filter(
            STANDS,
            _inside(kit),
            piece=OuterRef("piece"),
            effective_at__lte=kit.closed_at,
        )
        if kit.assembled_at is not None:
            came = came.filter(effective_at__gte=kit.assembled_at)
        rows = rows.filter(Q(is_staged=True) | Exists(came))
    return [pk for pk in rows.values_list("piece_id", flat=True) if pk is not None]


def _inside(kit: Kit) -> Q:
    """Movements into the gathering place or to the mill."""
    places = [place for place in (kit.place, kit.job.mill.place) if place is not None]
    inside = Q(pk=None)
    for place in places:
        inside |= Q(to__path__startswith=place.path)
    return inside


def _check_ran(kit: Kit) -> None:
    if kit.state != KitState.CLOSED:
        raise Conflict(
            "kit_is_open",
            _("Kit {kit} is still open. Close it when its job has run, then say that the set is "
              "proved."),
            kit=kit.number,
        )  # fmt: skip
    if kit.job.state != JobState.DONE:
        raise Conflict(
            "job_not_run",
            _("Job {job} of kit {kit} is {state}; only one that ran proves a set."),
            job=kit.job.number,
            kit=kit.number,
            state=kit.job.get_state_display(),
        )

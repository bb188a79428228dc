"""Setups: started for a kit, on its mill or on a plate that is docked later; the first good part;
the handover to the next shift."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    CheckLevel,
    Kit,
    KitState,
    Person,
    Place,
    PlaceKind,
    Setup,
    SetupChart,
    SetupState,
    SetupStep,
    StepKind,
)
from tooling.permissions import Verb, check_can
from tooling.queries.settings import setting_value
from tooling.queries.setup_stacks import stacks_of
from tooling.queries.shaft_states import shaft_states
from tooling.services import staging
from tooling.services.carts import move_cart
from tooling.services.kit_state import check_open
from tooling.services.movements import check_place_is_used
from tooling.services.setup_state import hold, hold_open
from tooling.services.write import bump, lock, record_change, writing

LEVELS = (CheckLevel.STATION, CheckLevel.SHAFT, CheckLevel.ROLL)
"""How much is scanned, by the number of the setting ``mount_check_level``."""


def start_setup(
    *,
    by: Person,
    at: datetime,
    kit: Kit,
    check_level: str = "",
    plate: Place | None = None,
    is_turned: bool | None = None,
) -> Setup:
    """Begin to mount a kit on its job's mill, or to build it on a plate.

    ``check_level`` empty: as the mill's setting says. ``is_turned`` None: as the set's chart for
    the mill says. Raises NotAllowed, ``kit_closed``, ``kit_not_assembled``, ``setup_started``,
    ``mill_occupied``, ``not_a_plate``, ``place_taken``, ``place_not_used``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        lock(kits={kit.pk}, places={plate.pk} if plate else ())
        kit = Kit.objects.select_related("job__mill", "job__tool_set", "place").get(pk=kit.pk)
        check_open(kit)
        _check_may_start(kit)
        if plate is None:
            _check_mill_is_free(kit)
        else:
            _check_plate(kit, plate)
        mill, tool_set = kit.job.mill, kit.job.tool_set
        chart = SetupChart.objects.filter(tool_set=tool_set, mill=mill, is_current=True).first()
        setup = Setup.objects.create(
            kit=kit,
            mill=mill,
            chart=chart,
            plate=plate,
            is_turned=_is_turned(chart) if is_turned is None else is_turned,
            check_level=check_level
            or LEVELS[int(setting_value("mount_check_level", mill=mill)) - 1],
            started_at=at,
            started_by=by,
        )
        after = {"mill": mill.number, "plate": plate.code if plate else "",
                 "turned": setup.is_turned, "check": setup.check_level}  # fmt: skip
        record_change(by=by, at=at, subject=setup, key=kit.number, what="started", after=after)
        staging.restage(by=by, at=at, kit_ids=[kit.pk])
    return setup


def dock(*, by: Person, at: datetime, setup: Setup) -> Setup:
    """The plate on which the setup was built is on the mill now: one move of the plate.

    Raises NotAllowed, ``setup_struck``, ``kit_closed``, ``not_on_a_plate``, ``docked_already``,
    ``mill_occupied``, ``mill_has_no_place``, and what moving a plate may raise.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        setup = hold_open(setup)
        kit = setup.kit
        if setup.plate is None:
            raise Conflict(
                "not_on_a_plate",
                _("Kit {kit} is mounted on the mill itself; there is no plate to dock."),
                kit=kit.number,
            )
        if setup.docked_at is not None:
            raise Conflict(
                "docked_already",
                _("{plate} stands on {mill} already."),
                plate=setup.plate.name,
                mill=setup.mill.name,
            )
        _check_mill_is_free(kit)
        place = setup.mill.place
        if place is None:
            raise Conflict(
                "mill_has_no_place",
                _("{mill} has no place yet, so nothing can be docked there."),
                mill=setup.mill.name,
            )
        if setup.plate.parent_id != place.pk:
            move_cart(by=by, at=at, cart=setup.plate, to=place, kit=kit)
        Setup.objects.filter(pk=setup.pk).update(docked_at=at)
        after = {"plate": setup.plate.code, "mill": setup.mill.number}
        record_change(by=by, at=at, subject=setup, key=kit.number, what="docked", after=after)
        staging.restage(by=by, at=at, kit_ids=[kit.pk])
    setup.refresh_from_db()
    return setup


def say_good(*, by: Person, at: datetime, setup: Setup) -> Setup:
    """The first good part came off: the setup runs. Saying it again changes nothing.

    Raises NotAllowed, ``setup_struck``, ``not_docked``, ``shafts_to_mount`` naming them.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        setup = hold(setup)
        if setup.good_at is not None:
            return setup
        if setup.plate is not None and setup.docked_at is None:
            raise Conflict(
                "not_docked",
                _("{plate} is not on {mill} yet. Dock it first."),
                plate=setup.plate.name,
                mill=setup.mill.name,
            )
        _check_all_mounted(setup)
        SetupStep.objects.create(
            setup=setup, what=StepKind.GOOD, happened_at=at, received_at=at, by=by
        )
        fields: dict[str, Any] = {"good_at": at, "state": SetupState.RUNNING}
        Setup.objects.filter(pk=setup.pk).update(**fields)
        record_change(
            by=by, at=at, subject=setup, key=setup.kit.number, what="first good part",
            after={"good_at": at.isoformat()},
        )  # fmt: skip
        bump([setup.kit_id])
    setup.refresh_from_db()
    return setup


def hand_over(*, by: Person, at: datetime, setup: Setup, note: str = "") -> SetupStep:
    """Hand the setup to the next shift, with what they must know.

    Raises NotAllowed, ``setup_struck``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    said = " ".join(note.split())[:400]
    with writing():
        setup = hold(setup)
        step = SetupStep.objects.create(
            setup=setup, what=StepKind.HANDED_OVER, happened_at=at, received_at=at, by=by, note=said
        )
        bump([setup.kit_id])
    return step


def take_handover_back(*, by: Person, at: datetime, setup: Setup) -> None:
    """The last handover does not hold. Raises NotAllowed, ``setup_struck``,
    ``nothing_to_take_back``."""
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        setup = hold(setup)
        rows = SetupStep.objects.filter(
            setup=setup, what=StepKind.HANDED_OVER, corrected_by=None, is_taken_back=False
        )
        last = rows.order_by("happened_at", "id").last()
        if last is None:
            raise Conflict("nothing_to_take_back", _("Nobody handed this setup over."))
        SetupStep.objects.create(
            setup=setup, what=last.what, happened_at=at, received_at=at, by=by,
            corrects=last, is_taken_back=True,
        )  # fmt: skip
        bump([setup.kit_id])


def _is_turned(chart: SetupChart | None) -> bool:
    return chart is not None and chart.is_turned


def _check_may_start(kit: Kit) -> None:
    there = Setup.objects.filter(kit=kit).select_related("mill").first()
    if there is not None:
        raise Conflict(
            "setup_started",
            _("Kit {kit} is being mounted on {mill} already. Go on there."),
            kit=kit.number,
            mill=there.mill.name,
        )
    if kit.assembled_at is None or kit.state == KitState.CLOSED:
        raise Conflict(
            "kit_not_assembled",
            _("Nothing was chosen for kit {kit} yet. Assemble it, then mount it."),
            kit=kit.number,
        )


def _check_mill_is_free(kit: Kit) -> None:
    """The database holds it, too: one setup stands on a mill."""
    standing = Setup.objects.exclude(state=SetupState.STRUCK).filter(mill=kit.job.mill)
    for other in standing.exclude(kit=kit).select_related("kit__job"):
        if other.plate_id is None or other.docked_at is not None:
            raise Conflict(
                "mill_occupied",
                _("Kit {other} for job {job} stands on {mill}. Strike it down first, or build "
                  "this one on a plate."),
                other=other.kit.number,
                job=other.kit.job.number,
                mill=kit.job.mill.name,
            )  # fmt: skip


def _check_plate(kit: Kit, plate: Place) -> None:
    check_place_is_used(plate)
    if plate.kind != PlaceKind.PLATE:
        raise ToolingError(
            "not_a_plate",
            _("{place} is a {kind}; a setup is built on a plate."),
            place=plate.path_name or plate.name,
            kind=plate.get_kind_display(),
            in_field="plate",
        )
    other = Setup.objects.exclude(state=SetupState.STRUCK).filter(plate=plate).first()
    gathered = Kit.objects.exclude(state=KitState.CLOSED).filter(place=plate).exclude(pk=kit.pk)
    taken = other.kit if other else gathered.first()
    if taken is not None:
        raise Conflict(
            "place_taken",
            _("{place} carries kit {kit}. Choose another plate."),
            place=plate.path_name or plate.name,
            kit=taken.number,
            in_field="plate",
        )


def _check_all_mounted(setup: Setup) -> None:
    states = shaft_states([setup.pk])
    waiting = []
    for station, shaft in sorted(stacks_of(setup)):
        state = states.get((setup.pk, station, shaft))
        if state is None or state.what == "taken_off":
            waiting.append((station, shaft))
    if waiting:
        said = ", ".join(f"{station} {_SHAFTS[shaft]}" for station, shaft in waiting[:6])
        raise Conflict(
            "shafts_to_mount",
            _("Not mounted yet: {shafts}. Mount them, or leave them out with a reason."),
            shafts=said + (" …" if len(waiting) > 6 else ""),
        )


_SHAFTS = {"top": _("top"), "bottom": _("bottom"), "side": _("side")}

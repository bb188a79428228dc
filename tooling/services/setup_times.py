"""The steps and delays of a changeover, said by a tap and taken back by another."""

from __future__ import annotations

import uuid as uuids
from datetime import datetime
from typing import TypeVar

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Delay, DelayCause, Person, Setup, SetupState, SetupStep, StepKind
from tooling.permissions import Verb, check_can
from tooling.services import setups
from tooling.services.edits import apply_edit, optional_text, require_text
from tooling.services.said_again import said_again
from tooling.services.setup_state import hold
from tooling.services.write import bump, lock, writing

MOST_MINUTES = 24 * 60
MANY_TIMES = (StepKind.CLEAN, StepKind.HANDED_OVER)
"""Steps that may be said more than once; the others stand once."""

SaidRow = TypeVar("SaidRow", SetupStep, Delay)


def say_step(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    what: str,
    happened_at: datetime | None = None,
    note: str = "",
    uuid: uuids.UUID | None = None,
) -> SetupStep:
    """Write down a moment of the changeover; the first good part makes the setup run. The same
    ``uuid`` again writes nothing. A handover says in its note what the next must know.

    Raises NotAllowed, ``unknown_step``, ``step_said``, ``setup_struck``, ``not_yet``,
    ``empty_text``, ``long_text``, ``id_reused``; of the first good part as ``setups.say_good``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    if what not in StepKind.values:
        raise ToolingError(
            "unknown_step",
            _("“{what}” is no step of a changeover. Choose one of: {steps}."),
            what=what[:40],
            steps=", ".join(str(label) for label in StepKind.labels),
            in_field="what",
        )
    check = require_text if what == StepKind.HANDED_OVER else optional_text
    note = check(note, field="note", label=_("Note"), longest=400)
    when = _moment(happened_at, at)
    with writing():
        lock(kits={setup.kit_id})
        before = said_again(SetupStep, uuid, setup_id=setup.pk, what=what, note=note)
        if before is not None:
            return before
        fresh = hold(setup)
        if what not in MANY_TIMES:
            _check_not_said(fresh, what)
        if what == StepKind.GOOD:
            return _first_good(by=by, at=at, setup=fresh)
        row = SetupStep.objects.create(
            uuid=uuid or uuids.uuid4(), setup=fresh, what=what, happened_at=when, received_at=at,
            by=by, note=note,
        )  # fmt: skip
        bump([fresh.kit_id])
    return row


def undo_step(*, by: Person, at: datetime, step: SetupStep) -> SetupStep:
    """The step was not that: it is taken back by a row that names it. Without its first good part
    the setup is being mounted again.

    Raises NotAllowed, ``already_corrected``, ``setup_struck``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        fresh = hold(step.setup)
        _check_stands(step)
        row = SetupStep.objects.create(
            setup=fresh, what=step.what, happened_at=step.happened_at, received_at=at, by=by,
            corrects=step, is_taken_back=True,
        )  # fmt: skip
        if step.what == StepKind.GOOD:
            fields = {"state": SetupState.MOUNTING, "good_at": None}
            apply_edit(
                by=by, at=at, row=fresh, key=fresh.kit.number, fields=fields,
                what="first good part taken back",
            )  # fmt: skip
        bump([fresh.kit_id])
    return row


def say_delay(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    cause: str,
    minutes: float,
    station: int | None = None,
    note: str = "",
    uuid: uuids.UUID | None = None,
) -> Delay:
    """Minutes lost, and to what. They are kept apart from the changeover's own time. The same
    ``uuid`` again writes nothing.

    Raises NotAllowed, ``unknown_cause``, ``improbable_value``, ``unknown_station``,
    ``setup_struck``, ``long_text``, ``id_reused``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    if cause not in DelayCause.values:
        raise ToolingError(
            "unknown_cause",
            _("“{cause}” is no cause of a delay. Choose one of: {causes}."),
            cause=cause[:40],
            causes=", ".join(str(label) for label in DelayCause.labels),
            in_field="cause",
        )
    if not 0 < minutes <= MOST_MINUTES:
        raise ToolingError(
            "improbable_value",
            _("A delay of {minutes} minutes is not possible. Write more than 0 and up to {most}."),
            minutes=f"{minutes:g}",
            most=MOST_MINUTES,
            in_field="minutes",
        )
    note = optional_text(note, field="note", label=_("Note"), longest=400)
    with writing():
        lock(kits={setup.kit_id})
        before = said_again(
            Delay, uuid, setup_id=setup.pk, cause=cause, minutes=minutes, station_number=station
        )
        if before is not None:
            return before
        fresh = hold(setup)
        if station is not None and not fresh.mill.stations.filter(number=station).exists():
            raise ToolingError(
                "unknown_station",
                _("{mill} has no station {station}."),
                mill=fresh.mill.name,
                station=station,
                in_field="station",
            )
        row = Delay.objects.create(
            uuid=uuid or uuids.uuid4(), setup=fresh, cause=cause, minutes=minutes,
            station_number=station, happened_at=at, received_at=at, by=by, note=note,
        )  # fmt: skip
        bump([fresh.kit_id])
    return row


def undo_delay(*, by: Person, at: datetime, delay: Delay) -> Delay:
    """Take a delay back by a row that names it.

    Raises NotAllowed, ``already_corrected``, ``setup_struck``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        fresh = hold(delay.setup)
        _check_stands(delay)
        row = Delay.objects.create(
            setup=fresh, cause=delay.cause, minutes=delay.minutes,
            station_number=delay.station_number, happened_at=delay.happened_at, received_at=at,
            by=by, corrects=delay, is_taken_back=True,
        )  # fmt: skip
        bump([fresh.kit_id])
    return row


def _moment(happened_at: datetime | None, at: datetime) -> datetime:
    if happened_at is not None and happened_at > at:
        raise ToolingError(
            "not_yet",
            _("That time is still to come. Say it when it has happened."),
            in_field="happened_at",
        )
    return happened_at or at


def _check_not_said(setup: Setup, what: str) -> None:
    stands = SetupStep.objects.filter(
        setup=setup, what=what, corrected_by=None, is_taken_back=False
    ).first()
    if stands is not None:
        raise Conflict(
            "step_said",
            _("“{step}” was said already. Take that back first if the time is wrong."),
            step=StepKind(what).label,
        )


def _check_stands(row: SaidRow) -> None:
    if row.is_taken_back or type(row)._default_manager.filter(corrects=row).exists():
        raise Conflict(
            "already_corrected",
            _("That was already taken back. Load the page again."),
        )


def _first_good(*, by: Person, at: datetime, setup: Setup) -> SetupStep:
    setups.say_good(by=by, at=at, setup=setup)
    rows = SetupStep.objects.filter(setup=setup, what=StepKind.GOOD, corrected_by=None)
    return rows.get(is_taken_back=False)

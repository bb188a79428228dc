"""What was set at a station: both ends of a gap, or another axis; the last word stands."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import NM_PER_IN, NM_PER_MM, say_length
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import AsSet, Method, Person, Setup
from tooling.permissions import Verb, check_can
from tooling.queries.as_set import LENGTH_UNITS, Aim, aims_of, last_set
from tooling.queries.settings import setting_value
from tooling.queries.setup_stacks import stacks_of
from tooling.services.edits import require_text
from tooling.services.said_again import all_said_again, key_of, said_again
from tooling.services.setup_state import hold
from tooling.services.write import bump, writing

ENDS = ("", "inboard", "outboard")
WIDEST_NM = 100 * NM_PER_MM
"""A gap wider than this is asked about where no target says more."""

SLACK_NM = 500_000
"""So much more than its target a small gap may always be: thin strip has thin targets."""

NAMESPACE = uuid.UUID("6f0e8c52-0a1d-5c3e-8f24-2a6f5d1f4b11")


@dataclass(frozen=True)
class SetIn:
    """One number as it was set. ``name`` empty: the gap. A length is ``value_nm`` with ``unit`` mm
    or in; anything else ``value`` in its own unit. ``unit_is_written``: the person wrote the unit.
    """

    end: str = ""
    name: str = ""
    value_nm: int | None = None
    value: float | None = None
    unit: str = "mm"
    unit_is_written: bool = False

    @property
    def is_length(self) -> bool:
        return self.unit in LENGTH_UNITS


def set_numbers(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    station: int,
    numbers: Sequence[SetIn],
    method: str = "",
    is_loaded: bool | None = None,
    sure: bool = False,
    note: str = "",
    id: uuid.UUID | None = None,
) -> list[AsSet]:
    """Write down what was set at a station, all of it or nothing; with the targets of now.

    The same ``id`` sent again changes nothing. Raises NotAllowed, ``setup_struck``,
    ``no_such_station``, ``nothing_given``, ``method_missing``, ``ambiguous_length`` for a number
    that would be right in the other unit, ``improbable_value`` for one that cannot be or, until
    ``sure``, hardly is; ``id_reused``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    if not numbers:
        raise ToolingError("nothing_given", _("Write at least one number."), in_field="inboard")
    with writing():
        setup = hold(setup)
        ways = {"setup_id": setup.pk, "station_number": station, "method": method,
                "is_loaded": is_loaded}  # fmt: skip
        there = all_said_again(AsSet, id, [{**ways, **_said(each)} for each in numbers])
        if there:
            return there
        _check_station(setup, station)
        aims = aims_of(setup, station=station)
        most = float(setting_value("gap_improbable", mill=setup.mill))
        for each in numbers:
            _check(each, aims.get((station, each.name)), most=most, sure=sure)
        _check_method(method, any(not each.name for each in numbers))
        rows = [
            _row(
                each, aims.get((station, each.name)), by=by, at=at, setup=setup, method=method,
                station_number=station, is_loaded=is_loaded, note=" ".join(note.split())[:400],
                uuid=key_of(id, n),
            )
            for n, each in enumerate(numbers)
        ]  # fmt: skip
        AsSet.objects.bulk_create(rows)
        bump([setup.kit_id])
    return rows


def set_as_target(
    *, by: Person, at: datetime, setup: Setup, station: int, id: uuid.UUID | None = None
) -> list[AsSet]:
    """Everything that has a target at the station is set as it, both ends, found as the chart
    says. Raises as `set_numbers`, and ``no_target``."""
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        setup = hold(setup)
        aims = [aim for aim in aims_of(setup, station=station).values() if aim.has_target]
        if not aims:
            raise Conflict(
                "no_target",
                _("Nothing says what station {station} is to be set to. Write the numbers."),
                station=station,
            )
        first = None if id is None else key_of(uuid.uuid5(id, aims[0].name), 0)
        there = said_again(
            AsSet, first, setup_id=setup.pk, station_number=station, is_as_target=True
        )
        if there is not None:  # the targets may have moved since
            return list(AsSet.objects.filter(setup=setup, received_at=there.received_at))
        rows = []
        for aim in aims:
            numbers = [
                SetIn(end, aim.name, aim.target_nm, aim.target, aim.unit, True) for end in aim.ends
            ]
            rows += set_numbers(
                by=by,
                at=at,
                setup=setup,
                station=station,
                numbers=numbers,
                method=aim.method or (Method.FEELER if not aim.name else ""),
                is_loaded=aim.is_loaded if not aim.name else None,
                sure=True,
                id=uuid.uuid5(id, aim.name) if id is not None else None,
            )
    return rows


def take_back(*, by: Person, at: datetime, setup: Setup, station: int) -> int:
    """What was last written down at the station does not hold; how many numbers that was.

    Raises NotAllowed, ``setup_struck``, ``nothing_to_take_back``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        setup = hold(setup)
        standing = last_set([setup.pk], station=station).values()
        newest = max((row.received_at for row in standing), default=None)
        if newest is None:
            raise Conflict(
                "nothing_to_take_back",
                _("Nothing was written down at station {station}."),
                station=station,
            )
        wrong = [row for row in standing if row.received_at == newest]
        AsSet.objects.bulk_create(_taken_back(row, by=by, at=at) for row in wrong)
        bump([setup.kit_id])
    return len(wrong)


def _said(each: SetIn) -> dict[str, Any]:
    return {"name": each.name, "end": each.end, "value_nm": each.value_nm, "value": each.value,
            "unit": each.unit}  # fmt: skip


def _taken_back(row: AsSet, *, by: Person, at: datetime) -> AsSet:
    return AsSet(
        happened_at=at, received_at=at, by=by, setup_id=row.setup_id, name=row.name, end=row.end,
        station_number=row.station_number, value_nm=row.value_nm, value=row.value, unit=row.unit,
        method=row.method, is_loaded=row.is_loaded, corrects=row, is_taken_back=True,
    )  # fmt: skip


def _check_station(setup: Setup, station: int) -> None:
    if not stacks_of(setup, stations=[station]):
        raise Unknown(
            "no_such_station",
            _("Kit {kit} puts nothing at station {station}."),
            kit=setup.kit.number,
            station=station,
        )


def _check_method(method: str, is_gap: bool) -> None:
    if method not in Method.values and (method or is_gap):
        raise ToolingError(
            "method_missing",
            _("Say how the gap was found: feelers, strip sample, plug, solder …"),
            in_field="method",
        )


def _check(each: SetIn, aim: Aim | None, *, most: float, sure: bool) -> None:
    field = each.end or "value"
    if each.end not in ENDS:
        raise ToolingError("unknown_end", _("“{end}” is no end."), end=each.end, in_field="end")
    if each.name:
        require_text(each.name, field="name", label=_("What"), longest=60)
    require_text(each.unit, field="unit", label=_("Unit"), longest=12)
    if (each.value_nm is None) == (each.value is None) or each.is_length != (
        each.value_nm is not None
    ):
        raise ToolingError("nothing_given", _("Write the number."), in_field=field)
    if each.name or each.value_nm is None:
        return
    _check_gap(each.value_nm, each, aim.target_nm if aim else None, field, most=most, sure=sure)


def _check_gap(
    value_nm: int, each: SetIn, target: int | None, field: str, *, most: float, sure: bool
) -> None:
    unit: Any = "in" if each.unit == "in" else "mm"
    told = {"value": say_length(value_nm, unit), "in_field": field}
    if value_nm < 0:
        raise ToolingError(
            "improbable_value", _("A gap of {value} is below nothing. Measure again."), **told
        )
    if target and not each.unit_is_written and not _is_near(value_nm, target, most):
        other = "mm" if unit == "in" else "in"
        factor = NM_PER_IN / NM_PER_MM
        meant = round(value_nm * factor if other == "in" else value_nm / factor)
        if abs(meant - target) <= target // 2:
            raise ToolingError(
                "ambiguous_length",
                _("{value} or {meant}? The target is {target}. Write the unit behind the number."),
                meant=f"{say_length(meant, 'in')} ({say_length(meant, 'mm')})"
                if other == "in" else say_length(meant, "mm"),
                target=say_length(target, unit),
                **told,
            )  # fmt: skip
    if sure or (_is_near(value_nm, target, most) if target else value_nm <= WIDEST_NM):
        return
    if target:
        raise ToolingError(
            "improbable_value",
            _("{value} is far from the target of {target}. Measure again; if it is right, say so."),
            target=say_length(target, unit),
            asks="sure",
            **told,
        )
    raise ToolingError(
        "improbable_value",
        _("{value} is wide for a gap. Measure again; if it is right, say so."),
        asks="sure",
        **told,
    )


def _is_near(value_nm: int, target: int, most: float) -> bool:
    """Within so many times the target either way, with some slack upwards for thin strip."""
    return target / most <= value_nm <= target * most + SLACK_NM


def _row(each: SetIn, aim: Aim | None, *, at: datetime, **fields: Any) -> AsSet:
    said: dict[str, Any] = {"value_nm": each.value_nm, "value": each.value}
    target: dict[str, Any] = {
        "target_nm": aim.target_nm if aim else None,
        "target": aim.target if aim else None,
    }
    is_as_target = (
        aim is not None
        and aim.has_target
        and (each.value_nm, each.value) == (aim.target_nm, aim.target)
    )
    return AsSet(
        happened_at=at, received_at=at, name=each.name, end=each.end, unit=each.unit,
        is_as_target=is_as_target, **said, **target, **fields,
    )  # fmt: skip

"""The first piece of a setup, characteristic by characteristic."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError, Unknown
from tooling.models import Characteristic, PartCheck, Person, Setup
from tooling.permissions import Verb, check_can
from tooling.queries.as_set import LENGTH_UNITS
from tooling.services.said_again import all_said_again, key_of
from tooling.services.setup_state import hold
from tooling.services.setups import say_good
from tooling.services.write import bump, writing


@dataclass(frozen=True)
class CheckIn:
    """What was found of one characteristic: a length, a number, or only whether it is good."""

    characteristic: str
    value_nm: int | None = None
    value: float | None = None
    is_good: bool | None = None


def check_part(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    checks: Sequence[CheckIn],
    note: str = "",
    id: uuid.UUID | None = None,
) -> list[PartCheck]:
    """Write down what the piece had. A value is good within the characteristic's limits; without
    a value the person says.

    Raises NotAllowed, ``setup_struck``, ``unknown_characteristic``, ``nothing_given``,
    ``wrong_unit``, ``id_reused``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    if not checks:
        raise ToolingError("nothing_given", _("Check at least one characteristic."))
    with writing():
        setup = hold(setup)
        known = {
            row.name: row for row in Characteristic.objects.filter(tool_set=setup.kit.job.tool_set)
        }
        there = _again(setup, known, checks, id)
        if there:
            return there
        rows = [
            PartCheck(
                uuid=key_of(id, n),
                happened_at=at,
                received_at=at,
                by=by,
                setup=setup,
                characteristic=_known(known, each.characteristic),
                **{"value_nm": each.value_nm, "value": each.value},
                is_good=judge(_known(known, each.characteristic), each),
                note=" ".join(note.split())[:400],
            )
            for n, each in enumerate(checks)
        ]
        PartCheck.objects.bulk_create(rows)
        bump([setup.kit_id])
    return rows


def check_first_piece(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    checks: Sequence[CheckIn],
    is_good_part: bool,
    note: str = "",
    id: uuid.UUID | None = None,
) -> None:
    """What the first piece had and whether it was good, as one act. Raises as `check_part` and
    ``setups.say_good``."""
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        if checks or not is_good_part:
            check_part(by=by, at=at, setup=setup, checks=checks, note=note, id=id)
        if is_good_part:
            say_good(by=by, at=at, setup=setup)


def judge(row: Characteristic, said: CheckIn) -> bool:
    """Whether what was found is good. Raises ``nothing_given``, ``wrong_unit``."""
    is_length = row.unit in LENGTH_UNITS
    if (said.value_nm is not None and not is_length) or (said.value is not None and is_length):
        raise ToolingError(
            "wrong_unit",
            _("{name} is measured in {unit}."),
            name=row.name,
            unit=row.unit,
            in_field=row.name,
        )
    value = said.value_nm if is_length else said.value
    least = row.least_nm if is_length else row.least
    most = row.most_nm if is_length else row.most
    if value is None or (least is None and most is None):
        if said.is_good is None:
            raise ToolingError(
                "nothing_given",
                _("{name}: write what was measured, or say good or not good."),
                name=row.name,
                in_field=row.name,
            )
        return said.is_good
    return (least is None or value >= least) and (most is None or value <= most)


def _again(
    setup: Setup, known: dict[str, Characteristic], checks: Sequence[CheckIn], id: uuid.UUID | None
) -> list[PartCheck]:
    """What was written with this id, where it was. Raises ``id_reused``."""
    sames = [
        {"setup_id": setup.pk, "characteristic_id": row.pk, "value_nm": each.value_nm,
         "value": each.value, "is_good": judge(row, each)}
        for each, row in ((each, _known(known, each.characteristic)) for each in checks)
    ]  # fmt: skip
    return all_said_again(PartCheck, id, sames)


def _known(known: dict[str, Characteristic], name: str) -> Characteristic:
    if name not in known:
        raise Unknown(
            "unknown_characteristic",
            _("The set has no characteristic “{name}”."),
            name=name[:80],
        )
    return known[name]

"""The strip of a setup, measured where it lies; gaps, packs and old numbers follow the newest."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import cast

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import Unit, say_length
from tooling.errors import Conflict, ToolingError
from tooling.models import Gauge, Person, Setup, StripMeasure
from tooling.permissions import Verb, check_can
from tooling.queries.settings import setting_value
from tooling.queries.strip_measures import standing_measures
from tooling.services.edits import optional_text
from tooling.services.jobs import MOST_THICKNESS_NM, MOST_WIDTH_NM
from tooling.services.said_again import said_again
from tooling.services.setup_state import hold
from tooling.services.write import bump, writing


def measure_strip(
    *,
    by: Person,
    at: datetime,
    setup: Setup,
    thickness_nm: int,
    width_nm: int | None = None,
    coil: str = "",
    unit: str = "mm",
    gauge: Gauge | None = None,
    sure: bool = False,
    id: uuid.UUID | None = None,
) -> StripMeasure:
    """The strip on the mill is so thick, over its coating. From now on every target that stands on
    the strip follows it.

    The same ``id`` sent again changes nothing. Raises NotAllowed, ``setup_struck``, ``id_reused``,
    ``long_text``, ``improbable_value`` for what cannot be or, until ``sure``, is far from the plan.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    coil = optional_text(coil, field="coil", label=_("Coil"), longest=60)
    _check_possible("thickness_nm", _("Strip thickness"), thickness_nm, MOST_THICKNESS_NM, unit)
    if width_nm is not None:
        _check_possible("width_nm", _("Strip width"), width_nm, MOST_WIDTH_NM, unit)
    with writing():
        setup = hold(setup)
        said = {"thickness_nm": thickness_nm, "width_nm": width_nm, "coil": coil, "gauge": gauge}
        before = said_again(StripMeasure, id, setup_id=setup.pk, **said)
        if before is not None:
            return before
        if not sure:
            _check_near(thickness_nm, setup, unit)
        row = StripMeasure.objects.create(
            uuid=id or uuid.uuid4(), setup=setup, unit=unit, happened_at=at, received_at=at, by=by,
            **said,
        )  # fmt: skip
        bump([setup.kit_id])
    return row


def take_measure_back(*, by: Person, at: datetime, setup: Setup) -> StripMeasure:
    """The newest measure does not hold; the one before it does again, else the plan.

    Raises NotAllowed, ``setup_struck``, ``nothing_to_take_back``.
    """
    check_can(by, Verb.MOUNT_SETUPS)
    with writing():
        setup = hold(setup)
        last = standing_measures().filter(setup=setup).first()
        if last is None:
            raise Conflict("nothing_to_take_back", _("Nobody measured the strip of this setup."))
        row = StripMeasure.objects.create(
            setup=setup, thickness_nm=last.thickness_nm, width_nm=last.width_nm, coil=last.coil,
            unit=last.unit, gauge=last.gauge, happened_at=at, received_at=at, by=by, corrects=last,
            is_taken_back=True,
        )  # fmt: skip
        bump([setup.kit_id])
    return row


def _check_possible(field: str, what: object, value_nm: int, most: int, unit: str) -> None:
    if not 1 <= value_nm <= most:
        raise ToolingError(
            "improbable_value",
            _("{what}: {value} is not possible. Check the number and its unit."),
            what=what,
            value=say_length(value_nm, cast(Unit, unit)),
            in_field=field,
        )


def _check_near(thickness_nm: int, setup: Setup, unit: str) -> None:
    planned = setup.kit.job.thickness_nm
    percent = float(setting_value("strip_improbable", mill=setup.mill))
    if planned and abs(thickness_nm - planned) * 100 > planned * percent:
        raise ToolingError(
            "improbable_value",
            _("{value} is far from the planned {planned}. Measure again; if it is right, say so."),
            value=say_length(thickness_nm, cast(Unit, unit)),
            planned=say_length(planned, cast(Unit, unit)),
            in_field="thickness_nm",
            asks="sure",
        )

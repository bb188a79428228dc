"""Gauges: what is measured with, and what its certificate says."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Gauge, Person
from tooling.permissions import Verb, check_can
from tooling.services.edits import (
    already_there,
    apply_edit,
    record_creation,
    require_fields,
    require_text,
)
from tooling.services.write import writing


def create_gauge(*, by: Person, at: datetime, number: str, name: str, **fields: Any) -> Gauge:
    """A new gauge. Raises ``already_there``, ``not_positive``."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(Gauge, fields)
    number = require_text(number, field="number", label=_("Gauge number"), longest=30)
    name = require_text(name, field="name", label=_("Name"), longest=80)
    check_gauge(fields)
    with writing():
        if Gauge.objects.filter(number__iexact=number).exists():
            raise already_there(label=_("Gauge"), text=number, field="number")
        gauge = Gauge.objects.create(number=number, name=name, **fields)
        record_creation(by=by, at=at, row=gauge, key=number, fields={**fields, "name": name})
    return gauge


def edit_gauge(*, by: Person, at: datetime, gauge: Gauge, **fields: Any) -> Gauge:
    """Change what the certificate says. The number stays."""
    check_can(by, Verb.EDIT_RECORDS)
    require_fields(Gauge, fields)
    if "name" in fields:
        fields["name"] = require_text(fields["name"], field="name", label=_("Name"), longest=80)
    names = ("least_nm", "most_nm", "calibrated_on", "due_on")
    check_gauge({**{name: getattr(gauge, name) for name in names}, **fields})
    with writing():
        fresh = Gauge.objects.select_for_update().get(pk=gauge.pk)
        apply_edit(by=by, at=at, row=fresh, key=fresh.number, fields=fields)
    return fresh


def check_gauge(fields: dict[str, Any]) -> None:
    """Raise ``not_positive``, ``least_above_most``, ``due_before_calibrated``."""
    for name in ("resolution_nm", "uncertainty_nm"):
        if fields.get(name) is not None and fields[name] <= 0:
            raise ToolingError(
                "not_positive",
                _("A resolution or uncertainty is above nothing; leave it empty if not known."),
                in_field=name,
            )
    least, most = fields.get("least_nm"), fields.get("most_nm")
    if least is not None and most is not None and least >= most:
        raise ToolingError(
            "least_above_most",
            _("The range of a gauge goes from less to more."),
            in_field="most_nm",
        )
    done, due = fields.get("calibrated_on"), fields.get("due_on")
    if done is not None and due is not None and due <= done:
        raise ToolingError(
            "due_before_calibrated",
            _("The next calibration is due after the last one."),
            in_field="due_on",
        )

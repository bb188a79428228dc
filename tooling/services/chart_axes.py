"""Other settings of a charted pass, free-named, with unit and target; and what a gap aims at."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.measures import check_number, is_length
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import ChartAxis, ChartPass, ChartState, Method, Person, SetupChart
from tooling.permissions import Verb, check_can
from tooling.services.characteristics import wrong_unit
from tooling.services.edits import apply_edit, record_creation, record_removal, require_text
from tooling.services.touched import touch_kits_for
from tooling.services.write import writing


def save_axis(
    *,
    by: Person,
    at: datetime,
    chart_pass: ChartPass,
    name: str,
    unit: str,
    target_nm: int | None = None,
    target: float | None = None,
) -> ChartAxis:
    """Add a setting, or change the one of that name; the chart is to be proved again.

    In mm or in the target is ``target_nm``, in any other unit ``target``. Raises ``empty_text``,
    ``long_text``, ``wrong_unit``, ``improbable_value``.
    """
    check_can(by, Verb.EDIT_RECORDS)
    name = require_text(name, field="name", label=_("Setting"), longest=60)
    unit = require_text(unit, field="unit", label=_("Unit"), longest=12)
    check_target(unit, target_nm, target)
    fields = {"unit": unit, "target_nm": target_nm, "target": target}
    key = axis_key(chart_pass, name)
    with writing():
        row = chart_pass.axes.filter(name__iexact=name).first()
        if row is None:
            row = ChartAxis.objects.create(chart_pass=chart_pass, name=name, **fields)
            record_creation(by=by, at=at, row=row, key=key, fields=fields)
            changed = True
        else:
            changed = apply_edit(by=by, at=at, row=row, key=key, fields=fields)
        if changed:
            unprove(by=by, at=at, chart=chart_pass.chart)
    return row


def remove_axis(*, by: Person, at: datetime, chart_pass: ChartPass, name: str) -> None:
    """It is not set any more. Raises Unknown ``unknown_axis``."""
    check_can(by, Verb.EDIT_RECORDS)
    with writing():
        row = chart_pass.axes.filter(name__iexact=name).first()
        if row is None:
            raise Unknown(
                "unknown_axis",
                _("Pass {number} has no setting “{name}” on this chart."),
                number=chart_pass.set_pass.number,
                name=name[:60],
            )
        fields = {"unit": row.unit, "target_nm": row.target_nm, "target": row.target}
        key = axis_key(chart_pass, row.name)
        record_removal(by=by, at=at, row=row, key=key, fields=fields)
        row.delete()
        touch_kits_for(tool_set=chart_pass.chart.tool_set_id, mill=chart_pass.chart.mill_id)


def unprove(*, by: Person, at: datetime, chart: SetupChart) -> None:
    """What the chart says has changed: it is to be proved again, and open screens are told. Call
    inside the write of the cause."""
    if chart.state == ChartState.PROVED:
        key = f"{chart.tool_set.number} on {chart.mill.number}"[:48]
        apply_edit(by=by, at=at, row=chart, key=key, fields={"state": ChartState.UNPROVED})
    touch_kits_for(tool_set=chart.tool_set_id, mill=chart.mill_id)


def check_target(unit: str, target_nm: int | None, target: float | None) -> None:
    """Raise ``wrong_unit``, ``improbable_value``."""
    if (target if is_length(unit) else target_nm) is not None:
        raise wrong_unit(unit, "target")
    if target is not None:
        check_number(target, field="target")


MOST_GAP_NM = 100_000_000


def check_gap(values: Mapping[str, Any]) -> None:
    """What a gap aims at: a figure, or so much over the measured strip, not both.

    Raises ``two_targets``, ``gap_not_open``, ``improbable_value``, ``unknown_method``.
    """
    gap, allowance = values.get("gap_nm"), values.get("gap_allowance_nm")
    if gap is not None and allowance is not None:
        raise Conflict(
            "two_targets",
            _("Write the gap, or so much over the measured strip: one of the two."),
            in_field="gap_allowance_nm",
        )
    if gap is not None and gap <= 0:
        raise ToolingError(
            "gap_not_open",
            _("A gap is open: more than nothing. Leave it empty where spacers set it."),
            in_field="gap_nm",
        )
    for field, size in (("gap_nm", gap), ("gap_allowance_nm", allowance)):
        if size is not None and abs(size) > MOST_GAP_NM:
            raise ToolingError(
                "improbable_value",
                _("No gap is wider than {most} mm. Check the number and its unit."),
                most=MOST_GAP_NM // 1_000_000,
                in_field=field,
            )
    method = values.get("gap_method") or ""
    if method and method not in Method.values:
        raise ToolingError(
            "unknown_method",
            _("“{method}” is no way to find a gap. Choose one of: {methods}."),
            method=str(method)[:20],
            methods=", ".join(Method.values),
            in_field="gap_method",
        )


def axis_key(chart_pass: ChartPass, name: str) -> str:
    """By which its changes are filed."""
    chart = chart_pass.chart
    number = chart_pass.set_pass.number
    return f"{chart.tool_set.number} on {chart.mill.number} {number} {name}"[:60]

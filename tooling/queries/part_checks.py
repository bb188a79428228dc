"""The characteristics of a set's section, and what the first piece of a setup had of them."""

from __future__ import annotations

from tooling.models import Characteristic, PartCheck, Setup
from tooling.queries.as_set import LENGTH_UNITS
from tooling.queries.setup_views import CheckView


def checks_of(setup: Setup) -> tuple[CheckView, ...]:
    """Every characteristic of the set in order, with its last standing check. Two queries."""
    rows = Characteristic.objects.filter(tool_set=setup.kit.job.tool_set_id)
    said = PartCheck.objects.filter(setup=setup, corrected_by=None, is_taken_back=False)
    last = {
        row.characteristic_id: row
        for row in said.select_related("by").order_by("happened_at", "id")
    }
    return tuple(_view(each, last.get(each.pk)) for each in rows.order_by("order", "name"))


def _view(row: Characteristic, last: PartCheck | None) -> CheckView:
    view = CheckView(
        id=row.pk,
        name=row.name,
        unit=row.unit,
        is_length=row.unit in LENGTH_UNITS,
        nominal_nm=row.nominal_nm,
        least_nm=row.least_nm,
        most_nm=row.most_nm,
        nominal=row.nominal,
        least=row.least,
        most=row.most,
        value_nm=last.value_nm if last else None,
        value=last.value if last else None,
        is_good=last.is_good if last else None,
        by=str(last.by) if last and last.by else "",
        at=last.happened_at if last else None,
    )
    return view

"""Counted stock from sheets: bins and how many lie in them."""

from __future__ import annotations

from datetime import datetime, time
from typing import Any

from tooling.models import Movement, StockLine
from tooling.services.importing.known import Known, check_label, plain
from tooling.services.importing.known_records import read_stock
from tooling.services.importing.past import not_in_future
from tooling.services.importing.plan import Plan
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row


def plan_stock(rows: list[Row], plan: Plan, known: Known) -> None:
    read_stock(
        known,
        (row.values["drawing"] for row in rows),
        (row.values.get("code") for row in rows),
    )
    for row in rows:
        with plan.of_row(row, KINDS["stock"], "drawing"):
            _plan_line(row.values, plan, known)


def _plan_line(values: dict[str, Any], plan: Plan, known: Known) -> None:
    drawing = plan.look("drawing", known.drawing, values["drawing"])
    place = plan.look("place", known.place, values["place"])
    owner = plan.look("owner", known.owner, values.get("owner"))
    condition = values.get("condition") or "sound"
    key = (plain(drawing.number), plain(place.path_name), condition, plain(owner.code))
    line = known.stock.get(key)
    title = f"{drawing.number} in {place.path_name}"
    code = values.get("code")
    if line is None:
        label = plan.look("code", lambda text: known.label(text, "B"), code) if code else ""
        line = plan.create(
            StockLine, title, code=label, drawing=drawing, place=place,
            condition=condition, owner=owner, least_count=values.get("least_count") or 0,
        )  # fmt: skip
        known.add_stock(line)
        change, what = values["count"], "receive"
    else:
        plan.look("code", lambda text: check_label(line, text), code)
        plan.edit(line, title, least_count=values.get("least_count"))
        change, what = values["count"] - line.count, "count"
        if change:
            plan.changed(title, "count", line.count, values["count"])
    plan.speak_of(line, title)
    if change:
        plan.derive(line, count=values["count"])
        at = _counted_at(values, plan, known)
        plan.create(
            Movement, title, quiet=True, stock=line, to=place, what=what, quantity=change,
            how="import", happened_at=at, received_at=plan.at, effective_at=at, sees=False,
        )  # fmt: skip


def _counted_at(values: dict[str, Any], plan: Plan, known: Known) -> datetime:
    if not values.get("counted_on"):
        return plan.at
    moment = datetime.combine(values["counted_on"], time(12), tzinfo=known.zone)
    plan.look("counted_on", lambda when: not_in_future(when, plan.at), moment)
    return min(moment, plan.at)

"""Middle fills, characteristics and free-named settings of charts from sheets."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.measures import Measure, read_measure
from tooling.errors import Unknown
from tooling.models import (
    Characteristic,
    ChartAxis,
    ChartPass,
    ChartState,
    SetFill,
    SetPass,
    ToolSet,
)
from tooling.services.characteristics import VALUES, characteristic_key, check_values
from tooling.services.chart_axes import check_target
from tooling.services.importing.charts import charts_of
from tooling.services.importing.known import Known, plain
from tooling.services.importing.known_records import pointing_to
from tooling.services.importing.mills import taken
from tooling.services.importing.plan import Plan
from tooling.services.importing.shop import said
from tooling.services.set_fills import check_sizes, fill_key
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

FILL_NAMES = {
    "length": "length_nm",
    "below": "below_nm",
    "above": "above_nm",
    "outside_most": "outside_most_nm",
}
Passes = dict[tuple[str, int], SetPass]


def plan_fills(rows: list[Row], plan: Plan, known: Known) -> None:
    """A fill that no row names stays."""
    passes = _passes(rows, plan, known)
    keys = {each.pk: each for each in passes.values()}
    there = {
        (each.set_pass_id, each.shaft, each.after_order): each
        for each in pointing_to(plan.stage, SetFill, "set_pass_id", keys)
    }
    for row in rows:
        with plan.of_row(row, KINDS["fills"], "pass"):
            _plan_fill(row.values, plan, known, passes, there)


def _plan_fill(
    values: dict[str, Any], plan: Plan, known: Known, passes: Passes, there: dict[Any, SetFill]
) -> None:
    set_pass = _pass_of(values, plan, known, passes)
    spot = (values["shaft"], values["after"])
    title = fill_key(set_pass, *spot)
    wanted = taken(values, FILL_NAMES)
    present = there.get((set_pass.pk, *spot))
    if present is None:
        check_sizes(wanted)
        made = said(wanted)
        present = plan.create(
            SetFill, title, set_pass=set_pass, shaft=spot[0], after_order=spot[1], **made
        )
        there[set_pass.pk, *spot] = present
    else:
        old = {name: getattr(present, name) for name in FILL_NAMES.values()}
        check_sizes({**old, **said(wanted)})
        plan.edit(present, title, **wanted)
    plan.speak_of(present, title)


def plan_characteristics(rows: list[Row], plan: Plan, known: Known) -> None:
    """What is checked on the first piece; one that no row names stays."""
    named = {plain(row.values["set"]) for row in rows}
    sets = {known.sets[number].pk for number in named if number in known.sets}
    there: dict[tuple[int, str], Characteristic] = {}
    last: dict[int, int] = {}
    for each in pointing_to(plan.stage, Characteristic, "tool_set_id", sets):
        there[each.tool_set_id, plain(each.name)] = each
        last[each.tool_set_id] = max(last.get(each.tool_set_id, 0), each.order)
    for row in rows:
        with plan.of_row(row, KINDS["characteristics"], "characteristic"):
            _plan_characteristic(row.values, plan, known, there, last)


def _plan_characteristic(
    values: dict[str, Any], plan: Plan, known: Known,
    there: dict[tuple[int, str], Characteristic], last: dict[int, int],
) -> None:  # fmt: skip
    tool_set: ToolSet = plan.look("set", known.tool_set, values["set"])
    name, unit = values["characteristic"], values["measured_in"]
    wanted: dict[str, Any] = {"unit": unit, "order": values.get("check_order")}
    for name_of in VALUES:
        found = _measure(values, name_of, unit, plan, "characteristics")
        wanted |= {f"{name_of}_nm": found.nm, name_of: found.number}
    check_values(unit, wanted)
    title = characteristic_key(tool_set, name)
    present = there.get((tool_set.pk, plain(name)))
    if present is None:
        if wanted["order"] is None:
            wanted["order"] = last.get(tool_set.pk, 0) + 1
        present = plan.create(Characteristic, title, tool_set=tool_set, name=name, **said(wanted))
        there[tool_set.pk, plain(name)] = present
    else:
        both = {each: getattr(present, each) for each in wanted}
        clears = _giving_way(present, wanted, VALUES)
        both |= dict.fromkeys(clears) | said(wanted)
        check_values(unit, both)
        plan.edit(present, title, clears=clears, **wanted)
    last[tool_set.pk] = max(last.get(tool_set.pk, 0), present.order)
    plan.speak_of(present, title)


def plan_axes(rows: list[Row], plan: Plan, known: Known) -> None:
    """Settings of charted passes; one that no row names stays."""
    passes = _passes(rows, plan, known)
    charts = charts_of(known)
    named = {plain(row.values["set"]) for row in rows}
    here = [chart.pk for (number, _mill), chart in charts.items() if number in named]
    placed = {
        (each.chart_id, each.set_pass_id): each
        for each in pointing_to(plan.stage, ChartPass, "chart_id", here)
    }
    keys = {each.pk for each in placed.values()}
    there = {
        (each.chart_pass_id, plain(each.name)): each
        for each in pointing_to(plan.stage, ChartAxis, "chart_pass_id", keys)
    }
    for row in rows:
        with plan.of_row(row, KINDS["axes"], "axis"):
            _plan_axis(row.values, plan, known, passes, placed, there)


def _plan_axis(
    values: dict[str, Any], plan: Plan, known: Known, passes: Passes,
    placed: dict[tuple[int, int], ChartPass], there: dict[tuple[int, str], ChartAxis],
) -> None:  # fmt: skip
    set_pass = _pass_of(values, plan, known, passes)
    mill = plan.look("mill", known.mill, values["mill"])
    chart = charts_of(known).get((plain(set_pass.tool_set.number), plain(mill.number)))
    at = placed.get((chart.pk, set_pass.pk)) if chart else None
    if chart is None or at is None:
        raise Unknown(
            "unknown_pass",
            _("The chart of {set} puts no pass {number} on {mill}."),
            set=set_pass.tool_set.number,
            number=set_pass.number,
            mill=mill.name,
            in_field="pass",
        )
    name, unit = values["axis"], values["measured_in"]
    found = _measure(values, "target", unit, plan, "axes")
    check_target(unit, found.nm, found.number)
    wanted = {"unit": unit, "target_nm": found.nm, "target": found.number}
    title = f"{chart.tool_set.number} on {mill.number} {set_pass.number} {name}"[:60]
    present = there.get((at.pk, plain(name)))
    if present is None:
        present = plan.create(ChartAxis, title, chart_pass=at, name=name, **said(wanted))
        there[at.pk, plain(name)] = present
        changed = True
    else:
        clears = _giving_way(present, wanted, ("target",))
        changed = plan.edit(present, title, clears=clears, **wanted)
    plan.speak_of(present, title)
    if changed and chart.state == ChartState.PROVED:
        plan.edit(chart, title, state=ChartState.UNPROVED)


def _giving_way(present: Any, wanted: dict[str, Any], names: tuple[str, ...]) -> list[str]:
    """Values kept as a length where the sheet now says a plain number, or the other way round."""
    pairs = [(name, f"{name}_nm") for name in names]
    told = [*pairs, *((nm, name) for name, nm in pairs)]
    return [old for old, new in told if wanted[new] is not None and wanted[old] is None]


def _measure(values: dict[str, Any], column: str, unit: str, plan: Plan, kind: str) -> Measure:
    """What a cell says in the row's own unit; a problem with it stands in its column."""
    text = values.get(column)
    if text is None:
        return Measure()
    label = str(KINDS[kind].field(column).label)
    return plan.look(column, lambda said: read_measure(said, unit=unit, field=label), str(text))


def _passes(rows: list[Row], plan: Plan, known: Known) -> Passes:
    """The passes that rows may name, by set and number."""
    named = {plain(row.values["set"]) for row in rows}
    sets = {known.sets[number].pk for number in named if number in known.sets}
    found: Passes = {}
    for each in pointing_to(plan.stage, SetPass, "tool_set_id", sets):
        each.tool_set = known.set_keys[each.tool_set_id]
        found[plain(each.tool_set.number), each.number] = each
    return found


def _pass_of(values: dict[str, Any], plan: Plan, known: Known, passes: Passes) -> SetPass:
    tool_set = plan.look("set", known.tool_set, values["set"])
    found = passes.get((plain(tool_set.number), values["pass"]))
    if found is None:
        raise Unknown(
            "unknown_pass", _("Set {set} has no pass {number}."), set=tool_set.number,
            number=values["pass"], in_field="pass",
        )  # fmt: skip
    return found

"""Sets with their positions, sets from paper, and setup charts as rows of their sheets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from tooling.engineering.measures import written_measure
from tooling.models import (
    Allotment,
    Characteristic,
    ChartAxis,
    ChartPass,
    SetCopy,
    SetFill,
    SetPosition,
)
from tooling.queries.exports.records import row
from tooling.spreadsheets.rows import Row


def positions() -> Iterator[Row]:
    """One row for each position and each copy that has a piece there."""
    allotted: dict[int, list[tuple[str, str]]] = defaultdict(list)
    for key, letter, code in Allotment.objects.order_by("copy__letter").values_list(
        "position_id", "copy__letter", "piece__code"
    ):
        allotted[key].append((letter, code))
    found = SetPosition.objects.select_related("set_pass__tool_set__customer", "drawing", "variant")
    order = ("set_pass__tool_set__number", "set_pass__number", "shaft", "order", "variant__name")
    for position in found.order_by(*order):
        for letter, code in allotted.get(position.pk, [("", "")]):
            yield _row(position, letter, code)


def _row(position: SetPosition, letter: str, code: str) -> Row:
    set_pass, tool_set = position.set_pass, position.set_pass.tool_set
    return row(
        {
            "set": tool_set.number,
            "set_code": tool_set.code,
            "name": tool_set.name,
            "revision": tool_set.revision,
            "unit": tool_set.unit,
            "customer": tool_set.customer.code if tool_set.customer else None,
            "thickness_least": tool_set.thickness_least_nm,
            "thickness_most": tool_set.thickness_most_nm,
            "grades": tool_set.grades,
            "set_hand": tool_set.hand,
            "side_roll_mounting": tool_set.side_roll_mounting,
            "pass": set_pass.number,
            "pass_name": set_pass.name,
            "pass_line_rise": set_pass.pass_line_rise_nm or None,
            "gap_point": set_pass.gap_point,
            "gap_degrees": set_pass.gap_degrees,
            "shaft": position.shaft,
            "order": position.order,
            "variant": position.variant.name if position.variant else None,
            "drawing": position.drawing.number,
            "mark_faces": position.mark_faces,
            "is_split": position.is_split,
            "carries_guide_point": position.carries_guide_point,
            "side": position.side,
            "where": position.where,
            "height": position.height_nm,
            "in_out": position.in_out_nm,
            "tilt": position.tilt_degrees,
            "gap_diameter": position.gap_diameter_nm,
            "copy": letter,
            "piece": code,
        },
        tool_set.unit,
    )


def from_paper() -> Iterator[Row]:
    """Only copies that are still one line."""
    found = SetCopy.objects.filter(from_paper_count__isnull=False)
    for copy in found.select_related("tool_set", "home", "owner").order_by("tool_set__number"):
        yield row(
            {
                "set": copy.tool_set.number,
                "name": copy.tool_set.name,
                "copy": copy.letter,
                "place": copy.home.path_name if copy.home else None,
                "rolls": copy.from_paper_count,
                "owner": copy.owner.code if copy.owner else None,
                "note": copy.tool_set.note,
            }
        )


def charts() -> Iterator[Row]:
    found = ChartPass.objects.filter(chart__is_current=True).select_related(
        "chart__tool_set", "chart__mill", "set_pass", "station"
    )
    for each in found.order_by(
        "chart__tool_set__number", "chart__mill__number", "set_pass__number"
    ):
        yield row(
            {
                "set": each.chart.tool_set.number,
                "mill": each.chart.mill.number,
                "chart_revision": each.chart.revision,
                "hand": each.chart.hand,
                "unit": each.chart.tool_set.unit,
                "pass": each.set_pass.number,
                "station": each.station.number,
                "gap": each.gap_nm,
                "gap_allowance": each.gap_allowance_nm,
                "gap_method": each.gap_method,
                "gap_is_loaded": each.gap_is_loaded,
                "top_inboard_fill": each.top_inboard_fill_nm,
                "bottom_inboard_fill": each.bottom_inboard_fill_nm,
                "note": each.note,
            },
            each.chart.tool_set.unit,
        )


def fills() -> Iterator[Row]:
    found = SetFill.objects.select_related("set_pass__tool_set")
    order = ("set_pass__tool_set__number", "set_pass__number", "shaft", "after_order")
    for each in found.order_by(*order):
        tool_set = each.set_pass.tool_set
        yield row(
            {
                "set": tool_set.number,
                "unit": tool_set.unit,
                "pass": each.set_pass.number,
                "shaft": each.shaft,
                "after": each.after_order,
                "length": each.length_nm,
                "below": each.below_nm,
                "above": each.above_nm,
                "outside_most": each.outside_most_nm,
            },
            tool_set.unit,
        )


def characteristics() -> Iterator[Row]:
    found = Characteristic.objects.select_related("tool_set")
    for each in found.order_by("tool_set__number", "order", "name"):
        yield row(
            {
                "set": each.tool_set.number,
                "check_order": each.order,
                "characteristic": each.name,
                "measured_in": each.unit,
                "nominal": written_measure(each.nominal_nm, each.nominal, each.unit),
                "least": written_measure(each.least_nm, each.least, each.unit),
                "most": written_measure(each.most_nm, each.most, each.unit),
            }
        )


def axes() -> Iterator[Row]:
    found = ChartAxis.objects.filter(chart_pass__chart__is_current=True).select_related(
        "chart_pass__chart__tool_set", "chart_pass__chart__mill", "chart_pass__set_pass"
    )
    order = ("chart_pass__chart__tool_set__number", "chart_pass__chart__mill__number",
             "chart_pass__set_pass__number", "name")  # fmt: skip
    for each in found.order_by(*order):
        at = each.chart_pass
        yield row(
            {
                "set": at.chart.tool_set.number,
                "mill": at.chart.mill.number,
                "pass": at.set_pass.number,
                "axis": each.name,
                "measured_in": each.unit,
                "target": written_measure(each.target_nm, each.target, each.unit),
            }
        )

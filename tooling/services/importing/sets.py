"""Tool sets with their positions, copies and allotments from sheets; sets from paper."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tooling.errors import ToolingError
from tooling.models import (
    Allotment,
    Piece,
    SetCopy,
    SetPass,
    SetPosition,
    SetVariant,
    ToolSet,
)
from tooling.services.importing.known import Known, plain
from tooling.services.importing.mills import taken
from tooling.services.importing.pieces import names_in
from tooling.services.importing.plan import Plan
from tooling.services.importing.shop import said
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

SET_NAMES = {
    "name": "name", "revision": "revision", "thickness_least": "thickness_least_nm",
    "thickness_most": "thickness_most_nm", "grades": "grades", "set_hand": "hand",
    "side_roll_mounting": "side_roll_mounting",
}  # fmt: skip
POSITION_NAMES = {
    "mark_faces": "mark_faces", "is_split": "is_split",
    "carries_guide_point": "carries_guide_point", "side": "side", "height": "height_nm",
    "in_out": "in_out_nm",
}  # fmt: skip
PASS_NAMES = {
    "pass_name": "name",
    "pass_line_rise": "pass_line_rise_nm",
    "gap_point": "gap_point",
}


class _Sets:
    """Passes, positions and allotments by what names them, existing and planned."""

    def __init__(self, numbers: set[str]) -> None:
        known = ToolSet.objects.filter(number__in=numbers).values_list("pk", flat=True)
        keys = list(known)
        self.passes: dict[tuple[str, int], SetPass] = {
            (plain(each.tool_set.number), each.number): each
            for each in SetPass.objects.filter(tool_set__in=keys).select_related("tool_set")
        }
        self.variants: dict[tuple[str, str], SetVariant] = {
            (plain(each.tool_set.number), plain(each.name)): each
            for each in SetVariant.objects.filter(tool_set__in=keys).select_related("tool_set")
        }
        positions = SetPosition.objects.filter(set_pass__tool_set__in=keys)
        self.positions: dict[tuple[str, int, str, int, str], SetPosition] = {
            (
                plain(each.set_pass.tool_set.number),
                each.set_pass.number,
                each.shaft,
                each.order,
                plain(each.variant.name) if each.variant else "",
            ): each
            for each in positions.select_related("set_pass__tool_set", "variant", "drawing")
        }
        allotments = Allotment.objects.filter(position__set_pass__tool_set__in=keys)
        self.allotments: dict[tuple[int, int], Allotment] = {
            (each.copy_id, each.position_id): each
            for each in allotments.select_related("piece", "copy", "position")
        }
        self.planned: dict[tuple[int, int], Allotment] = {}


def plan_sets(rows: list[Row], plan: Plan, known: Known) -> None:
    known.read_pieces(names_in(rows, "piece"))
    sets = _Sets({str(row.values["set"]) for row in rows})
    for row in rows:
        plan.begin(row, "sets")
        try:
            _plan_position(row, plan, known, sets)
        except ToolingError as error:
            column = error.code.rpartition("_")[2]
            column = column if column in KINDS["sets"].by_name else "piece"
            plan.problem(column, row.values.get(column), error)


def _plan_position(row: Row, plan: Plan, known: Known, sets: _Sets) -> None:
    values = row.values
    tool_set = _tool_set(row, plan, known)
    number = plain(tool_set.number)
    key = (number, values["pass"])
    of_pass = taken(values, PASS_NAMES)
    title = f"{tool_set.number} pass {values['pass']}"
    if key not in sets.passes:
        sets.passes[key] = plan.create(
            SetPass, title, tool_set=tool_set, number=values["pass"], **said(of_pass)
        )
    else:
        plan.edit(sets.passes[key], title, **of_pass)
    position = _position(values, sets.passes[key], tool_set, title, plan, known, sets)
    if values.get("copy") or values.get("piece"):
        copy = set_copy(tool_set, values.get("copy") or "A", plan, known)
        if values.get("piece"):
            _allot(copy, position, known.piece(values["piece"]), title, plan, sets)


def _tool_set(row: Row, plan: Plan, known: Known) -> ToolSet:
    values = row.values
    number = values["set"]
    wanted = taken(values, SET_NAMES)
    wanted["unit"] = row.unit(KINDS["sets"])
    if values.get("customer"):
        wanted["customer"] = known.owner(values["customer"])
    tool_set = known.sets.get(plain(number))
    if tool_set is None:
        wanted["name"] = wanted["name"] or number
        tool_set = plan.create(ToolSet, number, code="", number=number, **said(wanted))
        known.sets[plain(number)] = tool_set
    else:
        plan.edit(tool_set, number, **wanted)
    return tool_set


def _position(
    values: dict[str, Any], set_pass: SetPass, tool_set: ToolSet, title: str, plan: Plan,
    known: Known, sets: _Sets,
) -> SetPosition:  # fmt: skip
    drawing = known.drawing(values["drawing"])
    wanted = {**taken(values, POSITION_NAMES), "drawing": drawing}
    if values.get("tilt") is not None:
        wanted["tilt_degrees"] = float(values["tilt"])
    variant = _variant(values.get("variant"), tool_set, plan, sets)
    key = (
        plain(tool_set.number),
        set_pass.number,
        values["shaft"],
        values["order"],
        plain(values.get("variant")),
    )
    title = f"{title} {values['shaft']} {values['order']}"
    position = sets.positions.get(key)
    if position is not None:
        plan.edit(position, title, **wanted)
        return position
    position = plan.create(
        SetPosition, title, set_pass=set_pass, shaft=values["shaft"], order=values["order"],
        variant=variant, **said(wanted),
    )  # fmt: skip
    sets.positions[key] = position
    return position


def _variant(name: str | None, tool_set: ToolSet, plan: Plan, sets: _Sets) -> SetVariant | None:
    if not name:
        return None
    key = (plain(tool_set.number), plain(name))
    if key not in sets.variants:
        sets.variants[key] = plan.create(
            SetVariant, f"{tool_set.number} {name}", quiet=True, tool_set=tool_set, name=name
        )
    return sets.variants[key]


def set_copy(tool_set: ToolSet, letter: str, plan: Plan, known: Known) -> SetCopy:
    """The copy of this letter, planned when it is new."""
    key = (plain(tool_set.number), letter)
    if key not in known.copies:
        known.copies[key] = plan.create(
            SetCopy, f"{tool_set.number}-{letter}", quiet=True, tool_set=tool_set, letter=letter
        )
    return known.copies[key]


def _allot(
    copy: SetCopy, position: SetPosition, piece: Piece, title: str, plan: Plan, sets: _Sets
) -> None:
    present = sets.planned.get((id(copy), id(position)))
    if copy.pk and position.pk:
        present = sets.allotments.get((copy.pk, position.pk))
    if present is not None:
        plan.edit(present, title, piece=piece)
        return
    sets.planned[id(copy), id(position)] = plan.create(
        Allotment, title, copy=copy, position=position, piece=piece
    )


def plan_paper_sets(rows: Iterable[Row], plan: Plan, known: Known) -> None:
    for row in rows:
        plan.begin(row, "paper_sets")
        values = row.values
        try:
            place = known.place(values["place"])
            owner = known.owner(values["owner"]) if values.get("owner") else None
            tool_set = known.sets.get(plain(values["set"]))
            if tool_set is None:
                tool_set = plan.create(
                    ToolSet, values["set"], code="", number=values["set"],
                    name=values.get("name") or values["set"], note=values.get("note") or "",
                )  # fmt: skip
                known.sets[plain(values["set"])] = tool_set
            copy = set_copy(tool_set, values.get("copy") or "A", plan, known)
            title = f"{tool_set.number}-{copy.letter}"
            wanted = {"home": place, "owner": owner, "from_paper_count": values["rolls"]}
            plan.edit(copy, title, **wanted)
        except ToolingError as error:
            plan.problem("place", values.get("place"), error)

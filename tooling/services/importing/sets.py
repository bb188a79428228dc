"""Tool sets with their positions, copies and allotments from sheets; sets from paper."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import (
    Allotment,
    Drawing,
    KitPosition,
    Piece,
    SetCopy,
    SetPass,
    SetPosition,
    SetVariant,
    ToolSet,
)
from tooling.services.importing.known import Known, check_label, plain
from tooling.services.importing.mills import taken
from tooling.services.importing.pieces import names_in
from tooling.services.importing.plan import Outcome, Plan, same_record
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

    def __init__(self, sets: list[ToolSet]) -> None:
        keys = [each.pk for each in sets if each.pk]
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
        rows = Allotment.objects.filter(position__set_pass__tool_set__in=keys)
        self.allotments: dict[tuple[Any, Any], Allotment] = {
            (_key(each.copy), _key(each.position)): each
            for each in rows.select_related("piece__drawing", "copy__tool_set", "position__drawing")
        }
        claimed = KitPosition.objects.filter(is_open=True, set_position__in=positions)
        self.gathered = dict(claimed.values_list("set_position_id", "kit__number"))
        self.said_by: dict[int, Outcome] = {}
        self.redrawn: list[SetPosition] = []


def _key(record: Any) -> Any:
    return record.pk or id(record)


def plan_sets(rows: list[Row], plan: Plan, known: Known) -> None:
    known.read_pieces(names_in(rows, "piece"))
    numbers = {plain(row.values["set"]) for row in rows}
    sets = _Sets([known.sets[number] for number in sorted(numbers) if number in known.sets])
    for row in rows:
        with plan.of_row(row, KINDS["sets"], "set"):
            _plan_position(row, plan, known, sets)
    _take_back_misfits(plan, sets)
    _refuse_second_positions(plan, sets)


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
            piece = plan.look("piece", known.piece, values["piece"])
            _allot(copy, position, piece, title, plan, sets)


def _tool_set(row: Row, plan: Plan, known: Known) -> ToolSet:
    values = row.values
    number = values["set"]
    wanted = taken(values, SET_NAMES)
    wanted["unit"] = row.unit(KINDS["sets"])
    if values.get("customer"):
        wanted["customer"] = plan.look("customer", known.owner, values["customer"])
    tool_set = known.sets.get(plain(number))
    code = values.get("set_code")
    if tool_set is None:
        wanted["name"] = wanted["name"] or number
        label = plan.look("set_code", lambda text: known.label(text, "T"), code) if code else ""
        tool_set = plan.create(ToolSet, number, code=label, number=number, **said(wanted))
        known.sets[plain(number)] = tool_set
    else:
        if tool_set.pk:
            plan.look("set_code", lambda text: check_label(tool_set, text), code)
        plan.edit(tool_set, number, **wanted)
    return tool_set


def _position(
    values: dict[str, Any], set_pass: SetPass, tool_set: ToolSet, title: str, plan: Plan,
    known: Known, sets: _Sets,
) -> SetPosition:  # fmt: skip
    drawing = plan.look("drawing", known.drawing, values["drawing"])
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
    if position is None:
        position = sets.positions[key] = plan.create(
            SetPosition, title, set_pass=set_pass, shaft=values["shaft"], order=values["order"],
            variant=variant, **said(wanted),
        )  # fmt: skip
        return position
    if not same_record(position.drawing, drawing):
        _redraw(position, drawing, sets)
    plan.edit(position, title, **wanted)
    return position


def _redraw(position: SetPosition, drawing: Drawing, sets: _Sets) -> None:
    """Another drawing at a position: not while a kit is gathered with it."""
    kit = sets.gathered.get(position.pk)
    if kit is not None:
        raise Conflict(
            "kit_is_open",
            _("Kit {kit} is gathered with this position. Close the kit first."),
            kit=kit,
            in_field="drawing",
        )
    sets.redrawn.append(position)


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
    letter = letter.upper()
    key = (plain(tool_set.number), letter)
    if key not in known.copies:
        known.copies[key] = plan.create(
            SetCopy, f"{tool_set.number}-{letter}", quiet=True, tool_set=tool_set, letter=letter
        )
    return known.copies[key]


def _allot(
    copy: SetCopy, position: SetPosition, piece: Piece, title: str, plan: Plan, sets: _Sets
) -> None:
    if not same_record(piece.drawing, position.drawing):
        raise Conflict(
            "does_not_fit",
            _("{piece} is made to {made}; this position calls for {wanted}."),
            piece=piece,
            made=piece.drawing.number,
            wanted=position.drawing.number,
            in_field="piece",
        )
    key = (_key(copy), _key(position))
    present = sets.allotments.get(key)
    if present is None:
        present = plan.create(Allotment, title, copy=copy, position=position, piece=piece)
        sets.allotments[key] = present
    else:
        plan.edit(present, title, piece=piece)
    plan.speak_of(present, title)
    sets.said_by[id(present)] = plan.outcomes[-1]


def _take_back_misfits(plan: Plan, sets: _Sets) -> None:
    """Allotments of a redrawn position that no row renewed are taken back."""
    redrawn = {position.pk: position for position in sets.redrawn}
    for key, each in list(sets.allotments.items()):
        position = redrawn.get(each.position_id)
        if position is not None and not same_record(each.piece.drawing, position.drawing):
            plan.remove(each, f"{each.copy} {position}")
            del sets.allotments[key]


def _refuse_second_positions(plan: Plan, sets: _Sets) -> None:
    """Once all rows are planned: within a copy no piece may fill two positions."""
    at: dict[Any, list[Allotment]] = defaultdict(list)
    for each in sets.allotments.values():
        at[_key(each.copy), _key(each.piece)].append(each)
    for several in at.values():
        tellers = [each for each in several if id(each) in sets.said_by]
        if len(several) < 2 or not tellers:
            continue
        other = next(each for each in several if each is not tellers[-1])
        error = Conflict(
            "allotted_elsewhere",
            _("{piece} already fills {place} of copy {letter}."),
            piece=other.piece,
            place=other.position,
            letter=other.copy.letter,
        )
        plan.refuse(sets.said_by[id(tellers[-1])], "piece", error)


def plan_paper_sets(rows: list[Row], plan: Plan, known: Known) -> None:
    allotted = set(Allotment.objects.values_list("copy_id", flat=True).distinct())
    for row in rows:
        with plan.of_row(row, KINDS["paper_sets"], "set"):
            _plan_paper_set(row.values, plan, known, allotted)


def _plan_paper_set(values: dict[str, Any], plan: Plan, known: Known, allotted: set[int]) -> None:
    place = plan.look("place", known.place, values["place"])
    owner = plan.look("owner", known.owner, values["owner"]) if values.get("owner") else None
    number, note = values["set"], values.get("note")
    tool_set = known.sets.get(plain(number))
    if tool_set is None:
        tool_set = plan.create(
            ToolSet, number, code="", number=number, name=values.get("name") or number,
            note=note or "",
        )  # fmt: skip
        known.sets[plain(number)] = tool_set
    else:
        plan.edit(tool_set, number, name=values.get("name"), note=note)
    copy = set_copy(tool_set, values.get("copy") or "A", plan, known)
    title = f"{tool_set.number}-{copy.letter}"
    if copy.pk is None:
        plan.note("create", title)
    plan.speak_of(copy, title)
    if copy.pk in allotted and copy.from_paper_count is None:
        return  # it has become pieces since it was written down
    plan.edit(copy, title, home=place, owner=owner, from_paper_count=values["rolls"])

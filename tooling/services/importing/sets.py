"""Tool sets with their positions, copies and allotments from sheets; sets from paper."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
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
from tooling.services.importing.known_records import (
    pointing_to,
    read_drawings,
    read_pieces,
    read_pieces_with,
    with_keys,
)
from tooling.services.importing.mills import taken
from tooling.services.importing.pieces import names_in
from tooling.services.importing.plan import Plan, same_record
from tooling.services.importing.shop import said
from tooling.services.importing.stage import chunks, is_new
from tooling.services.sets import check_gap_diameter, check_kind
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

COPIES_AT_ONCE = 20
SET_NAMES = {
    "name": "name", "revision": "revision", "thickness_least": "thickness_least_nm",
    "thickness_most": "thickness_most_nm", "grades": "grades", "set_hand": "hand",
    "side_roll_mounting": "side_roll_mounting",
}  # fmt: skip
POSITION_NAMES = {
    "mark_faces": "mark_faces", "is_split": "is_split",
    "carries_guide_point": "carries_guide_point", "side": "side", "height": "height_nm",
    "in_out": "in_out_nm", "where": "where",
    "gap_diameter": "gap_diameter_nm",
}  # fmt: skip
PASS_NAMES = {
    "pass_name": "name",
    "pass_line_rise": "pass_line_rise_nm",
    "gap_point": "gap_point",
}


class _Sets:
    """Passes, positions and allotments by what names them, existing and planned."""

    def __init__(self, rows: list[Row], plan: Plan, known: Known) -> None:
        self.plan, self.known = plan, known
        named = {plain(row.values["set"]) for row in rows}
        keys = [known.sets[number].pk for number in named if number in known.sets]
        numbers = {row.values["pass"] for row in rows}
        self.passes: dict[tuple[str, int], SetPass] = {}
        self.positions: dict[tuple[str, int, str, int, str], SetPosition] = {}
        self.allotments: dict[tuple[int, int], Allotment] = {}
        found = pointing_to(plan.stage, SetPass, "tool_set_id", keys)
        self._add_positions({each.pk: each for each in found if each.number in numbers})

    def _add_positions(self, passes: dict[int, SetPass]) -> None:
        known = self.known
        for each in passes.values():
            each.tool_set = known.set_keys[each.tool_set_id]
            self.passes[plain(each.tool_set.number), each.number] = each
        found = pointing_to(self.plan.stage, SetPosition, "set_pass_id", passes)
        positions = {each.pk: each for each in found}
        read_drawings(known, keys=[each.drawing_id for each in positions.values()])
        variants = {each.pk: each for each in variants_of(known).values()}
        for position in positions.values():
            position.set_pass = passes[position.set_pass_id]
            position.drawing = known.drawing_keys[position.drawing_id]
            position.variant = variants.get(position.variant_id or 0)
            self.add_position(position)
        self._add_allotments(positions)
        existing = [key for key in positions if key > 0]
        claimed = KitPosition.objects.filter(is_open=True, set_position__in=existing)
        self.gathered = dict(claimed.values_list("set_position_id", "kit__number"))

    def _add_allotments(self, positions: dict[int, SetPosition]) -> None:
        rows = allotted(self.plan, "position_id", positions)
        read_pieces_with(self.known, [each.piece_id for each in rows])
        for each in rows:
            each.copy = self.known.copy_keys[each.copy_id]
            each.position = positions[each.position_id]
            each.piece = self.known.piece_keys[each.piece_id]
            self.allotments[each.copy_id, each.position_id] = each

    def add_position(self, position: SetPosition) -> None:
        set_pass = position.set_pass
        variant = plain(position.variant.name) if position.variant else ""
        number = plain(set_pass.tool_set.number)
        key = (number, set_pass.number, position.shaft, position.order, variant)
        self.positions[key] = position


@dataclass
class _Done:
    """What is looked at once all rows of sets are planned."""

    copies: set[int] = field(default_factory=set)
    redrawn: set[int] = field(default_factory=set)


def _done(known: Known) -> _Done:
    found: _Done = known.held.setdefault(_Done, _Done())
    return found


def variants_of(known: Known) -> dict[tuple[str, str], SetVariant]:
    """Set and name of every variant, existing and planned."""
    if SetVariant not in known.held:
        rows = SetVariant.objects.select_related("tool_set")
        known.held[SetVariant] = {
            (plain(each.tool_set.number), plain(each.name)): each for each in rows
        }
    found: dict[tuple[str, str], SetVariant] = known.held[SetVariant]
    return found


def plan_sets(rows: list[Row], plan: Plan, known: Known) -> None:
    read_pieces(known, names_in(rows, "piece"))
    read_drawings(known, (row.values["drawing"] for row in rows))
    sets = _Sets(rows, plan, known)
    for row in rows:
        with plan.of_row(row, KINDS["sets"], "set"):
            _plan_position(row, plan, known, sets)


def plan_after_sets(plan: Plan, known: Known) -> None:
    """Once all rows are planned: what no longer fits, and what would be in two positions."""
    done = _done(known)
    known.begin_part()
    for part in chunks(done.redrawn):
        _take_back_misfits(part, plan, known)
    for part in chunks(done.copies, COPIES_AT_ONCE):
        _refuse_second_positions(part, plan, known)


def _plan_position(row: Row, plan: Plan, known: Known, sets: _Sets) -> None:
    values = row.values
    tool_set = _tool_set(row, plan, known)
    number = plain(tool_set.number)
    key = (number, values["pass"])
    of_pass = taken(values, PASS_NAMES)
    if values.get("gap_degrees") is not None:
        of_pass["gap_degrees"] = float(values["gap_degrees"])
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
            _allot(copy, position, piece, title, plan, known, sets)


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
        known.add_set(tool_set)
    else:
        if not is_new(tool_set):
            plan.look("set_code", lambda text: check_label(tool_set, text), code)
        plan.edit(tool_set, number, **wanted)
    return tool_set


def _position(
    values: dict[str, Any], set_pass: SetPass, tool_set: ToolSet, title: str, plan: Plan,
    known: Known, sets: _Sets,
) -> SetPosition:  # fmt: skip
    drawing = plan.look("drawing", known.drawing, values["drawing"])
    check_kind(values["shaft"], drawing)
    check_gap_diameter(values["shaft"], values.get("gap_diameter"))
    wanted = {**taken(values, POSITION_NAMES), "drawing": drawing}
    if values.get("tilt") is not None:
        wanted["tilt_degrees"] = float(values["tilt"])
    variant = _variant(values.get("variant"), tool_set, plan, known)
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
        _redraw(position, known, sets)
    plan.edit(position, title, **wanted)
    return position


def _redraw(position: SetPosition, known: Known, sets: _Sets) -> None:
    """Another drawing at a position: not while a kit is gathered with it."""
    kit = sets.gathered.get(position.pk)
    if kit is not None:
        raise Conflict(
            "kit_is_open",
            _("Kit {kit} is gathered with this position. Close the kit first."),
            kit=kit,
            in_field="drawing",
        )
    _done(known).redrawn.add(position.pk)


def _variant(name: str | None, tool_set: ToolSet, plan: Plan, known: Known) -> SetVariant | None:
    if not name:
        return None
    key, variants = (plain(tool_set.number), plain(name)), variants_of(known)
    if key not in variants:
        variants[key] = plan.create(
            SetVariant, f"{tool_set.number} {name}", quiet=True, tool_set=tool_set, name=name
        )
    return variants[key]


def set_copy(tool_set: ToolSet, letter: str, plan: Plan, known: Known) -> SetCopy:
    """The copy of this letter, planned when it is new."""
    letter = letter.upper()
    key = (plain(tool_set.number), letter)
    if key not in known.copies:
        known.add_copy(
            plan.create(
                SetCopy, f"{tool_set.number}-{letter}", quiet=True, tool_set=tool_set,
                letter=letter,
            )
        )  # fmt: skip
    return known.copies[key]


def _allot(
    copy: SetCopy, position: SetPosition, piece: Piece, title: str, plan: Plan, known: Known,
    sets: _Sets,
) -> None:  # fmt: skip
    if not same_record(piece.drawing, position.drawing):
        raise _does_not_fit(piece, position.drawing)
    plan.outcomes[-1].is_late = True
    key = (copy.pk, position.pk)
    present = sets.allotments.get(key)
    if present is None:
        present = plan.create(Allotment, title, copy=copy, position=position, piece=piece)
        plan.says(present, str(position))
        sets.allotments[key] = present
    else:
        plan.edit(present, title, piece=piece)
    plan.speak_of(present, title)
    _done(known).copies.add(copy.pk)


def _does_not_fit(piece: Piece, drawing: Drawing) -> Conflict:
    return Conflict(
        "does_not_fit",
        _("{piece} is made to {made}; this position calls for {wanted}."),
        piece=piece,
        made=piece.drawing.number,
        wanted=drawing.number,
        in_field="piece",
    )


def _take_back_misfits(keys: list[int], plan: Plan, known: Known) -> None:
    """Allotments of a redrawn position that no row renewed are taken back."""
    positions = {each.pk: each for each in with_keys(plan.stage, SetPosition, keys)}
    allotments = allotted(plan, "position_id", positions)
    read_pieces_with(known, [each.piece_id for each in allotments])
    read_drawings(known, keys=[each.drawing_id for each in positions.values()])
    for each in allotments:
        piece, position = known.piece_keys[each.piece_id], positions[each.position_id]
        if piece.drawing_id == position.drawing_id:
            continue
        if is_new(each):
            error = _does_not_fit(piece, known.drawing_keys[position.drawing_id])
            plan.refuse(plan.told.find([each.stage_told])[each.stage_told], "piece", error)
        else:
            plan.remove(each, f"{known.copy_keys[each.copy_id]} {position}")


def allotted(plan: Plan, column: str, keys: Iterable[int]) -> list[Any]:
    """The allotments of these copies or positions as the plan leaves them."""
    gone = {record.pk for record, _key in plan.removed}
    found = pointing_to(plan.stage, Allotment, column, keys)
    return [each for each in found if each.pk not in gone]


def _refuse_second_positions(copies: list[int], plan: Plan, known: Known) -> None:
    """Within a copy no piece may fill two positions."""
    at: dict[tuple[int, int], list[Any]] = defaultdict(list)
    for each in allotted(plan, "copy_id", copies):
        at[each.copy_id, each.piece_id].append(each)
    for several in at.values():
        told = {getattr(each, "stage_told", 0): each for each in several}
        last = max(told)
        if len(several) < 2 or not last:
            continue
        other = next(each for each in several if each is not told[last])
        read_pieces_with(known, [other.piece_id])
        (place,) = with_keys(plan.stage, SetPosition, [other.position_id])
        (place.set_pass,) = with_keys(plan.stage, SetPass, [place.set_pass_id])
        error = Conflict(
            "allotted_elsewhere",
            _("{piece} already fills {place} of copy {letter}."),
            piece=known.piece_keys[other.piece_id],
            place=place,
            letter=known.copy_keys[other.copy_id].letter,
        )
        plan.refuse(plan.told.find([last])[last], "piece", error)


def plan_paper_sets(rows: list[Row], plan: Plan, known: Known) -> None:
    numbers = {plain(row.values["set"]) for row in rows}
    sets = [known.sets[number].pk for number in numbers if number in known.sets]
    here = [each.pk for each in known.copies.values() if each.tool_set_id in sets]
    filled = {each.copy_id for each in allotted(plan, "copy_id", here)}
    for row in rows:
        with plan.of_row(row, KINDS["paper_sets"], "set"):
            _plan_paper_set(row.values, plan, known, filled)


def _plan_paper_set(values: dict[str, Any], plan: Plan, known: Known, filled: set[int]) -> None:
    place = plan.look("place", known.place, values["place"])
    owner = plan.look("owner", known.owner, values["owner"]) if values.get("owner") else None
    number, note = values["set"], values.get("note")
    tool_set = known.sets.get(plain(number))
    if tool_set is None:
        tool_set = plan.create(
            ToolSet, number, code="", number=number, name=values.get("name") or number,
            note=note or "",
        )  # fmt: skip
        known.add_set(tool_set)
    else:
        plan.edit(tool_set, number, name=values.get("name"), note=note)
    copy = set_copy(tool_set, values.get("copy") or "A", plan, known)
    title = f"{tool_set.number}-{copy.letter}"
    if is_new(copy):
        plan.note("create", title)
    plan.speak_of(copy, title)
    if copy.pk in filled and copy.from_paper_count is None:
        return  # it has become pieces since it was written down
    plan.edit(copy, title, home=place, owner=owner, from_paper_count=values["rolls"])

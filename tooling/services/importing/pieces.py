"""Pieces from sheets: what they are, where they lie, what they measure and have run."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, time
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import (
    DIMENSIONS,
    Condition,
    DrawingRevision,
    Movement,
    Owner,
    Piece,
    PieceAlias,
    Place,
)
from tooling.services.codes import PIECE_LETTERS
from tooling.services.dimensions import check_piece
from tooling.services.homes import check_home
from tooling.services.importing.drawings import BROUGHT
from tooling.services.importing.dues import Dues
from tooling.services.importing.known import Known, check_label, plain
from tooling.services.importing.known_records import read_drawings, read_pieces
from tooling.services.importing.past import not_in_future
from tooling.services.importing.plan import Plan, same_record
from tooling.services.importing.shop import said
from tooling.services.importing.stage import is_new
from tooling.services.piece_ledger import verb_for
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

OWN = ("mark", "mark_place", "condition", "hold_reason", "heat_lot", "note")


def names_in(rows: Iterable[Row], *fields: str) -> set[str]:
    """What the rows call pieces."""
    return {str(row.values[name]) for row in rows for name in fields if row.values.get(name)}


def other_numbers(values: dict[str, Any]) -> list[str]:
    """Every old number of a row."""
    further = str(values.get("other_numbers") or "").split(";")
    return [text.strip() for text in (values.get("old_number") or "", *further) if text.strip()]


def plan_pieces(rows: list[Row], plan: Plan, known: Known) -> None:
    names = {text for row in rows for text in other_numbers(row.values)}
    read_drawings(known, (row.values["drawing"] for row in rows))
    read_pieces(known, names | names_in(rows, "code", "mark"))
    dues = Dues(known) if names_in(rows, "due_back") else None
    for row in rows:
        with plan.of_row(row, KINDS["pieces"], "mark"):
            piece, title = _plan_piece(row, plan, known)
            if dues is not None and row.values.get("due_back"):
                dues.say(piece, row.values["due_back"], title, plan)


def _plan_piece(row: Row, plan: Plan, known: Known) -> tuple[Piece, str]:
    values = row.values
    drawing = plan.look("drawing", known.drawing, values["drawing"])
    revision = plan.look(
        "revision", lambda text: known.revision(drawing, text), values.get("revision")
    )
    owner = plan.look("owner", known.owner, values["owner"]) if values.get("owner") else None
    place = plan.look("place", known.place, values["place"]) if values.get("place") else None
    home = plan.look("home", known.place, values["home"]) if values.get("home") else None
    title = str(values.get("mark") or values.get("old_number") or values.get("code"))
    piece = _existing(values, revision, owner, known)
    wanted = {**_wanted(row), "home": home}
    check_home(home)
    if piece is None:
        piece = _new_piece(values, revision, owner, place, wanted, title, plan, known)
    else:
        _check_existing(piece, values, revision, plan)
        plan.edit(piece, title, owner=owner, **wanted)
        if values.get("revision"):
            plan.edit(piece, title, revision=revision)
        if place is not None and not same_record(piece.place, place):
            _move(piece, place, title, plan)
    plan.speak_of(piece, title)
    sizes = {f"made_{each}_nm": getattr(piece, f"made_{each}_nm") for each in DIMENSIONS}
    check_piece(revision=piece.revision, values=sizes, reason=BROUGHT)
    for text in other_numbers(values):
        _plan_alias(piece, text, title, plan, known)
    _wish(row, piece, title, plan, known)
    return piece, title


def _wanted(row: Row) -> dict[str, Any]:
    values = row.values
    hardness, value = values.get("hardness"), values.get("value")
    return {
        **{name: values.get(name) for name in OWN},
        "copy_letter": values.get("copy"),
        "over_chrome": values.get("over_chrome"),
        "hardness_hrc": None if hardness is None else float(hardness),
        "weighed_g": values.get("mass"),
        "value_cents": None if value is None else round(value * 100),
        "unit": row.unit(KINDS["pieces"]),
        **{f"made_{each}_nm": values.get(f"made_{each}") for each in DIMENSIONS},
    }


def _existing(
    values: dict[str, Any], revision: DrawingRevision, owner: Owner | None, known: Known
) -> Piece | None:
    """By label; else by old number; else by mark, drawing, copy and owner."""
    by_number = next((p for t in other_numbers(values) if (p := known.pieces.get(plain(t)))), None)
    if values.get("code"):
        return known.coded(values["code"]) or by_number
    if other_numbers(values):
        return by_number
    same = [
        piece
        for piece in known.by_mark.get(plain(values["mark"]), [])
        if same_record(piece.drawing, revision.drawing)
        and (not values.get("copy") or piece.copy_letter == values["copy"])
        and (owner is None or same_record(piece.owner, owner))
    ]
    if len(same) > 1:
        raise ToolingError(
            "ambiguous_mark",
            _("{count} pieces have the mark “{name}”. Give the label code or old number."),
            name=values["mark"],
            count=len(same),
            in_field="mark",
        )
    return same[0] if same else None


def _check_existing(
    piece: Piece, values: dict[str, Any], revision: DrawingRevision, plan: Plan
) -> None:
    plan.look("code", lambda text: check_label(piece, text), values.get("code"))
    if not same_record(piece.drawing, revision.drawing):
        raise Conflict(
            "other_drawing",
            _("{piece} is made to {drawing}, not {other}. Another drawing means another piece."),
            piece=piece,
            drawing=piece.drawing.number,
            other=revision.drawing.number,
            in_field="drawing",
        )
    wanted = values.get("condition")
    is_held = not is_new(piece) and piece.condition == Condition.HOLD
    if is_held and wanted not in (None, Condition.HOLD):
        raise Conflict(
            "piece_held",
            _("{piece} is held ({reason}). Lift the hold on its page, or leave the cell blank."),
            piece=piece,
            reason=piece.hold_reason or "-",
            in_field="condition",
        )


def _new_piece(
    values: dict[str, Any], revision: DrawingRevision, owner: Owner | None, place: Place | None,
    wanted: dict[str, Any], title: str, plan: Plan, known: Known,
) -> Piece:  # fmt: skip
    code, letter = values.get("code"), PIECE_LETTERS[revision.drawing.kind]
    if wanted["unit"] is None:
        wanted["unit"] = revision.unit
    piece: Piece = plan.create(
        Piece,
        title,
        code=plan.look("code", lambda text: known.label(text, letter), code) if code else "",
        drawing=revision.drawing,
        revision=revision,
        owner=owner or plan.look("owner", known.owner, None),
        place=place or not_yet_placed(plan, known),
        **said(wanted),
    )
    plan.says(piece, letter)
    known.add_piece(piece)
    movement = plan.create(
        Movement, title, quiet=True, piece=piece, to=piece.place, how="import",
        happened_at=plan.at, received_at=plan.at, effective_at=plan.at, sees=False,
    )  # fmt: skip
    _put(piece, piece.place, movement, plan)
    return piece


def _put(piece: Piece, place: Place, movement: Movement, plan: Plan) -> None:
    """A piece is where its movement put it: nothing newer is known."""
    plan.derive(
        piece, place=place, placed_by=movement, placed_effective_at=plan.at,
        placed_received_at=plan.at,
    )  # fmt: skip


def not_yet_placed(plan: Plan, known: Known) -> Place:
    """The place of what no sheet has placed; made when first needed."""
    if known.nowhere is not None:
        return known.nowhere
    name = str(_("Not yet placed"))
    place = plan.create(
        Place, name, quiet=True, code="", kind="unknown", name=name, path_name=name,
        walking_order=99_999,
    )  # fmt: skip
    known.add_place(place)
    return place


def _move(piece: Piece, place: Place, title: str, plan: Plan) -> None:
    plan.changed(title, "place", piece.place, place)
    movement = plan.create(
        Movement, title, quiet=True, piece=piece, from_seen=piece.place, to=place, how="import",
        what=verb_for(place), happened_at=plan.at, received_at=plan.at, effective_at=plan.at,
        sees=False,
    )  # fmt: skip
    if not is_new(piece):
        plan.moves.append((movement, plan.outcomes[-1]))
    _put(piece, place, movement, plan)


def _plan_alias(piece: Piece, text: str, title: str, plan: Plan, known: Known) -> None:
    named = known.pieces.get(plain(text))
    if named is None:
        plan.create(PieceAlias, title, quiet=True, piece=piece, text=text)
        known.pieces[plain(text)] = piece
        if not is_new(piece):
            plan.changed(title, "old_number", None, text)
    elif not same_record(named, piece):
        raise Conflict(
            "other_piece",
            _("The old number {text} is piece {piece}'s already."),
            text=text,
            piece=named,
            in_field="old_number",
        )


def _wish(row: Row, piece: Piece, title: str, plan: Plan, known: Known) -> None:
    """What the row says of the piece today; readings in the same import may say it already."""
    values, measured = row.values, row.values.get("measured_on")
    at = plan.at
    if measured:
        moment = datetime.combine(measured, time(12), tzinfo=known.zone)
        plan.look("measured_on", lambda when: not_in_future(when, plan.at), moment)
        at = min(moment, plan.at)
    for name in (*(f"now_{each}" for each in DIMENSIONS), "length_run", "strokes_run"):
        if values.get(name) is not None:
            is_size = name.startswith("now_")
            plan.wish(
                piece, title=title, name=name, value=values[name],
                happened_at=at if is_size else plan.at, dated=bool(measured),
                unit=row.units.get(name, piece.unit),
                strip_class=values.get("strip_class") or "",
            )  # fmt: skip

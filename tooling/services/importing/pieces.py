"""Drawings, pieces and stock from sheets."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, time
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import (
    DIMENSIONS,
    Drawing,
    DrawingRevision,
    LengthEntry,
    Movement,
    Piece,
    PieceAlias,
    Place,
    Reading,
    StockLine,
)
from tooling.services.importing.known import Known, plain
from tooling.services.importing.plan import Plan
from tooling.services.importing.shop import said
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

LEAST = ("drive_diameter", "root_diameter", "outside_diameter", "face_width")


def plan_drawings(rows: Iterable[Row], plan: Plan, known: Known) -> None:
    for row in rows:
        plan.begin(row, "drawings")
        values = row.values
        number = values["drawing"]
        drawing = known.drawings.get(plain(number))
        wanted = {"kind": values["kind"], "title": values.get("title")}
        if drawing is None:
            drawing = plan.create(Drawing, number, number=number, **said(wanted))
            known.drawings[plain(number)] = drawing
        else:
            plan.edit(drawing, number, **wanted)
        _plan_revision(row, drawing, plan, known)


def _plan_revision(row: Row, drawing: Drawing, plan: Plan, known: Known) -> None:
    values = row.values
    number = plain(drawing.number)
    present = known.current.get(number)
    name = values.get("revision") or (present.revision if present else "A")
    wanted: dict[str, Any] = {
        "unit": row.unit(KINDS["drawings"]),
        "material": values.get("material"),
        "plated_thickness_nm": values.get("plated_thickness"),
        "bore_class": values.get("bore_class"),
        "mass_g": values.get("mass"),
        "issued_on": values.get("issued_on"),
        "old_pieces": values.get("old_pieces"),
        "note": values.get("note"),
        **{f"{each}_nm": values.get(each) for each in DIMENSIONS},
        **{f"least_{each}_nm": values.get(f"least_{each}") for each in LEAST},
    }
    revision = known.revisions.get((number, plain(name)))
    title = f"{drawing.number} {name}"
    if revision is not None:
        plan.edit(revision, title, **wanted)
        return
    if present is not None:
        plan.edit(present, f"{drawing.number} {present.revision}", is_current=False)
    revision = plan.create(
        DrawingRevision, title, drawing=drawing, revision=name, is_current=True, **said(wanted)
    )
    known.add_revision(revision)


def names_in(rows: Iterable[Row], *fields: str) -> set[str]:
    """What the rows call pieces."""
    return {str(row.values[name]) for row in rows for name in fields if row.values.get(name)}


def plan_pieces(rows: list[Row], plan: Plan, known: Known) -> None:
    known.read_pieces(names_in(rows, "code", "old_number", "mark"))
    for row in rows:
        plan.begin(row, "pieces")
        try:
            _plan_piece(row, plan, known)
        except ToolingError as error:
            plan.problem(COLUMN_OF.get(error.code, "mark"), _value_of(row, error), error)


COLUMN_OF = {
    "unknown_owner": "owner",
    "no_shop_owner": "owner",
    "unknown_place": "place",
    "ambiguous_place": "place",
    "unknown_drawing": "drawing",
    "unknown_revision": "revision",
    "bad_check_character": "code",
    "length_run_falls": "length_run",
}


def _value_of(row: Row, error: ToolingError) -> Any:
    return row.values.get(COLUMN_OF.get(error.code, "mark"))


def _plan_piece(row: Row, plan: Plan, known: Known) -> None:
    values = row.values
    drawing = known.drawing(values["drawing"])
    revision = known.revision(drawing, values.get("revision"))
    owner = known.owner(values["owner"]) if values.get("owner") else None
    place = known.place(values["place"]) if values.get("place") else None
    piece = _existing(values, drawing, owner, known)
    title = str(values.get("mark") or values.get("old_number") or values.get("code"))
    wanted: dict[str, Any] = {
        **{
            name: values.get(name)
            for name in ("mark", "mark_place", "condition", "hold_reason", "heat_lot", "note")
        },
        "copy_letter": values.get("copy"),
        "over_chrome": values.get("over_chrome"),
        "hardness_hrc": _number(values.get("hardness")),
        "weighed_g": values.get("mass"),
        "value_cents": _cents(values.get("value")),
        "unit": row.unit(KINDS["pieces"]),
        **{f"made_{each}_nm": values.get(f"made_{each}") for each in DIMENSIONS},
    }
    if piece is None:
        piece = _new_piece(values, drawing, revision, owner, place, wanted, title, plan, known)
    else:
        plan.edit(piece, title, owner=owner, **wanted)
        if values.get("revision"):
            plan.edit(piece, title, revision=revision)
        if place is not None and piece.place is not place and piece.place_id != place.pk:
            _move(piece, place, title, plan)
    _plan_alias(piece, values.get("old_number"), title, plan, known)
    _plan_present_sizes(row, piece, title, plan)
    _plan_length_run(values, piece, title, plan)


def _existing(values: dict[str, Any], drawing: Drawing, owner: Any, known: Known) -> Piece | None:
    if values.get("code"):
        return known.pieces.get(plain(values["code"]))
    if values.get("old_number"):
        return known.pieces.get(plain(values["old_number"]))
    same = [
        piece
        for piece in known.by_mark.get(plain(values["mark"]), [])
        if piece.drawing is drawing or piece.drawing_id == drawing.pk
    ]
    if values.get("copy"):
        same = [piece for piece in same if piece.copy_letter == values["copy"]]
    if owner is not None:
        same = [piece for piece in same if piece.owner is owner or piece.owner_id == owner.pk]
    if len(same) > 1:
        raise ToolingError(
            "ambiguous_mark",
            _("{count} pieces have the mark “{name}”. Give the label code or old number."),
            name=values["mark"],
            count=len(same),
        )
    return same[0] if same else None


def _new_piece(
    values: dict[str, Any], drawing: Drawing, revision: DrawingRevision, owner: Any,
    place: Place | None, wanted: dict[str, Any], title: str, plan: Plan, known: Known,
) -> Piece:  # fmt: skip
    piece: Piece = plan.create(
        Piece,
        title,
        code=values.get("code") or "",
        drawing=drawing,
        revision=revision,
        owner=owner or known.owner(None),
        place=place or not_yet_placed(plan, known),
        **said(wanted),
    )
    known.add_piece(piece)
    plan.create(
        Movement, title, quiet=True, piece=piece, to=piece.place, how="import",
        happened_at=plan.at, received_at=plan.at, effective_at=plan.at,
    )  # fmt: skip
    return piece


def not_yet_placed(plan: Plan, known: Known) -> Place:
    """The place of what no sheet has placed; made when first needed."""
    for place in known.places.values():
        if place.kind == "unknown":
            return place
    name = str(_("Not yet placed"))
    place = plan.create(
        Place, name, quiet=True, code="", kind="unknown", name=name, path_name=name,
        walking_order=99_999,
    )  # fmt: skip
    known.add_place(place)
    return place


def _move(piece: Piece, place: Place, title: str, plan: Plan) -> None:
    plan.changed(title, "place", piece.place, place)
    plan.create(
        Movement, title, quiet=True, piece=piece, from_seen=piece.place, to=place, how="import",
        happened_at=plan.at, received_at=plan.at, effective_at=plan.at, sees=False,
    )  # fmt: skip
    piece.place = place


def _plan_alias(piece: Piece, text: str | None, title: str, plan: Plan, known: Known) -> None:
    if text and plain(text) not in known.pieces:
        plan.create(PieceAlias, title, quiet=piece.pk is None, piece=piece, text=text)
        known.pieces[plain(text)] = piece


def _plan_present_sizes(row: Row, piece: Piece, title: str, plan: Plan) -> None:
    """A size "now" that differs from what is known is a reading of its day."""
    measured = row.values.get("measured_on")
    at = datetime.combine(measured, time(12), tzinfo=UTC) if measured else plan.at
    for each in DIMENSIONS:
        value = row.values.get(f"now_{each}")
        name = f"now_{each}_nm"
        if value is None or value == getattr(piece, name):
            continue
        if piece.pk is not None:
            plan.changed(title, f"now_{each}", getattr(piece, name), value)
        setattr(piece, name, value)
        plan.resized[id(piece)] = piece
        plan.create(
            Reading, title, quiet=True, piece=piece, dimension=each, value_nm=value,
            unit=row.units.get(f"now_{each}", piece.unit), happened_at=min(at, plan.at),
            received_at=plan.at, how="import",
        )  # fmt: skip


def _plan_length_run(values: dict[str, Any], piece: Piece, title: str, plan: Plan) -> None:
    total = values.get("length_run")
    if total is None or total == piece.length_run_nm:
        return
    more = total - piece.length_run_nm
    if more < 0:
        raise ToolingError(
            "length_run_falls",
            _("{mark} has already run more than this sheet says; length run never falls. "
              "Leave the cell blank or correct the entry on the piece's page."),
            mark=title,
        )  # fmt: skip
    if piece.pk is not None:
        plan.changed(title, "length_run", piece.length_run_nm, total)
    plan.create(
        LengthEntry, title, quiet=True, piece=piece, length_nm=more,
        strip_class=values.get("strip_class") or "", source="import", happened_at=plan.at,
        received_at=plan.at,
    )  # fmt: skip


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _cents(value: Any) -> int | None:
    return None if value is None else round(value * 100)


def plan_stock(rows: list[Row], plan: Plan, known: Known) -> None:
    known.read_stock()
    for row in rows:
        plan.begin(row, "stock")
        try:
            _plan_stock_line(row.values, plan, known)
        except ToolingError as error:
            plan.problem(COLUMN_OF.get(error.code, "drawing"), _value_of(row, error), error)


def _plan_stock_line(values: dict[str, Any], plan: Plan, known: Known) -> None:
    drawing, place = known.drawing(values["drawing"]), known.place(values["place"])
    owner = known.owner(values.get("owner"))
    condition = values.get("condition") or "sound"
    key = (plain(drawing.number), plain(place.path_name), condition, plain(owner.code))
    line = known.stock.get(key)
    title = f"{drawing.number} in {place.path_name}"
    if line is None:
        line = plan.create(
            StockLine, title, code=values.get("code") or "", drawing=drawing, place=place,
            condition=condition, owner=owner, least_count=values.get("least_count") or 0,
        )  # fmt: skip
        known.stock[key] = line
        change, what = values["count"], "receive"
    else:
        plan.edit(line, title, least_count=values.get("least_count"))
        change, what = values["count"] - line.count, "count"
        if change:
            plan.changed(title, "count", line.count, values["count"])
    line.count = values["count"]
    if change:
        plan.create(
            Movement, title, quiet=True, stock=line, to=place, what=what, quantity=change,
            how="import", happened_at=plan.at, received_at=plan.at, effective_at=plan.at,
        )  # fmt: skip

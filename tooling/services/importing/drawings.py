"""Drawings and their revisions from sheets."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import DIMENSIONS, Drawing, DrawingRevision
from tooling.services.dimensions import check_revision
from tooling.services.importing.known import Known, plain
from tooling.services.importing.known_records import read_drawings
from tooling.services.importing.plan import Plan
from tooling.services.importing.shop import said
from tooling.spreadsheets.kinds import KINDS
from tooling.spreadsheets.rows import Row

LEAST = ("drive_diameter", "root_diameter", "outside_diameter", "face_width")
BROUGHT = "import"
"""The reason on record for sizes that practice would question: the shop's own sheet says so."""


def plan_drawings(rows: list[Row], plan: Plan, known: Known) -> None:
    read_drawings(known, (row.values["drawing"] for row in rows))
    for row in rows:
        with plan.of_row(row, KINDS["drawings"], "drawing"):
            _plan_revision(row, _drawing(row.values, plan, known), plan, known)


def _drawing(values: dict[str, Any], plan: Plan, known: Known) -> Drawing:
    number = values["drawing"]
    drawing = known.drawings.get(plain(number))
    if drawing is None:
        wanted = {"kind": values["kind"], "title": values.get("title")}
        drawing = plan.create(Drawing, number, number=number, **said(wanted))
        known.add_drawing(drawing)
        return drawing
    if drawing.kind != values["kind"]:
        raise Conflict(
            "kind_stays",
            _("{drawing} is a {kind}, and its labels say so. Another kind needs another drawing."),
            drawing=drawing.number,
            kind=drawing.get_kind_display(),
            in_field="kind",
        )
    plan.edit(drawing, number, title=values.get("title"))
    return drawing


def _plan_revision(row: Row, drawing: Drawing, plan: Plan, known: Known) -> None:
    values = row.values
    number = plain(drawing.number)
    present = known.current.get(number)
    name = values.get("revision") or (present.revision if present else "A")
    wanted = _wanted(row)
    revision = known.revisions.get((number, plain(name)))
    title = f"{drawing.number} {name}"
    if revision is None:
        is_current = values.get("is_current") is not False
        revision = plan.create(
            DrawingRevision, title, drawing=drawing, revision=name, is_current=False, **said(wanted)
        )
        known.add_revision(revision)
    else:
        is_current = values.get("is_current") is True
        plan.edit(revision, title, **wanted)
    plan.speak_of(revision, title)
    if is_current and revision is not present:
        _make_current(revision, present, plan, known)
    sizes = {each.attname: getattr(revision, each.attname) for each in revision._meta.fields}
    check_revision(kind=drawing.kind, values=sizes, reason=BROUGHT)


def _wanted(row: Row) -> dict[str, Any]:
    values = row.values
    cost = values.get("new_cost")
    return {
        "unit": row.unit(KINDS["drawings"]),
        "material": values.get("material"),
        "plated_thickness_nm": values.get("plated_thickness"),
        "case_depth_nm": values.get("case_depth"),
        "new_cost_cents": None if cost is None else round(cost * 100),
        "bore_class": values.get("bore_class"),
        "mass_g": values.get("mass"),
        "strokes_to_sharpen": values.get("strokes_to_sharpen"),
        "issued_on": values.get("issued_on"),
        "old_pieces": values.get("old_pieces"),
        "note": values.get("note"),
        **{f"{each}_nm": values.get(each) for each in DIMENSIONS},
        **{f"least_{each}_nm": values.get(f"least_{each}") for each in LEAST},
    }


def _make_current(
    revision: DrawingRevision, present: DrawingRevision | None, plan: Plan, known: Known
) -> None:
    """The one before steps back; it stays the revision of the pieces made to it."""
    if present is not None:
        plan.edit(present, f"{present.drawing.number} {present.revision}", is_current=False)
    plan.edit(revision, f"{revision.drawing.number} {revision.revision}", is_current=True)
    known.current[plain(revision.drawing.number)] = revision

"""One position of a kit as it is shown: its verdict with the sizes of what is claimed for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tooling.engineering.handling import RollBody, caution_for, mass_of
from tooling.models import DrawingRevision, KitPosition
from tooling.queries.conditions import Answers
from tooling.queries.kit_views import PositionView
from tooling.queries.piece_page import mass_kg
from tooling.queries.pieces import size_of
from tooling.queries.settings import Given

SHOWN = ("face_width", "drive_diameter", "root_diameter", "outside_diameter", "bore")


def position_view(row: KitPosition, answers: Answers) -> PositionView:
    """A row with its verdict."""
    verdict = answers.verdicts[row.pk]
    revision = answers.facts[0].revisions.get(row.drawing_id)
    piece, asked = row.piece, row.set_position
    sizes = sizes_of(row, revision)
    mass = mass_of_row(row, revision)
    unit = piece.unit if piece else revision.unit if revision else "mm"
    return PositionView(
        id=row.pk,
        station=row.station_number,
        pass_number=row.pass_number,
        shaft=row.shaft,
        order=row.order,
        drawing=row.drawing.number,
        kind=row.drawing.kind,
        piece=piece.code if piece else "",
        mark=piece.mark if piece else "",
        copy_letter=piece.copy_letter if piece else "",
        owner=piece.owner.name if piece else verdict.stock_owner,
        stock=verdict.stock,
        state=verdict.state,
        reason=verdict.reason,
        place=verdict.place,
        place_code=verdict.place_code,
        alternative=verdict.alternative,
        due_back=verdict.due_back,
        back_in_time=verdict.back_in_time,
        other_kit=verdict.other_kit,
        not_yet_seen=verdict.not_yet_seen,
        is_staged=row.is_staged,
        is_substitute=row.is_substitute,
        substitute_reason=row.substitute_reason,
        mark_faces=asked.mark_faces if asked else "",
        is_split=asked.is_split if asked else False,
        side=asked.side if asked else "",
        unit=unit,
        face_width_nm=sizes["face_width"],
        drive_diameter_nm=sizes["drive_diameter"],
        root_diameter_nm=sizes["root_diameter"],
        outside_diameter_nm=sizes["outside_diameter"],
        bore_nm=sizes["bore"],
        mass_kg=mass,
        caution="none" if mass is None else _caution(mass, answers.facts[0].given),
        peg=row.peg.name if row.peg else "",
        peg_code=row.peg.code if row.peg else "",
        revision_note=verdict.revision_note,
        is_new=verdict.is_new,
        to_sharpen=verdict.to_sharpen,
        ruling=verdict.ruling,
        where=asked.where if asked else "",
        is_pooled=answers.is_pooled(row.pk),
        stock_count=verdict.stock_count,
        fill=row.fill,
        is_pinned=row.is_pinned,
    )


@dataclass(frozen=True)
class Trouble:
    """A position in trouble, and how many more that claim a count have the very same."""

    position: PositionView
    more: int


def troubles_of(views: Iterable[PositionView]) -> list[Trouble]:
    """What stands in the way, in the order given; the same of a count told once."""
    found: dict[object, list[PositionView]] = {}
    for view in views:
        if view.is_trouble:
            same = (view.drawing, view.state, view.reason) if view.is_pooled else view.id
            found.setdefault(same, []).append(view)
    return [Trouble(rows[0], len(rows) - 1) for rows in found.values()]


def sizes_of(row: KitPosition, revision: DrawingRevision | None) -> dict[str, int | None]:
    """Of the claimed piece, else as the current revision is drawn; nm."""
    if row.piece is not None:
        piece = row.piece
        return {name: size_of(piece, name) for name in SHOWN}
    return {name: getattr(revision, f"{name}_nm", None) for name in SHOWN}


def mass_of_row(row: KitPosition, revision: DrawingRevision | None) -> float | None:
    """Of the claimed piece, else as the revision is drawn; kg, None when nobody knows."""
    if row.piece is not None:
        return mass_kg(row.piece)
    if revision is None:
        return None
    if revision.mass_g is not None:
        return revision.mass_g / 1000
    outside = revision.outside_diameter_nm or revision.drive_diameter_nm
    width, bore = revision.face_width_nm, revision.bore_nm or 0
    if not outside or not width or bore >= outside:
        return None
    return mass_of(RollBody(outside, bore, width, revision.material or "steel")).kg


def _caution(kg: float, given: Given) -> str:
    two = float(given.value("lift_two_people"))
    warn = min(float(given.value("lift_warn")), two)
    return caution_for(kg, warn_kg=warn, two_people_kg=two)

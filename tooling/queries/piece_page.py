"""A piece's own page: what it is, where it is, how it measures, who needs it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold, looks_like_code, read_code
from tooling.engineering.handling import RollBody, mass_of
from tooling.errors import Unknown
from tooling.models import (
    NOT_FIT,
    Allotment,
    Condition,
    DrawingFile,
    KitPosition,
    Piece,
    PieceAlias,
)
from tooling.queries.old_pieces import Ruling, chains_of, ruling
from tooling.queries.order_holds import OrderHold, held_by_orders
from tooling.queries.pieces import size_of
from tooling.queries.strokes import Strokes, since_sharpened

SIZES: tuple[tuple[str, Any], ...] = (
    ("bore", _("Bore")),
    ("keyway_width", _("Keyway width")),
    ("keyway_depth", _("Keyway depth")),
    ("face_width", _("Face width")),
    ("guide_offset", _("Guide offset")),
    ("drive_diameter", _("Drive diameter")),
    ("root_diameter", _("Root diameter")),
    ("outside_diameter", _("Outside diameter")),
)
HAVE_LEAST = ("face_width", "drive_diameter", "root_diameter", "outside_diameter")


@dataclass(frozen=True)
class Size:
    """One dimension: drawn, as made, now, least allowed (nm)."""

    name: str
    label: Any
    drawn_nm: int | None
    made_nm: int | None
    now_nm: int | None
    least_nm: int | None

    @property
    def is_below_least(self) -> bool:
        return self.now_nm is not None and self.least_nm is not None and self.now_nm < self.least_nm

    @property
    def is_known(self) -> bool:
        sizes = (self.drawn_nm, self.made_nm, self.now_nm, self.least_nm)
        return any(size is not None for size in sizes)


@dataclass(frozen=True)
class Use:
    """A position of a set that the piece normally fills."""

    set_number: str
    set_name: str
    copy: str
    where: str


@dataclass(frozen=True)
class Claim:
    """An open kit that claims the piece."""

    kit: str
    job: str
    starts_at: datetime
    is_staged: bool


@dataclass(frozen=True)
class FileLink:
    sha256: str
    name: str


@dataclass(frozen=True)
class Alias:
    id: int
    text: str


@dataclass(frozen=True)
class PiecePage:
    """All that the page shows above its history."""

    id: int
    code: str
    mark: str
    copy_letter: str
    mark_place: str
    drawing: str
    title: str
    kind: str
    kind_word: str
    revision: str
    revision_is_current: bool
    ruling: Ruling | None
    unit: str
    owner: str
    condition: str
    condition_word: str
    is_held: bool
    is_not_fit: bool
    hold_reason: str
    place: str
    place_code: str
    placed_at: datetime | None
    seen_at: datetime | None
    length_run_nm: int
    strokes_run: int
    strokes: Strokes | None
    heat_lot: str
    hardness_hrc: float | None
    over_chrome: bool
    mass_kg: float | None
    mass_is_weighed: bool
    note: str
    sizes: tuple[Size, ...]
    aliases: tuple[Alias, ...]
    uses: tuple[Use, ...]
    claims: tuple[Claim, ...]
    files: tuple[FileLink, ...]
    order: OrderHold | None = None

    @property
    def has_made_sizes(self) -> bool:
        return any(size.made_nm is not None for size in self.sizes)

    @property
    def known_sizes(self) -> tuple[Size, ...]:
        return tuple(size for size in self.sizes if size.is_known)


def piece_page(code: str) -> PiecePage:
    """The piece of this code. Six queries, one more when its revision is an old one, and one when
    it made strokes.

    Raises Unknown ``unknown_code``, ToolingError ``bad_check_character``.
    """
    rows = Piece.objects.select_related("drawing", "revision", "owner", "place")
    piece = rows.filter(code=fold(code)).first()
    if piece is None:
        if looks_like_code(code):
            read_code(code)
        raise Unknown(
            "unknown_code",
            _("No piece has the code {code}. Search for its mark or an old number."),
            code=code,
        )
    files = DrawingFile.objects.filter(revision=piece.revision_id).select_related("file")
    return PiecePage(
        id=piece.pk,
        code=piece.code,
        mark=piece.mark,
        copy_letter=piece.copy_letter,
        mark_place=piece.get_mark_place_display(),
        drawing=piece.drawing.number,
        title=piece.drawing.title,
        kind=piece.drawing.kind,
        kind_word=piece.drawing.get_kind_display(),
        revision=piece.revision.revision,
        revision_is_current=piece.revision.is_current,
        ruling=_ruling(piece),
        unit=piece.unit,
        owner=piece.owner.name,
        condition=piece.condition,
        condition_word=piece.get_condition_display(),
        is_held=piece.condition == Condition.HOLD,
        is_not_fit=piece.condition in NOT_FIT,
        hold_reason=piece.hold_reason,
        place=piece.place.path_name or piece.place.name,
        place_code=piece.place.code,
        placed_at=piece.placed_effective_at,
        seen_at=piece.seen_at,
        length_run_nm=piece.length_run_nm,
        strokes_run=piece.strokes_run,
        strokes=_strokes(piece),
        heat_lot=piece.heat_lot,
        hardness_hrc=piece.hardness_hrc,
        over_chrome=piece.over_chrome,
        mass_kg=mass_kg(piece),
        mass_is_weighed=piece.weighed_g is not None,
        note=piece.note,
        sizes=_sizes(piece),
        aliases=tuple(Alias(a.pk, a.text) for a in PieceAlias.objects.filter(piece=piece)),
        uses=_uses(piece),
        claims=_claims(piece),
        files=tuple(FileLink(row.file.sha256, row.name) for row in files),
        order=held_by_orders([piece.pk]).get(piece.pk),
    )


def mass_kg(piece: Piece) -> float | None:
    """Weighed, else the drawing's, else computed from the present sizes; None when unknown."""
    grams = piece.weighed_g if piece.weighed_g is not None else piece.revision.mass_g
    if grams is not None:
        return grams / 1000
    outside = size_of(piece, "outside_diameter") or size_of(piece, "drive_diameter")
    width, bore = size_of(piece, "face_width"), size_of(piece, "bore") or 0
    if not outside or not width or bore >= outside:
        return None
    body = RollBody(
        outside_nm=outside,
        bore_nm=bore,
        width_nm=width,
        material=piece.revision.material or "steel",
    )
    return mass_of(body).kg


def _ruling(piece: Piece) -> Ruling | None:
    """What newer revisions say of a piece to an older one. One query for those."""
    if piece.revision.is_current:
        return None
    return ruling(piece.revision, chains_of([piece.drawing_id]).get(piece.drawing_id, ()))


def _strokes(piece: Piece) -> Strokes | None:
    """Of a piece that made strokes or is to be sharpened now and then. One query for those that
    made any."""
    limit = piece.revision.strokes_to_sharpen
    if piece.strokes_run == 0:
        return None if limit is None else Strokes(0, limit)
    return Strokes(since_sharpened([piece.pk])[piece.pk], limit)


def _sizes(piece: Piece) -> tuple[Size, ...]:
    revision = piece.revision
    return tuple(
        Size(
            name=name,
            label=label,
            drawn_nm=getattr(revision, f"{name}_nm"),
            made_nm=getattr(piece, f"made_{name}_nm"),
            now_nm=getattr(piece, f"now_{name}_nm"),
            least_nm=getattr(revision, f"least_{name}_nm") if name in HAVE_LEAST else None,
        )
        for name, label in SIZES
    )


def _uses(piece: Piece) -> tuple[Use, ...]:
    rows = Allotment.objects.filter(piece=piece).select_related(
        "copy__tool_set", "position__set_pass"
    )
    return tuple(
        Use(
            set_number=row.copy.tool_set.number,
            set_name=row.copy.tool_set.name,
            copy=row.copy.letter,
            where=_("pass {number}, {shaft}, position {order}").format(
                number=row.position.set_pass.number,
                shaft=row.position.get_shaft_display(),
                order=row.position.order,
            ),
        )
        for row in rows.order_by("copy__tool_set__number", "copy__letter")
    )


def _claims(piece: Piece) -> tuple[Claim, ...]:
    rows = KitPosition.objects.filter(piece=piece, is_open=True).select_related("kit__job")
    return tuple(
        Claim(row.kit.number, row.kit.job.number, row.kit.job.starts_at, row.is_staged)
        for row in rows.order_by("kit__job__starts_at")
    )

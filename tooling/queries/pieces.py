"""Searching pieces. Every way of finding is an index lookup; none reads all pieces.

A text is tried as a label code, a mark, an old number, a drawing, a place and an owner at once.
Each way gives at most ``MOST_PER_WAY`` pieces; without a text, pieces are browsed by code.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from tooling.engineering.lengths import Unit
from tooling.models import (
    Allotment,
    Condition,
    Drawing,
    DrawingKind,
    DrawingRevision,
    Owner,
    Piece,
    PieceAlias,
    Place,
)
from tooling.models.fields import DIMENSIONS
from tooling.models.pieces import PIECE_LETTERS
from tooling.queries.prefixes import begins_in_capitals, capitals, starts_with
from tooling.queries.search_words import Understood, understand

PAGE = 50
MOST_PER_WAY = 1_000
MOST_PLACES = 400


@dataclass(frozen=True)
class Filters:
    """What the search narrows by besides its text; empty means all. ``drawing`` and ``tool_set``:
    a whole number, capitals or not; of a set the pieces that its copies are made up of."""

    text: str = ""
    owner: str = ""
    kind: str = ""
    condition: str = ""
    place: str = ""
    unseen: bool = False
    drawing: str = ""
    tool_set: str = ""


@dataclass(frozen=True)
class PieceRow:
    """One line of the list."""

    code: str
    mark: str
    copy_letter: str
    drawing: str
    kind: str
    owner: str
    place: str
    place_code: str
    condition: str
    condition_word: str
    is_held: bool
    is_seen: bool
    unit: str
    bore_nm: int | None
    face_width_nm: int | None
    drive_diameter_nm: int | None
    outside_diameter_nm: int | None
    moved_at: datetime | None


@dataclass(frozen=True)
class PieceList:
    """One page of what was found. ``after`` is the key of the next page."""

    rows: tuple[PieceRow, ...]
    after: str
    is_cut: bool
    understood: Understood


def search_pieces(filters: Filters, *, after: str = "", unit: Unit = "mm") -> PieceList:
    """One page of pieces by code. A fixed number of queries whatever is found."""
    understood = understand(filters.text, unit=unit)
    narrow = _narrow(filters, understood)
    if understood.rest or understood.sizes:
        found, is_cut = _found(understood, narrow)
        codes = sorted(code for code in found if code > after)
        page = codes[: PAGE + 1]
        rows = list(_rows(Piece.objects.filter(code__in=page[:PAGE])))
    else:
        is_cut = False
        rows = list(_rows(Piece.objects.filter(narrow, code__gt=after))[: PAGE + 1])
        page = [row.code for row in rows]
        rows = rows[:PAGE]
    more = rows[-1].code if len(page) > PAGE else ""
    return PieceList(tuple(_row(piece) for piece in rows), more, is_cut, understood)


def find_exactly(text: str) -> str:
    """The code of the one piece that has this code, mark or old number; else empty."""
    understood = understand(text)
    keys = capitals(text.strip())
    found = set(Piece.objects.filter(code=understood.code_prefix).values_list("code", flat=True))
    if not found and text.strip():
        found = set(Piece.objects.filter(mark_key__in=keys).values_list("code", flat=True)[:2])
        aliases = PieceAlias.objects.filter(text_key__in=keys)
        found |= set(aliases.values_list("piece__code", flat=True)[:2])
    return found.pop() if len(found) == 1 else ""


def _narrow(filters: Filters, understood: Understood) -> Q:
    """The form's filters; the owner, the kind and the place as keys that have an index."""
    narrow = Q()
    if filters.owner:
        narrow &= Q(owner__in=list(_keys(Owner.objects.filter(code=filters.owner))))
    if filters.condition in Condition.values:
        narrow &= Q(condition=filters.condition)
    if filters.place:
        place = Place.objects.filter(code=filters.place).values_list("path", flat=True).first()
        inside = Place.objects.filter(path__startswith=place) if place else Place.objects.none()
        narrow &= Q(place__in=inside.values("pk"))
    kind = filters.kind or understood.kind
    if kind in DrawingKind.values:
        letter = PIECE_LETTERS[kind]
        narrow &= starts_with("code", letter) & Q(drawing__kind=kind)
    if filters.drawing:
        named = Drawing.objects.filter(number_key__in=capitals(filters.drawing))
        narrow &= Q(drawing__in=list(_keys(named)))
    if filters.tool_set:
        of_set = Allotment.objects.filter(copy__tool_set__number__iexact=filters.tool_set)
        narrow &= Q(pk__in=of_set.values("piece_id"))
    if filters.unseen:
        narrow &= Q(seen_at=None)
    return narrow


def _keys(rows: QuerySet) -> Iterable[int]:
    return rows.values_list("pk", flat=True)


def _found(understood: Understood, narrow: Q) -> tuple[set[str], bool]:
    """Codes found in any way, and whether one of the ways was cut short."""
    found: set[str] = set()
    is_cut = False
    for way in _ways(understood):
        codes = list(way.filter(narrow).values_list("code", flat=True)[:MOST_PER_WAY])
        is_cut = is_cut or len(codes) == MOST_PER_WAY
        found.update(codes)
    return found, is_cut


def _ways(understood: Understood) -> list[QuerySet[Piece]]:
    if understood.sizes:
        return _by_size(understood.sizes)
    text, pieces = understood.rest, Piece.objects
    drawings = Drawing.objects.filter(begins_in_capitals("number_key", text))[:MOST_PLACES]
    aliases = PieceAlias.objects.filter(begins_in_capitals("text_key", text))
    names = (understood.rest, *understood.other_names)
    ways = [
        pieces.filter(begins_in_capitals("mark_key", text)).order_by("mark_key", "code"),
        pieces.filter(pk__in=aliases.values("piece_id")[:MOST_PER_WAY]),
        pieces.filter(drawing__in=list(_keys(drawings))),
        pieces.filter(place__in=_places_named(names)),
        pieces.filter(owner__in=_owners_named(understood.rest)),
    ]
    if understood.code_prefix:
        ways.append(pieces.filter(starts_with("code", understood.code_prefix)).order_by("code"))
    return ways


def _places_named(names: tuple[str, ...]) -> list[int]:
    """Places of these names and all that is in them."""
    wanted = Q()
    for name in names:
        wanted |= Q(name__icontains=name) | Q(path_name__icontains=name)
    return list(_keys(Place.objects.filter(wanted)[:MOST_PLACES]))


def _owners_named(text: str) -> list[int]:
    named = Q(code__iexact=text)
    if len(text) >= 3:
        named |= Q(name__icontains=text)
    return list(_keys(Owner.objects.filter(named)))


def _by_size(sizes: dict[str, tuple[int, int]]) -> list[QuerySet[Piece]]:
    """Pieces measured at that size, and pieces nobody measured that are drawn to it."""
    measured = Q(**{f"now_{name}_nm__range": window for name, window in sizes.items()})
    drawn_so = Q(**{f"{name}_nm__range": window for name, window in sizes.items()})
    revisions = DrawingRevision.objects.filter(drawn_so).values("pk")
    unmeasured = Q(**{f"now_{name}_nm": None for name in sizes})
    from_drawing = Piece.objects.filter(unmeasured, revision__in=revisions)
    return [Piece.objects.filter(measured).order_by(), from_drawing.order_by()]


def piece_rows(pieces: QuerySet[Piece], *, most: int) -> tuple[PieceRow, ...]:
    """Lines of a list by code. One query."""
    return tuple(_row(piece) for piece in _rows(pieces)[:most])


def _rows(pieces: QuerySet[Piece]) -> QuerySet[Piece]:
    return pieces.select_related("drawing", "revision", "owner", "place").order_by("code")


def size_of(piece: Piece, dimension: str) -> int | None:
    """Measured, else as made, else as drawn. The revision must be loaded."""
    assert dimension in DIMENSIONS
    for holder, prefix in ((piece, "now_"), (piece, "made_"), (piece.revision, "")):
        value: int | None = getattr(holder, f"{prefix}{dimension}_nm")
        if value is not None:
            return value
    return None


def _row(piece: Piece) -> PieceRow:
    return PieceRow(
        code=piece.code,
        mark=piece.mark,
        copy_letter=piece.copy_letter,
        drawing=piece.drawing.number,
        kind=piece.drawing.get_kind_display(),
        owner=piece.owner.name,
        place=piece.place.path_name or piece.place.name,
        place_code=piece.place.code,
        condition=piece.condition,
        condition_word=piece.get_condition_display(),
        is_held=piece.condition == Condition.HOLD,
        is_seen=piece.seen_at is not None,
        unit=piece.unit,
        bore_nm=size_of(piece, "bore"),
        face_width_nm=size_of(piece, "face_width"),
        drive_diameter_nm=size_of(piece, "drive_diameter"),
        outside_diameter_nm=size_of(piece, "outside_diameter"),
        moved_at=piece.placed_effective_at,
    )

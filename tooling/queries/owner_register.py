"""An owner's tooling, piece by piece, as the owner or an auditor asks to see it.

What was scrapped is not in the register; what is lost is, and says so by its place.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import reduce
from operator import or_

from django.db.models import Count, Max, Q, QuerySet
from django.utils.translation import gettext as _

from tooling.models import (
    Allotment,
    CountEntry,
    Owner,
    OwnerMarkCheck,
    Piece,
    Place,
    PlaceKind,
    StockLine,
)
from tooling.queries.owner_reports import open_reports
from tooling.queries.pictures import shown

BY_PLACE = ("place__walking_order", "place__path_name", "code")


@dataclass(frozen=True)
class RegisterRow:
    """One piece. ``set_and_pass`` is where it normally goes; ``has_mark`` is None while nobody
    has looked for the owner's mark; ``picture`` and ``small`` name files of its newest picture;
    ``value_cents`` is in hundredths of the shop's currency."""

    code: str
    mark: str
    copy_letter: str
    drawing: str
    revision: str
    set_and_pass: str
    place: str
    place_code: str
    condition: str
    condition_word: str
    value_cents: int | None
    has_mark: bool | None
    mark_checked_at: datetime | None
    counted_at: datetime | None
    seen_at: datetime | None
    open_reports: int
    picture: int | None
    small: str


@dataclass(frozen=True)
class BinRow:
    """Counted spacers, shims or keys of an owner in one bin."""

    code: str
    drawing: str
    place: str
    place_code: str
    condition_word: str
    count: int
    counted_at: datetime | None
    seen_at: datetime | None


def pieces_of(owner: Owner | None = None) -> QuerySet[Piece]:
    """What is not scrapped of an owner's pieces, or of everybody's. One query here."""
    scrap = list(Place.objects.filter(kind=PlaceKind.SCRAP).values_list("path", flat=True))
    rows = Piece.objects.all() if owner is None else Piece.objects.filter(owner=owner)
    if scrap:
        rows = rows.exclude(reduce(or_, (Q(place__path__startswith=path) for path in scrap)))
    return rows


def register_rows(pieces: QuerySet[Piece]) -> tuple[RegisterRow, ...]:
    """The pieces in the order of the query. Six queries, whatever there are."""
    rows = list(pieces.select_related("drawing", "revision", "place"))
    ids = [piece.pk for piece in rows]
    uses, marks, counted = _uses(ids), newest_marks(ids), counted_at(piece__in=ids)
    reports, pictures = _open_reports(ids), _pictures(ids)
    return tuple(
        RegisterRow(
            code=piece.code,
            mark=piece.mark,
            copy_letter=piece.copy_letter,
            drawing=piece.drawing.number,
            revision=piece.revision.revision,
            set_and_pass=uses.get(piece.pk, ""),
            place=piece.place.path_name or piece.place.name,
            place_code=piece.place.code,
            condition=piece.condition,
            condition_word=piece.get_condition_display(),
            value_cents=piece.value_cents,
            has_mark=marks.get(piece.pk, (None, None))[0],
            mark_checked_at=marks.get(piece.pk, (None, None))[1],
            counted_at=counted.get(piece.pk),
            seen_at=piece.seen_at,
            open_reports=reports.get(piece.pk, 0),
            picture=pictures.get(piece.pk, (None, ""))[0],
            small=pictures.get(piece.pk, (None, ""))[1],
        )
        for piece in rows
    )


def bin_rows(owner: Owner) -> tuple[BinRow, ...]:
    """An owner's bins that hold something, in walking order. Two queries."""
    rows = list(
        StockLine.objects.filter(owner=owner, count__gt=0)
        .exclude(place__kind=PlaceKind.SCRAP)
        .select_related("drawing", "place")
        .order_by(*BY_PLACE)
    )
    counted = counted_at(stock_line__in=[line.pk for line in rows])
    return tuple(
        BinRow(
            code=line.code,
            drawing=line.drawing.number,
            place=line.place.path_name or line.place.name,
            place_code=line.place.code,
            condition_word=line.get_condition_display(),
            count=line.count,
            counted_at=counted.get(line.pk),
            seen_at=line.seen_at,
        )
        for line in rows
    )


def counted_at(**which: Iterable[int]) -> dict[int, datetime]:
    """When each of the pieces (``piece__in``) or bins (``stock_line__in``) was last seen or counted
    in a count. One query."""
    (name,) = which
    field = name.removesuffix("__in")
    rows = CountEntry.objects.filter(**which, is_taken_back=False, corrected_by=None)
    return dict(rows.order_by().values_list(field).annotate(last=Max("happened_at")))


def newest_marks(pieces: Sequence[int]) -> dict[int, tuple[bool, datetime]]:
    """Piece id → whether the owner's mark was there when somebody last looked, and when."""
    rows = OwnerMarkCheck.objects.filter(piece__in=pieces).order_by("checked_at", "pk")
    return {
        piece: (is_there, at)
        for piece, is_there, at in rows.values_list("piece_id", "is_there", "checked_at")
    }


def _uses(ids: Sequence[int]) -> dict[int, str]:
    """Where each piece normally goes; of several sets the first, and how many more."""
    found: dict[int, list[str]] = defaultdict(list)
    rows = Allotment.objects.filter(piece__in=ids).order_by(
        "copy__tool_set__number", "copy__letter"
    )
    fields = ("piece_id", "copy__tool_set__number", "copy__letter", "position__set_pass__number")
    for piece, number, letter, set_pass in rows.values_list(*fields):
        found[piece].append(
            _("{set}-{letter}, pass {number}").format(set=number, letter=letter, number=set_pass)
        )
    return {
        piece: uses[0]
        if len(uses) == 1
        else _("{first} and {count} more").format(first=uses[0], count=len(uses) - 1)
        for piece, uses in found.items()
    }


def _open_reports(ids: Sequence[int]) -> dict[int, int]:
    rows = open_reports().filter(piece__in=ids).order_by()
    return {pk or 0: count for pk, count in rows.values_list("piece_id").annotate(n=Count("pk"))}


def _pictures(ids: Sequence[int]) -> dict[int, tuple[int, str]]:
    """Of each piece its newest picture."""
    rows = shown().filter(piece__in=ids).order_by("at", "pk")
    return {
        piece or 0: (pk, small)
        for piece, pk, small in rows.values_list("piece_id", "pk", "small__sha256")
    }

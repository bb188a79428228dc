"""What an owner's tooling is worth, for those who insure it. Money is whole hundredths of the
shop's currency, never a fraction of a float; what nobody valued is counted, not guessed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet, Sum

from tooling.models import Owner, Piece, Place, Shop
from tooling.queries.owner_register import BY_PLACE, pieces_of


@dataclass(frozen=True)
class Total:
    """Pieces under one heading: how many, their value, and how many nobody valued."""

    name: str
    key: str
    pieces: int
    value_cents: int
    unvalued: int
    insurance: str = ""


@dataclass(frozen=True)
class InsuredPage:
    """Totals by owner and by outermost place. ``currency`` is empty while the shop has not said."""

    currency: str
    owner: str
    owner_name: str
    by_owner: tuple[Total, ...]
    by_place: tuple[Total, ...]
    total: Total


@dataclass(frozen=True)
class ValueRow:
    """One piece of the list."""

    owner: str
    owner_name: str
    insurance: str
    code: str
    mark: str
    drawing: str
    place: str
    condition: str
    value_cents: int | None


def currency() -> str:
    """The shop's, as ISO 4217 has it; empty while nobody has said. One query."""
    return Shop.objects.filter(pk=1).values_list("currency", flat=True).first() or ""


def insured_page(owner: Owner | None = None) -> InsuredPage:
    """Of everybody's tooling, or of one owner's. Five queries."""
    pieces = pieces_of(owner)
    by_owner = _by_owner(pieces)
    return InsuredPage(
        currency=currency(),
        owner=owner.code if owner else "",
        owner_name=owner.name if owner else "",
        by_owner=by_owner,
        by_place=_by_place(pieces),
        total=Total(
            name="",
            key="",
            pieces=sum(each.pieces for each in by_owner),
            value_cents=sum(each.value_cents for each in by_owner),
            unvalued=sum(each.unvalued for each in by_owner),
        ),
    )


def value_rows(owner: Owner | None = None) -> Iterator[ValueRow]:
    """Piece by piece, by owner and place; read a little at a time. Two queries."""
    rows = pieces_of(owner).select_related("owner", "drawing", "place")
    for piece in rows.order_by("owner__code", *BY_PLACE).iterator(chunk_size=1_000):
        yield ValueRow(
            owner=piece.owner.code,
            owner_name=piece.owner.name,
            insurance=piece.owner.insurance_reference,
            code=piece.code,
            mark=piece.mark,
            drawing=piece.drawing.number,
            place=piece.place.path_name or piece.place.name,
            condition=piece.get_condition_display(),
            value_cents=piece.value_cents,
        )


_SUMS = {
    "pieces": Count("pk"),
    "value": Sum("value_cents"),
    "unvalued": Count("pk", filter=Q(value_cents=None)),
}


def _by_owner(pieces: QuerySet[Piece]) -> tuple[Total, ...]:
    fields = ("owner__name", "owner__code", "owner__insurance_reference")
    rows = pieces.order_by().values_list(*fields).annotate(**_SUMS)
    found = [
        Total(name, code, count, value or 0, unvalued, insurance)
        for name, code, insurance, count, value, unvalued in rows
    ]
    return tuple(sorted(found, key=lambda each: (each.name.casefold(), each.key)))


def _by_place(pieces: QuerySet[Piece]) -> tuple[Total, ...]:
    """By the outermost place: the building or room that burns or floods as one."""
    rows = pieces.order_by().values_list("place__path").annotate(**_SUMS)
    sums: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for path, *figures in rows:
        outermost = next((code for code in path.split("/") if code), "")
        for at, figure in enumerate(figures):
            sums[outermost][at] += figure or 0
    names = dict(Place.objects.filter(parent=None).values_list("code", "name"))
    found = [
        Total(names.get(code, code), code, count, value, unvalued)
        for code, (count, value, unvalued) in sums.items()
    ]
    return tuple(sorted(found, key=lambda each: (each.name.casefold(), each.key)))

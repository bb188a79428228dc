"""Places: the tree's top, and one place with what is in it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import (
    Change,
    Condition,
    DrawingKind,
    Kit,
    KitState,
    Movement,
    Piece,
    Place,
    StockLine,
)
from tooling.queries.labels import codes_ever
from tooling.queries.pieces import PieceRow, piece_rows

PAGE = 50


@dataclass(frozen=True)
class PlaceRow:
    """One place in a list; ``pieces`` counts those directly in it."""

    code: str
    name: str
    path_name: str
    kind: str
    kind_word: str
    children: int
    pieces: int
    is_active: bool


@dataclass(frozen=True)
class StockRow:
    """One bin of pooled stock."""

    code: str
    drawing: str
    title: str
    place: str
    place_code: str
    condition: str
    owner: str
    count: int
    least_count: int
    unit: str
    face_width_nm: int | None
    bore_nm: int | None
    is_sound: bool
    is_shops: bool
    is_shim: bool

    @property
    def is_short(self) -> bool:
        return self.count < self.least_count


@dataclass(frozen=True)
class PlacePage:
    """A place and what is in it."""

    id: int
    code: str
    name: str
    kind: str
    kind_word: str
    moves: bool
    crumbs: tuple[tuple[str, str], ...]
    walking_order: int
    max_load_kg: float | None
    height_nm: int | None
    owner: str
    is_active: bool
    kit: str
    inside: tuple[PlaceRow, ...]
    pieces: tuple[PieceRow, ...]
    pieces_all: int
    after: str
    stock: tuple[StockRow, ...]
    moved_at: datetime | None


@dataclass(frozen=True)
class PlaceNews:
    """One line of a cart's journeys or a place's edits."""

    at: datetime
    said: str
    by: str


def top_places() -> list[PlaceRow]:
    """The outermost places. One query."""
    return _rows(Place.objects.filter(parent=None))


def find_places(text: str) -> list[PlaceRow]:
    """Places whose name or path holds the text, or whose code it is. One query."""
    found = Place.objects.filter(path_name__icontains=text)
    return _rows((found | Place.objects.filter(code=text.upper())).order_by("path_name")[:PAGE])


def place_page(code: str, *, after: str = "") -> PlacePage:
    """One place. Six queries whatever it holds, seven when it is inside another.

    Raises Unknown ``unknown_code``.
    """
    place = Place.objects.select_related("owner").filter(code=code.upper()).first()
    if place is None:
        raise Unknown(
            "unknown_code",
            _("No place has the code {code}. Look for it by name on the Places page."),
            code=code,
        )
    pieces = piece_rows(Piece.objects.filter(place=place, code__gt=after), most=PAGE + 1)
    kit = Kit.objects.filter(place=place).exclude(state=KitState.CLOSED).first()
    return PlacePage(
        id=place.pk,
        code=place.code,
        name=place.name,
        kind=place.kind,
        kind_word=place.get_kind_display(),
        moves=place.moves,
        crumbs=_crumbs(place),
        walking_order=place.walking_order,
        max_load_kg=place.max_load_kg,
        height_nm=place.height_nm,
        owner=place.owner.name if place.owner else "",
        is_active=place.is_active,
        kit=kit.number if kit else "",
        inside=tuple(_rows(Place.objects.filter(parent=place))),
        pieces=pieces[:PAGE],
        pieces_all=Piece.objects.filter(place__path__startswith=place.path).count(),
        after=pieces[PAGE - 1].code if len(pieces) > PAGE else "",
        stock=stock_rows(StockLine.objects.filter(place=place)),
        moved_at=place.placed_effective_at,
    )


def place_news(code: str) -> list[PlaceNews]:
    """The last journeys and edits of a place, newest first. Three queries, and one for every label
    that another replaced."""
    journeys = Movement.objects.filter(cart__code=code).select_related("to", "from_seen", "by")
    changes = Change.objects.filter(subject="Place", subject_key__in=codes_ever(code))
    changes = changes.select_related("by")
    news = [
        PlaceNews(row.effective_at, _journey_words(row), str(row.by))
        for row in journeys.order_by("-effective_at", "-id")[:20]
    ]
    news += [PlaceNews(row.at, row.what, str(row.by)) for row in changes.order_by("-at")[:20]]
    return sorted(news, key=lambda each: each.at, reverse=True)[:20]


def _journey_words(row: Movement) -> str:
    if row.takes_back:
        return str(_("taken back: it did not go to {place}")).format(place=row.from_seen)
    words = _("put right: at {place}") if row.corrects_id is not None else _("moved to {place}")
    return str(words).format(place=row.to)


def stock_rows(lines: QuerySet[StockLine]) -> tuple[StockRow, ...]:
    """Bins with the width and bore of their drawing's current revision. One query."""
    rows = lines.filter(drawing__revisions__is_current=True).select_related(
        "drawing", "place", "owner"
    )
    return tuple(
        StockRow(
            code=line.code,
            drawing=line.drawing.number,
            title=line.drawing.title,
            place=line.place.path_name,
            place_code=line.place.code,
            condition=line.get_condition_display(),
            owner=line.owner.name,
            count=line.count,
            least_count=line.least_count,
            unit=line.drawn_unit,
            face_width_nm=line.drawn_width,
            bore_nm=line.drawn_bore,
            is_sound=line.condition == Condition.SOUND,
            is_shops=line.owner.is_shop,
            is_shim=line.drawing.kind == DrawingKind.SHIM,
        )
        for line in rows.annotate(
            drawn_unit=F("drawing__revisions__unit"),
            drawn_width=F("drawing__revisions__face_width_nm"),
            drawn_bore=F("drawing__revisions__bore_nm"),
        ).order_by("drawn_bore", "drawn_width", "drawing__number", "code")
    )


def _crumbs(place: Place) -> tuple[tuple[str, str], ...]:
    """The places that this one is in, from the outermost: name and code."""
    codes = [code for code in place.path.strip("/").split("/") if code and code != place.code]
    names = dict(Place.objects.filter(code__in=codes).values_list("code", "name"))
    return tuple((names.get(code, code), code) for code in codes)


def _rows(places: QuerySet[Place]) -> list[PlaceRow]:
    pieces = Piece.objects.filter(place=OuterRef("pk")).order_by().values("place")
    counted = places.annotate(
        child_count=Count("children", distinct=True),
        piece_count=Coalesce(Subquery(pieces.annotate(n=Count("pk")).values("n")), 0),
    )
    return [_row(place) for place in _in_order(counted)]


def _in_order(places: QuerySet[Place]) -> Iterable[Place]:
    return places if places.query.is_sliced else places.order_by("walking_order", "name")


def _row(place: Place) -> PlaceRow:
    return PlaceRow(
        code=place.code,
        name=place.name,
        path_name=place.path_name,
        kind=place.kind,
        kind_word=place.get_kind_display(),
        children=place.child_count,  # type: ignore[attr-defined]
        pieces=place.piece_count,  # type: ignore[attr-defined]
        is_active=place.is_active,
    )

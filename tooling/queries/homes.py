"""Where things belong: what was said for the thing itself, else for its copy of the set, else
where it most recently rested in storage. Many are answered together by the same few queries."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from django.db.models import (
    CharField,
    Exists,
    ExpressionWrapper,
    F,
    OuterRef,
    QuerySet,
    Subquery,
)
from django.utils.translation import gettext as _

from tooling.models import (
    AWAY_KINDS,
    Allotment,
    KitPosition,
    Mill,
    Movement,
    Piece,
    Place,
    PlaceKind,
    StockLine,
)
from tooling.models.movements import STANDS

STORAGE_KINDS = (PlaceKind.RACK, PlaceKind.SHELF, PlaceKind.BIN, PlaceKind.PEG)
"""Where things rest; carts, plates, stations and areas are where they are used or pass through."""

NO_HOME_KINDS = (
    *AWAY_KINDS,
    PlaceKind.LOST,
    PlaceKind.SCRAP,
    PlaceKind.UNKNOWN,
    PlaceKind.STATION,
)
"""Nothing belongs away, lost, scrapped, nowhere or on a shaft."""

Why = Literal["own", "copy", "rested", "like"]


@dataclass(frozen=True)
class Home:
    """Where one thing belongs and why: said for itself, for its copy (``copy`` names it), because
    it rested there, or because its like lies there."""

    place: Place
    why: Why
    copy: str = ""

    @property
    def said(self) -> str:
        """Why, in a sentence; nothing where it was said for the thing itself."""
        words = {
            "own": "",
            "copy": _("Set {copy} belongs there."),
            "rested": _("It rested there last; nobody said where it belongs."),
            "like": _("Others like it lie there."),
        }[self.why]
        return words.format(copy=self.copy)


def homes_of_pieces(ids: Collection[int]) -> dict[int, Home]:
    """Piece id → its home; a piece that nothing tells of is left out. Three queries at most."""
    found = _own_homes(Piece.objects.filter(pk__in=ids))
    lacking = set(ids) - set(found)
    if lacking:
        found |= _homes_of_copies(lacking)
        lacking -= set(found)
    if lacking:
        found |= _rests(Piece.objects.filter(pk__in=lacking), _rested_rows("piece"))
    return found


def homes_of_carts(ids: Collection[int]) -> dict[int, Home]:
    """Cart or plate id → where it stands when nobody uses it. Two queries at most."""
    found = _own_homes(Place.objects.filter(pk__in=ids))
    lacking = set(ids) - set(found)
    if lacking:
        found |= _rests(Place.objects.filter(pk__in=lacking), _stood_rows())
    return found


def homes_of_lines(lines: Sequence[StockLine]) -> dict[int, Home]:
    """Stock line id → its home: where it lies when that is storage, else the storage that has most
    of the same drawing, condition and owner. One query at most."""
    found = {
        line.pk: Home(line.place, "like")
        for line in lines
        if line.place.kind in STORAGE_KINDS and line.place.is_active
    }
    lacking = [line for line in lines if line.pk not in found]
    if not lacking:
        return found
    likes = StockLine.objects.filter(
        drawing__in={line.drawing_id for line in lacking},
        place__kind__in=STORAGE_KINDS,
        place__is_active=True,
    ).select_related("place")
    best: dict[tuple[int, str, int], StockLine] = {}
    for like in likes.order_by("count", "-place__walking_order", "-pk"):
        best[_like(like)] = like
    homes = {line.pk: best.get(_like(line)) for line in lacking}
    return found | {pk: Home(line.place, "like") for pk, line in homes.items() if line is not None}


def _like(line: StockLine) -> tuple[int, str, int]:
    return (line.drawing_id, line.condition, line.owner_id)


def _own_homes(rows: QuerySet[Any]) -> dict[int, Home]:
    said = rows.filter(home__is_active=True).select_related("home")
    return {row.pk: Home(row.home, "own") for row in said}


def _homes_of_copies(ids: Collection[int]) -> dict[int, Home]:
    """A piece of several sets belongs with the first of them by number and letter."""
    rows = Allotment.objects.filter(piece__in=ids, copy__home__is_active=True)
    rows = rows.select_related("copy__home", "copy__tool_set")
    found: dict[int, Home] = {}
    for row in rows.order_by("copy__tool_set__number", "copy__letter"):
        home = row.copy.home
        if home is not None:
            found.setdefault(row.piece_id, Home(home, "copy", str(row.copy)))
    return found


def _rests(rows: QuerySet[Any], rested: QuerySet[Movement]) -> dict[int, Home]:
    newest = rested.order_by("-effective_at", "-received_at", "-id").values("to")[:1]
    told = dict(rows.annotate(rested=Subquery(newest)).values_list("pk", "rested"))
    places = Place.objects.in_bulk({place for place in told.values() if place is not None})
    return {pk: Home(places[place], "rested") for pk, place in told.items() if place is not None}


_LIES_AT = ExpressionWrapper(OuterRef("to__path"), output_field=CharField())
"""The path of the place that a movement of the outer query went to."""


def _rested_rows(subject: str) -> QuerySet[Movement]:
    """Of one piece: what put it to rest in storage, not what gathered it for a kit."""
    gathered = KitPosition.objects.filter(piece=OuterRef("piece"), kit__place__isnull=False)
    gathered = gathered.annotate(lies_at=_LIES_AT)
    return Movement.objects.filter(
        STANDS,
        **{subject: OuterRef("pk")},
        kit=None,
        to__kind__in=STORAGE_KINDS,
        to__is_active=True,
    ).exclude(Exists(gathered.filter(lies_at__startswith=F("kit__place__path"))))


def _stood_rows() -> QuerySet[Movement]:
    """Of one cart: where it was put, but for mills and places away."""
    at_mill = Mill.objects.filter(place__isnull=False).annotate(lies_at=_LIES_AT)
    return (
        Movement.objects.filter(STANDS, cart=OuterRef("pk"), to__is_active=True)
        .exclude(to__kind__in=NO_HOME_KINDS)
        .exclude(Exists(at_mill.filter(lies_at__startswith=F("place__path"))))
    )


@dataclass(frozen=True)
class Belongs:
    """One thing that was asked about: where it is and where it belongs. Without a home ``home``
    and ``home_code`` are empty."""

    code: str
    name: str
    kind: Literal["piece", "bin", "cart", "set"]
    now: str
    now_code: str
    home: str
    home_code: str
    why: str
    why_said: str

    @property
    def home_inner(self) -> str:
        """The innermost name of the home, the one to look for."""
        return self.home.rsplit(" / ", 1)[-1]

    @property
    def home_outer(self) -> str:
        """What the home is in, if anything."""
        return self.home.rpartition(" / ")[0]

    @property
    def is_home(self) -> bool:
        return bool(self.home_code) and self.home_code == self.now_code


def belongs(subject: Piece | StockLine | Place, home: Home | None) -> Belongs:
    """A piece (with place), bin (with drawing and place) or cart (with parent) and its home."""
    where = subject.parent if isinstance(subject, Place) else subject.place
    return Belongs(
        code=subject.code,
        name=_name(subject),
        kind=_kind(subject),
        now=(where.path_name or where.name) if where else "",
        now_code=where.code if where else "",
        home=(home.place.path_name or home.place.name) if home else "",
        home_code=home.place.code if home else "",
        why=home.why if home else "",
        why_said=home.said if home else _("Nobody said where it belongs, and it never rested."),
    )


def _kind(subject: Piece | StockLine | Place) -> Literal["piece", "bin", "cart"]:
    if isinstance(subject, Piece):
        return "piece"
    return "bin" if isinstance(subject, StockLine) else "cart"


def _name(subject: Piece | StockLine | Place) -> str:
    if isinstance(subject, Piece):
        return f"{subject.code} ({subject.mark})" if subject.mark else subject.code
    return subject.drawing.number if isinstance(subject, StockLine) else subject.name


def home_of(subject: Piece | StockLine | Place) -> Home | None:
    """The home of one thing. Three queries at most."""
    found: Mapping[int, Home]
    if isinstance(subject, Piece):
        found = homes_of_pieces([subject.pk])
    elif isinstance(subject, StockLine):
        found = homes_of_lines([subject])
    else:
        found = homes_of_carts([subject.pk])
    return found.get(subject.pk)

"""What somebody at a bin is offered: where to take some, from where to put some back, how many."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, F, Q
from django.utils.translation import gettext as _

from tooling.errors import Unknown
from tooling.models import (
    NOT_FIT,
    Condition,
    KitPosition,
    KitState,
    Person,
    Place,
    PlaceKind,
    StockLine,
)
from tooling.queries.homes import STORAGE_KINDS
from tooling.queries.scan_lookup import look_up
from tooling.queries.stock_pools import POOLED

MOST_KITS = 6
MOST_SOURCES = 6
MOST_PLACES = 200


@dataclass(frozen=True)
class Taker:
    """Somewhere to take some to: a code that says where, how many a kit wants there and when it
    gathers, and how many to offer."""

    code: str
    name: str
    place: str
    quantity: int
    wanted: int | None = None
    gathers_at: datetime | None = None
    place_code: str = ""


@dataclass(frozen=True)
class Elsewhere:
    """Places of one kind to choose from: people, carts, mills."""

    kind: str
    places: tuple[Taker, ...]


@dataclass(frozen=True)
class Source:
    """Somewhere that some lie which belong in the bin: the code of the count there."""

    code: str
    name: str
    quantity: int


@dataclass(frozen=True)
class Hand:
    """A bin as somebody stands before it. Lengths in nm; ``trouble``: why a kit may not have what
    is in it."""

    code: str
    drawing: str
    title: str
    kind: str
    kind_word: str
    unit: str
    face_width_nm: int | None
    bore_nm: int | None
    count: int
    least_count: int
    place: str
    place_code: str
    condition: str
    owner: str
    trouble: str
    takers: tuple[Taker, ...]
    elsewhere: tuple[Elsewhere, ...]
    sources: tuple[Source, ...]

    @property
    def is_shim(self) -> bool:
        """Whether its width is called a thickness and some stay in the stack."""
        return self.kind == "shim"

    @property
    def take(self) -> int:
        """How many the first taker wants."""
        return self.takers[0].quantity if self.takers else 1

    @property
    def put_back(self) -> int:
        return self.sources[0].quantity if self.sources else 0


def hand(code: str, *, person: Person, to: str = "") -> Hand:
    """The bin for this person, going on to ``to`` (a code) if they were. Nine queries at most.

    Raises Unknown ``unknown_code``.
    """
    rows = StockLine.objects.select_related("drawing", "place", "owner").annotate(
        drawn_unit=F("drawing__revisions__unit"),
        drawn_width=F("drawing__revisions__face_width_nm"),
        drawn_bore=F("drawing__revisions__bore_nm"),
    )
    line: Any = rows.filter(code=code.upper(), drawing__revisions__is_current=True).first()
    if line is None:
        raise Unknown("unknown_code", _("No stock bin has the code {code}."), code=code[:60])
    return Hand(
        code=line.code,
        drawing=line.drawing.number,
        title=line.drawing.title,
        kind=line.drawing.kind,
        kind_word=line.drawing.get_kind_display(),
        unit=line.drawn_unit,
        face_width_nm=line.drawn_width,
        bore_nm=line.drawn_bore,
        count=line.count,
        least_count=line.least_count,
        place=line.place.path_name or line.place.name,
        place_code=line.place.code,
        condition=line.get_condition_display(),
        owner=line.owner.name,
        trouble=_trouble(line),
        takers=_takers(line, person, to),
        elsewhere=_elsewhere(),
        sources=_sources(line),
    )


def _trouble(line: StockLine) -> str:
    if line.condition == Condition.HOLD or line.condition in NOT_FIT:
        words = _("What is in this bin is {condition}; no kit may have it.")
        return words.format(condition=line.get_condition_display())
    return ""


def _takers(line: StockLine, person: Person, to: str) -> tuple[Taker, ...]:
    """Where they were going, then the kits that want some, then the person's own hands."""
    kits = _kits(line)
    going = [taker for taker in kits if to and to in (taker.code, taker.place_code)]
    if to and not going:
        going = _going(to)
    mine = Place.objects.filter(person=person, is_active=True).order_by("pk").first()
    own = [Taker(mine.code, _("me"), mine.path_name or mine.name, 1)] if mine else []
    there = {taker.code for taker in going}
    return (*going, *(taker for taker in [*kits, *own] if taker.code not in there))


def _kits(line: StockLine) -> list[Taker]:
    """Open kits with a gathering place that lack some, those that gather first first."""
    rows = (
        KitPosition.objects.filter(
            POOLED, drawing=line.drawing_id, is_open=True, is_staged=False, kit__place__isnull=False
        )
        .order_by()
        .values(
            "kit__number",
            "kit__job__number",
            "kit__place__name",
            "kit__place__code",
            "kit__job__gathers_at",
        )
        .annotate(wanted=Count("pk"))
        .order_by("kit__job__gathers_at", "kit__job__number")[:MOST_KITS]
    )
    return [
        Taker(
            row["kit__number"],
            _("job {job}").format(job=row["kit__job__number"]),
            row["kit__place__name"],
            min(row["wanted"], line.count) or row["wanted"],
            wanted=row["wanted"],
            gathers_at=row["kit__job__gathers_at"],
            place_code=row["kit__place__code"],
        )
        for row in rows
    ]


def _going(to: str) -> list[Taker]:
    found = look_up([], [to])
    code = found.code_of(to)
    if code in found.kits:
        kit = found.kits[code]
        if kit.state == KitState.CLOSED or kit.place is None:
            return []
        return [Taker(code, _("job {job}").format(job=kit.job.number), kit.place.name, 1)]
    place = found.places.get(code)
    if place is None and code in found.stations:
        place = found.stations[code].place
    return [Taker(place.code, place.name, place.path_name, 1)] if place else []


def _elsewhere() -> tuple[Elsewhere, ...]:
    """People, carts and plates, mills. One query."""
    kinds = {
        PlaceKind.PERSON: _("People"),
        PlaceKind.CART: _("Carts"),
        PlaceKind.PLATE: _("Plates"),
        PlaceKind.AREA: _("Mills"),
    }
    named = Q(kind__in=[*kinds][:3]) | Q(mills__isnull=False)
    rows = Place.objects.filter(named, is_active=True).distinct()
    found: dict[str, list[Taker]] = {kind: [] for kind in kinds}
    for place in rows.order_by("walking_order", "path_name")[:MOST_PLACES]:
        kind = place.kind if place.kind in kinds else PlaceKind.AREA
        found[kind].append(Taker(place.code, place.name, place.path_name, 1))
    return tuple(Elsewhere(str(kinds[PlaceKind(k)]), tuple(v)) for k, v in found.items() if v)


def _sources(line: StockLine) -> tuple[Source, ...]:
    """Where else the same lies that is no storage: carts, mills, people."""
    rows = (
        StockLine.objects.filter(
            drawing=line.drawing_id, condition=line.condition, owner=line.owner_id, count__gt=0
        )
        .exclude(pk=line.pk)
        .exclude(place__kind__in=STORAGE_KINDS)
        .select_related("place")
    )
    return tuple(
        Source(row.code, row.place.path_name or row.place.name, row.count)
        for row in rows.order_by("place__walking_order", "place__path_name", "code")[:MOST_SOURCES]
    )


__all__ = ["Hand", "Source", "Taker", "hand"]

"""The Shop page: people, owners, stock bins below their least, and how much there is of all."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import F
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import (
    Drawing,
    Gauge,
    Mill,
    Owner,
    Person,
    Piece,
    Place,
    Role,
    Shop,
    StockLine,
    ToolSet,
)
from tooling.queries.places import StockRow, stock_rows


@dataclass(frozen=True)
class ShopPage:
    name: str
    time_zone: str
    unit: str
    people: int
    owners: int
    gauges: int
    places: int
    mills: int
    drawings: int
    sets: int
    pieces: int
    unseen: int
    stock_lines: int
    short: int


@dataclass(frozen=True)
class PersonRow:
    username: str
    name: str
    roles: tuple[str, ...]
    is_active: bool


def shop_page() -> ShopPage:
    """What there is, in numbers. Twelve queries."""
    shop = Shop.objects.filter(pk=1).first() or Shop(name="")
    return ShopPage(
        name=shop.name,
        time_zone=shop.time_zone,
        unit=shop.unit,
        people=Person.objects.filter(is_active=True).count(),
        owners=Owner.objects.count(),
        gauges=Gauge.objects.count(),
        places=Place.objects.count(),
        mills=Mill.objects.count(),
        drawings=Drawing.objects.count(),
        sets=ToolSet.objects.count(),
        pieces=Piece.objects.count(),
        unseen=Piece.objects.filter(seen_at=None).count(),
        stock_lines=StockLine.objects.count(),
        short=StockLine.objects.filter(count__lt=F("least_count")).count(),
    )


def people_list() -> list[PersonRow]:
    """Everybody with their roles. Two queries."""
    words = {role.value: str(role.label) for role in Role}
    people = Person.objects.prefetch_related("roles").order_by("-is_active", "name", "username")
    return [
        PersonRow(
            person.username,
            person.name,
            tuple(words[value] for value in words if value in {r.role for r in person.roles.all()}),
            person.is_active,
        )
        for person in people
    ]


@dataclass(frozen=True)
class GaugeRow:
    """``is_overdue``: its calibration was due before that day."""

    number: str
    name: str
    unit: str
    resolution_nm: int | None
    uncertainty_nm: int | None
    due_on: date | None
    calibrated_on: date | None
    certificate: str
    least_nm: int | None
    most_nm: int | None
    is_overdue: bool = False

    @property
    def is_uncalibrated(self) -> bool:
        """Nothing says that it ever was calibrated."""
        return self.calibrated_on is None and self.due_on is None


def gauge_list(*, on: date | None = None) -> list[GaugeRow]:
    """Every gauge by number. One query."""
    fields = (
        "number", "name", "unit", "resolution_nm", "uncertainty_nm", "due_on", "calibrated_on",
        "certificate", "least_nm", "most_nm",
    )  # fmt: skip
    rows = Gauge.objects.order_by("number").values(*fields)
    return [
        GaugeRow(
            **row,
            is_overdue=on is not None and row["due_on"] is not None and row["due_on"] < on,
        )
        for row in rows
    ]


def stock_list(*, text: str = "", short_only: bool = False) -> tuple[StockRow, ...]:
    """Bins of pooled stock by bore and width. One query."""
    lines = StockLine.objects.all()
    if text:
        key = text.strip().upper()
        lines = lines.filter(drawing__number_key__contains=key) | lines.filter(code=key)
    if short_only:
        lines = lines.filter(count__lt=F("least_count"))
    return stock_rows(lines)


def stock_line(code: str) -> StockRow:
    """One bin. One query. Raises Unknown ``unknown_code``."""
    found = stock_rows(StockLine.objects.filter(code=code.upper()))
    if not found:
        raise Unknown("unknown_code", _("No stock bin has the code {code}."), code=code)
    return found[0]

"""Life and money: per set and piece the strip run, cuts used and left, cost per length, and what is
at risk."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal

from django.db.models import Count, Q, Sum

from tooling.models import Allotment, Piece, Shop, Work, WorkKind
from tooling.queries.settings import given_settings
from tooling.spreadsheets.formatting import natural

CUTS = (WorkKind.REGRIND, WorkKind.RECONTOUR)
CUT_DIMENSIONS = ("drive_diameter", "root_diameter", "outside_diameter")
NM_PER_KM = 10**12
AT_RISK = ("lost", "customer", "sister", "grinder")
FEW = 20
"""So many pieces stand in one part of a long list."""


@dataclass(frozen=True)
class LifeRow:
    """One piece. ``cuts_left``: at the usual stock per cut; None where no least size is kept.
    Money in hundredths; ``per_km``: spent so far for each km of strip that ran, None where nothing
    is known or ran. ``value``: what it is insured at, else what a new one costs."""

    piece: str
    mark: str
    drawing: str
    kind_word: str
    sets: tuple[str, ...]
    owner: str
    place: str
    run_nm: int
    strokes: int
    cuts: int
    cuts_left: int | None
    spent_cents: int | None
    new_cents: int | None
    value_cents: int | None
    is_out: bool

    @property
    def name(self) -> str:
        """By what it is called in the shop."""
        return self.mark or self.drawing

    @property
    def per_km(self) -> int | None:
        """Hundredths for each km."""
        if self.spent_cents is None or not self.run_nm:
            return None
        return round(Decimal(self.spent_cents) * NM_PER_KM / self.run_nm)


@dataclass(frozen=True)
class LifeSum:
    """All pieces of one set, or the whole list, which has no ``per_km``: its sets run different
    strip. ``unpriced``: pieces without any price."""

    name: str
    pieces: int
    run_nm: int
    cuts: int
    cuts_left_least: int | None
    spent_cents: int | None
    value_cents: int | None
    at_risk_cents: int | None
    unpriced: int
    per_km: int | None


@dataclass(frozen=True)
class LifePage:
    """``sums``: one for each set, then the whole; ``rows`` of the chosen set, or of all, by name,
    and the same in ``parts`` that are folded one by one where the screen is narrow."""

    sums: tuple[LifeSum, ...]
    whole: LifeSum
    rows: tuple[LifeRow, ...]
    chosen: str
    currency: str

    @property
    def sums_shown(self) -> tuple[LifeSum, ...]:
        """Of the chosen set, or of all."""
        chosen = self.chosen.upper()
        return tuple(each for each in self.sums if not chosen or each.name.upper() == chosen)

    @property
    def parts(self) -> tuple[tuple[LifeRow, ...], ...]:
        size = FEW if len(self.rows) > 2 * FEW else max(1, len(self.rows))
        return tuple(self.rows[n : n + size] for n in range(0, len(self.rows), size))


def cuts_left(now_nm: int | None, least_nm: int | None, stock_nm: int) -> int | None:
    """Whole cuts of so much on diameter down to the least allowed: 6.000 to 5.700 at 0.030 is 10.
    None where a size is not known."""
    if now_nm is None or least_nm is None or stock_nm <= 0:
        return None
    return max(0, (now_nm - least_nm) // stock_nm)


def life_rows(*, tool_set: str = "") -> list[LifeRow]:
    """Every piece that ran, was worked on, may be cut or is worth something, by code. Four
    queries."""
    asked = Q(length_run_nm__gt=0) | Q(strokes_run__gt=0) | Q(value_cents__isnull=False)
    asked |= Q(revision__new_cost_cents__isnull=False) | Q(pk__in=Work.objects.values("piece_id"))
    for name in CUT_DIMENSIONS:
        asked |= Q(**{f"revision__least_{name}_nm__isnull": False})
    rows = Piece.objects.filter(asked).exclude(place__kind="scrap")
    if tool_set:
        rows = rows.filter(
            allotments__copy__tool_set__number__iexact=tool_set.replace("\x00", "")
        ).distinct()
    pieces = list(rows.select_related("drawing", "revision", "owner", "place").order_by("code"))
    sets = _sets()
    work = _work()
    given = given_settings(["usual_stock_per_cut"])
    stock = {unit: int(given.value("usual_stock_per_cut", unit=unit)) for unit in ("mm", "in")}
    return [
        _row(piece, sets.get(piece.pk, ()), work.get(piece.pk, (0, 0)), stock) for piece in pieces
    ]


def _sets() -> dict[int, tuple[str, ...]]:
    found: dict[int, set[str]] = defaultdict(set)
    rows = Allotment.objects.filter(piece__isnull=False).order_by()
    for piece, number in rows.values_list("piece_id", "copy__tool_set__number").distinct():
        if piece is not None:
            found[piece].add(number)
    return {piece: tuple(sorted(numbers)) for piece, numbers in found.items()}


def _work() -> dict[int, tuple[int, int]]:
    """Piece id → (cuts, hundredths spent on work)."""
    rows = Work.objects.filter(corrected_by=None).order_by().values("piece_id")
    totals = rows.annotate(cuts=Count("pk", filter=Q(kind__in=CUTS)), spent=Sum("cost_cents"))
    return {row["piece_id"]: (row["cuts"], row["spent"] or 0) for row in totals}


def _row(
    piece: Piece, sets: tuple[str, ...], work: tuple[int, int], stock: dict[str, int]
) -> LifeRow:
    revision = piece.revision
    left = [
        cuts_left(
            getattr(piece, f"now_{name}_nm")
            or getattr(piece, f"made_{name}_nm")
            or getattr(revision, f"{name}_nm"),
            getattr(revision, f"least_{name}_nm"),
            stock["in" if piece.unit == "in" else "mm"],
        )
        for name in CUT_DIMENSIONS
    ]
    known = [each for each in left if each is not None]
    cuts, spent = work
    new = revision.new_cost_cents
    paid = None if new is None and not spent else (new or 0) + spent
    return LifeRow(
        piece=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        kind_word=str(piece.drawing.get_kind_display()),
        sets=sets,
        owner=piece.owner.name,
        place=piece.place.path_name or piece.place.name,
        run_nm=piece.length_run_nm,
        strokes=piece.strokes_run,
        cuts=cuts,
        cuts_left=min(known) if known else None,
        spent_cents=paid,
        new_cents=new,
        value_cents=piece.value_cents if piece.value_cents is not None else new,
        is_out=piece.place.kind in AT_RISK,
    )


def life_page(*, tool_set: str = "") -> LifePage:
    """Sums of every set, and the pieces of the chosen one. Six queries."""
    rows = life_rows()
    by_set: dict[str, list[LifeRow]] = defaultdict(list)
    for row in rows:
        for number in row.sets:
            by_set[number].append(row)
    chosen = [row for row in rows if not tool_set or tool_set in row.sets]
    return LifePage(
        sums=tuple(_sum(number, by_set[number]) for number in sorted(by_set)),
        whole=replace(_sum("", rows), per_km=None),
        rows=tuple(sorted(chosen, key=lambda row: (natural(row.name), row.piece))),
        chosen=tool_set,
        currency=Shop.objects.values_list("currency", flat=True).first() or "",
    )


def _sum(name: str, rows: Iterable[LifeRow]) -> LifeSum:
    """What is at risk: pieces that are out of the house or lost, and those worn to their last."""
    mine = list(rows)
    left = [row.cuts_left for row in mine if row.cuts_left is not None]
    spent = _total(row.spent_cents for row in mine)
    longest = max((row.run_nm for row in mine), default=0)
    risky = [row for row in mine if row.is_out or row.cuts_left == 0]
    return LifeSum(
        name=name,
        pieces=len(mine),
        run_nm=longest,
        cuts=sum(row.cuts for row in mine),
        cuts_left_least=min(left, default=None),
        spent_cents=spent,
        value_cents=_total(row.value_cents for row in mine),
        at_risk_cents=_total(row.value_cents for row in risky),
        unpriced=sum(row.spent_cents is None for row in mine),
        per_km=round(Decimal(spent) * NM_PER_KM / longest) if longest and spent else None,
    )


def _total(cents: Iterable[int | None]) -> int | None:
    """The sum of what is known; None where nothing is."""
    known = [each for each in cents if each is not None]
    return sum(known) if known else None

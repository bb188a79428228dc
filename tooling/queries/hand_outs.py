"""What is about to be handed out, line by line, and the slip that goes with what was."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from uuid import UUID

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError, Unknown
from tooling.models import (
    Kit,
    KitPosition,
    KitState,
    Movement,
    Piece,
    Place,
    PlaceKind,
    StockLine,
    ToolSet,
)
from tooling.queries.loans import Loan, Wanted, loans
from tooling.queries.piece_page import mass_kg
from tooling.queries.scan_lookup import look_up

Kind = Literal["piece", "bin", "cart"]


@dataclass(frozen=True)
class OutLine:
    """One thing on the list: what and where it is, how much of it goes, what to think of first.

    ``asked`` is what was scanned, ``most`` how many there are of a bin.
    """

    asked: str
    kind: Kind
    code: str
    mark: str
    drawing: str
    owner: str
    place: str
    quantity: int
    most: int
    mass_kg: float | None
    wanted: Wanted | None
    piece_id: int | None = None
    line_id: int | None = None
    cart_id: int | None = None


def out_lines(asked: Sequence[tuple[str, int | None]]) -> list[OutLine]:
    """The things named by codes, marks or old numbers, each once, in the order scanned; a bin with
    how many of it, else all. A set is not among them: its pieces are.

    Nine queries at most. Raises what ``Lookup.subject`` raises.
    """
    lookup = look_up([code for code, _quantity in asked], [])
    subjects = [(code, quantity, lookup.subject(code)) for code, quantity in asked]
    pieces = Piece.objects.select_related("drawing", "revision", "owner", "place").in_bulk(
        {subject for _code, _quantity, subject in subjects if isinstance(subject, int)}
    )
    wanted = _wanted(pieces)
    on_carts = _on_carts([each for _code, _quantity, each in subjects if isinstance(each, Place)])
    found: dict[str, OutLine] = {}
    for code, quantity, subject in subjects:
        if isinstance(subject, int):
            line = _of_piece(code, pieces[subject], wanted.get(subject))
        elif isinstance(subject, StockLine):
            line = _of_bin(code, subject, quantity)
        elif isinstance(subject, Place):
            line = _of_cart(code, subject, *on_carts[subject.pk])
        else:
            raise _no_single_thing(code, subject)
        found.setdefault(line.code, line)
    return list(found.values())


def _no_single_thing(code: str, subject: ToolSet | Kit) -> ToolingError:
    return ToolingError(
        "not_handed_out",
        _("{label} is a kit; it is gathered here, not handed out. Scan the cart or the pieces."),
        label=code,
    )


def _wanted(ids: Iterable[int]) -> dict[int, Wanted]:
    claims = KitPosition.objects.filter(piece__in=list(ids), is_open=True)
    rows = claims.order_by("-kit__job__gathers_at").values_list(
        "piece_id", "kit__number", "kit__job__number", "kit__job__gathers_at"
    )
    return {pk: Wanted(kit, job, gathers) for pk, kit, job, gathers in rows if pk is not None}


def _of_piece(asked: str, piece: Piece, wanted: Wanted | None) -> OutLine:
    return OutLine(
        asked=asked,
        kind="piece",
        code=piece.code,
        mark=piece.mark,
        drawing=piece.drawing.number,
        owner=piece.owner.name,
        place=piece.place.path_name or piece.place.name,
        quantity=1,
        most=1,
        mass_kg=mass_kg(piece),
        wanted=wanted,
        piece_id=piece.pk,
    )


def _of_bin(asked: str, line: StockLine, quantity: int | None) -> OutLine:
    return OutLine(
        asked=asked,
        kind="bin",
        code=line.code,
        mark="",
        drawing=line.drawing.number,
        owner="",
        place=line.place.path_name or line.place.name,
        quantity=quantity if quantity is not None else max(line.count, 1),
        most=line.count,
        mass_kg=None,
        wanted=None,
        line_id=line.pk,
    )


def _of_cart(asked: str, cart: Place, pieces: int, wanted: Wanted | None) -> OutLine:
    return OutLine(
        asked=asked,
        kind="cart",
        code=cart.code,
        mark=cart.name,
        drawing="",
        owner="",
        place=cart.path_name,
        quantity=pieces,
        most=pieces,
        mass_kg=None,
        wanted=wanted,
        cart_id=cart.pk,
    )


def _on_carts(carts: Sequence[Place]) -> dict[int, tuple[int, Wanted | None]]:
    """Cart id → how many pieces are on it, and the open kit that is gathered there. Two queries,
    none for no cart."""
    if not carts:
        return {}
    inside = Q()
    for cart in carts:
        inside |= Q(place__path__startswith=cart.path)
    pieces = list(Piece.objects.filter(inside).values_list("place__path", flat=True))
    kits = list(
        Kit.objects.filter(inside).exclude(state=KitState.CLOSED).select_related("job", "place")
    )
    found: dict[int, tuple[int, Wanted | None]] = {}
    for cart in carts:
        count = sum(path.startswith(cart.path) for path in pieces)
        kit = next((k for k in kits if k.place and k.place.path.startswith(cart.path)), None)
        wanted = Wanted(kit.number, kit.job.number, kit.job.gathers_at) if kit else None
        found[cart.pk] = (count, wanted)
    return found


@dataclass(frozen=True)
class Slip:
    """What a hand-out slip says: to whom, what, due back when. ``place_code`` is scanned to find
    the place again; ``act`` is set where the slip is of one hand-out only."""

    place: str
    place_code: str
    place_kind: str
    place_kind_word: str
    loans: tuple[Loan, ...]
    due_on: date | None
    reason: str
    act: UUID | None = None

    @property
    def count(self) -> int:
        return sum(loan.quantity for loan in self.loans if loan.kind != "cart")

    @property
    def leaves(self) -> bool:
        """Out of the building, not only in somebody's hands."""
        return self.place_kind != PlaceKind.PERSON


def slip_of_place(code: str, *, at: datetime) -> Slip:
    """All that is out at a place now. Twelve queries. Raises Unknown ``unknown_code``."""
    place = Place.objects.filter(code=code.upper()).first()
    if place is None:
        raise Unknown("unknown_code", _("No place has the code {code}."), code=code[:60])
    rows = [loan for loan in loans(at=at) if loan.place_code == place.code]
    return _slip(place, rows, None)


def slip_of_act(act: UUID, *, at: datetime) -> Slip:
    """What one hand-out took away and is still out, by the id of the act or of any of its rows.

    Thirteen queries. Raises Unknown ``unknown_scan``.
    """
    first = Movement.objects.filter(uuid=act, to__isnull=False).select_related("to").first()
    if first is None or first.to is None:
        raise Unknown(
            "unknown_scan", _("No hand-out {act} is known here. Look for it under Out."), act=act
        )
    key = first.scan or first.uuid
    same = Movement.objects.filter(received_at=first.received_at, scan=key)
    keys = {first.uuid, *same.values_list("uuid", flat=True)}
    return _slip(first.to, [loan for loan in loans(at=at) if loan.id in keys], key)


def _slip(place: Place, rows: Sequence[Loan], act: UUID | None) -> Slip:
    days = {loan.due_on for loan in rows}
    reasons = {loan.reason for loan in rows}
    return Slip(
        place=place.path_name or place.name,
        place_code=place.code,
        place_kind=place.kind,
        place_kind_word=str(place.get_kind_display()),
        loans=tuple(sorted(rows, key=lambda loan: (loan.kind, loan.drawing, loan.mark, loan.code))),
        due_on=days.pop() if len(days) == 1 else None,
        reason=reasons.pop() if len(reasons) == 1 else "",
        act=act,
    )

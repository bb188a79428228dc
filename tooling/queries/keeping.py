"""What the pages of a piece, a place and a set say of keeping: where things belong, what is out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tooling.models import Piece, Place
from tooling.queries.homes import NO_HOME_KINDS, Belongs, belongs, home_of
from tooling.queries.loans import Loan, loans
from tooling.queries.out import away_of


@dataclass(frozen=True)
class PieceKeeping:
    """Where a piece belongs; its loan when it is out."""

    belongs: Belongs
    own_home: str
    loan: Loan | None


def piece_keeping(code: str, *, at: datetime) -> PieceKeeping:
    """Of the piece of this code. Six queries at most, eleven more when it is out."""
    piece = Piece.objects.select_related("place", "home", "drawing").get(code=code)
    out = away_of([piece.place])
    loan = next((each for each in loans(at=at) if each.code == code), None) if out else None
    own = piece.home.path_name if piece.home else ""
    return PieceKeeping(belongs(piece, home_of(piece)), own, loan)


@dataclass(frozen=True)
class PlaceKeeping:
    """What a place's page offers: the home of a cart; how much lies here, to be put away or said
    to belong here; how many pieces belong here; whether it is a place away."""

    belongs: Belongs | None
    own_home: str
    here: int
    belonging: int
    is_away: bool
    leaves: bool
    may_be_home: bool


def place_keeping(code: str) -> PlaceKeeping:
    """Of the place of this code. Seven queries at most."""
    place = Place.objects.select_related("parent", "home").get(code=code)
    away = away_of([place]).get(place.pk)
    return PlaceKeeping(
        belongs=belongs(place, home_of(place)) if place.moves else None,
        own_home=place.home.path_name if place.home else "",
        here=Piece.objects.filter(place__path__startswith=place.path).count(),
        belonging=Piece.objects.filter(home__path__startswith=place.path).count(),
        is_away=away is not None,
        leaves=away is not None and away.kind != "person",
        may_be_home=place.kind not in NO_HOME_KINDS,
    )


@dataclass(frozen=True)
class CartChoice:
    """A cart or plate with something on it, to be put away."""

    code: str
    name: str
    where: str
    pieces: int


def loaded_carts() -> list[CartChoice]:
    """Carts and plates that carry pieces, by where they stand. Two queries."""
    rows = Place.objects.filter(kind__in=("cart", "plate"), is_active=True)
    carts = list(rows.select_related("parent").order_by("parent__walking_order", "name"))
    paths = Piece.objects.filter(place__path__contains="/C").values_list("place__path", flat=True)
    counts: dict[str, int] = {}
    for path in paths:
        for code in {code for code in path.split("/") if code.startswith("C")}:
            counts[code] = counts.get(code, 0) + 1
    return [
        CartChoice(
            cart.code, cart.name, cart.parent.path_name if cart.parent else "", counts[cart.code]
        )
        for cart in carts
        if counts.get(cart.code)
    ]

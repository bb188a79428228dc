"""What wear says of pieces for a job: how much strip each is sure to last, and which is beyond its
limit as it was read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tooling.engineering.wear import Prior
from tooling.models import Piece, WearPool, WearSays, WearState
from tooling.queries.strip_left import StripLeft, strip_left_of
from tooling.queries.wear_prior import EVERYTHING


@dataclass(frozen=True)
class PointLeft:
    """A gauge point of a piece. ``is_out``: its newest reading is beyond its limit, guard band and
    all."""

    point: str
    left: StripLeft
    is_out: bool


@dataclass(frozen=True)
class Worn:
    """By piece id its points of which a length is known, the one with the least left in strip like
    that which was read first; of pieces of which nothing is known, nothing."""

    by_piece: dict[int, list[PointLeft]]

    def knows(self, piece_id: int) -> bool:
        """Whether any of its points tells a length."""
        return piece_id in self.by_piece

    def out(self, piece_id: int) -> str | None:
        """The point that was read beyond its limit."""
        points = self.by_piece.get(piece_id, ())
        return next((each.point for each in points if each.is_out), None)

    def lasts(self, piece_id: int, *, length_nm: int, strip_class: str) -> bool:
        """Whether it is sure to last so much strip of that class."""
        run = {strip_class: float(length_nm)}
        return all(each.left.is_sure_of(run) for each in self.by_piece.get(piece_id, ()))

    def least(self, piece_id: int, strip_class: str) -> tuple[str, int]:
        """The point with the least left in that class of strip, and what is sure of it, nm."""
        points = self.by_piece[piece_id]
        lengths = [(each.left.left_nm("sure", strip_class) or 0, each.point) for each in points]
        left_nm, point = min(lengths, key=lambda each: each[0])
        return point, left_nm


NOTHING_WORN = Worn({})


def worn_of(pieces: Iterable[Piece]) -> Worn:
    """Only pieces that have run are asked about. At most two queries."""
    ran = [piece.pk for piece in pieces if piece.length_run_nm > 0]
    if not ran:
        return NOTHING_WORN
    rows = WearState.objects.filter(piece__in=ran, point__is_in_use=True, left_sure_m__isnull=False)
    rows = rows.exclude(says=WearSays.NOTHING).order_by("left_sure_m", "pk")
    told = list(
        rows.values_list(
            "piece_id", "point__name", "left_half_m", "left_sure_m", "equivalent_m", "numbers"
        )
    )
    if not told:
        return NOTHING_WORN
    shared = WearPool.objects.filter(key=EVERYTHING).values_list("numbers", flat=True).first()
    prior = Prior.from_dict({**shared, "pools": {}}) if shared else Prior()
    found: dict[int, list[PointLeft]] = {}
    for piece, point, half, sure, ran_m, numbers in told:
        left = strip_left_of(half, sure, ran_m, numbers, prior)
        is_out = numbers.get("conformity") == "out"
        found.setdefault(piece, []).append(PointLeft(point, left, is_out))
    return Worn(found)

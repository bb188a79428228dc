"""What wear says of pieces for a job: how much strip each is sure to last, and which is beyond its
limit as it was read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tooling.engineering.wear import Prior
from tooling.models import Piece, WearPool, WearSays, WearState
from tooling.queries.wear_prior import EVERYTHING

M_PER_NM = 1e-9


@dataclass(frozen=True)
class WearOf:
    """Of one piece, by its gauge point with the least left: m of cold rolled strip that it is sure
    to last. ``is_out``: the newest reading of a point is beyond its limit, guard band and all."""

    point: str
    left_m: float
    is_out: bool


@dataclass(frozen=True)
class Worn:
    """By piece id; of pieces without a gauge point, or of which nothing is known, nothing."""

    by_piece: dict[int, WearOf]
    prior: Prior

    def of(self, piece_id: int) -> WearOf | None:
        return self.by_piece.get(piece_id)

    def lasts(self, piece_id: int, *, length_nm: int, strip_class: str) -> bool:
        """Whether it is sure to last so much strip of that class."""
        found = self.by_piece.get(piece_id)
        return found is None or self.equivalent_m(length_nm, strip_class) <= found.left_m

    def equivalent_m(self, length_nm: int, strip_class: str) -> float:
        return self.prior.factor(strip_class) * length_nm * M_PER_NM

    def left_nm(self, piece_id: int, strip_class: str) -> int:
        """What is left of that class of strip."""
        return round(self.by_piece[piece_id].left_m / self.prior.factor(strip_class) / M_PER_NM)


NOTHING_WORN = Worn({}, Prior())


def worn_of(pieces: Iterable[Piece]) -> Worn:
    """Only pieces that have run are asked about. At most two queries."""
    ran = [piece.pk for piece in pieces if piece.length_run_nm > 0]
    if not ran:
        return NOTHING_WORN
    rows = WearState.objects.filter(piece__in=ran, point__is_in_use=True, left_sure_m__isnull=False)
    rows = rows.exclude(says=WearSays.NOTHING).order_by("left_sure_m", "pk")
    found: dict[int, WearOf] = {}
    for piece, point, left, numbers in rows.values_list(
        "piece_id", "point__name", "left_sure_m", "numbers"
    ):
        is_out = numbers.get("conformity") == "out"
        before = found.get(piece)
        if before is None or (is_out and not before.is_out):
            found[piece] = WearOf(point, left or 0.0, is_out)
    if not found:
        return NOTHING_WORN
    shared = WearPool.objects.filter(key=EVERYTHING).values_list("numbers", flat=True).first()
    prior = Prior.from_dict({**shared, "pools": {}}) if shared else Prior()
    return Worn(found, prior)

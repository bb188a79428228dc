"""What the conditions of pieces and stock depend on, loaded once for all of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from tooling.models import DrawingRevision, Job, Piece
from tooling.queries.bindings import Binding, OpenKit
from tooling.queries.consents import NO_CONSENTS, Consents
from tooling.queries.loans import DueOfPiece
from tooling.queries.old_pieces import Chains, Ruling, ruling
from tooling.queries.order_holds import OrderHold
from tooling.queries.regrind_intervals import Interval
from tooling.queries.settings import Given
from tooling.queries.shafts import FitsOn
from tooling.queries.stock_pools import Pools
from tooling.queries.strokes import Strokes
from tooling.queries.wear_conditions import NOTHING_WORN, Worn
from tooling.queries.whereabouts import Whereabouts


@dataclass(frozen=True)
class Claim:
    """An open kit's claim, and the position it is for."""

    kit: OpenKit
    holds: bool
    station: int
    pass_number: int
    shaft: str
    order: int


@dataclass(frozen=True)
class Facts:
    """What is known around one job.

    ``all_claims`` by piece id, of every open kit; ``pools``: what is counted, and who wants it;
    ``is_fetching``: somebody is about to fetch, so bins are chosen whenever the kit gathers.
    ``others`` are the open kits but the job's own. ``intervals`` by piece id; ``share`` is
    how much of the usual length may be run; ``measured``: pieces of which a diameter was measured
    after their last run. ``given``: the shop's settings about wear and lifting.
    ``own_path``: the path of the kit's own gathering place. ``chains``: by drawing id, its
    revisions in order, where there were several. ``consents``: what owners said of the pieces.
    ``strokes``: by piece id, of line tooling that is to be sharpened now and then. ``dues``: by
    piece id, when what is out is due back; ``today`` by the shop's clock. ``orders``: by piece id,
    the order for work that holds it.
    """

    job: Job
    binding: Binding
    kit_id: int | None
    revisions: Mapping[int, DrawingRevision]
    others: Mapping[int, OpenKit]
    all_claims: Mapping[int, tuple[Claim, ...]]
    away: Whereabouts
    intervals: Mapping[int, Interval]
    share: float
    regrinds_least: int
    fits: FitsOn
    given: Given
    own_path: str = ""
    measured: frozenset[int] = frozenset()
    chains: Chains = field(default_factory=dict)
    consents: Consents = NO_CONSENTS
    pools: Pools = field(default_factory=Pools)
    is_fetching: bool = False
    strokes: Mapping[int, Strokes] = field(default_factory=dict)
    dues: Mapping[int, DueOfPiece] = field(default_factory=dict)
    today: date | None = None
    worn: Worn = NOTHING_WORN
    orders: Mapping[int, OrderHold] = field(default_factory=dict)

    def ruling(self, piece: Piece) -> Ruling | None:
        """What newer revisions say of the piece; None for one to the current revision."""
        return ruling(piece.revision, self.chains.get(piece.drawing_id, ()))

    def claims(self, piece_id: int) -> list[Claim]:
        """Other kits' claims on a piece."""
        return [c for c in self.all_claims.get(piece_id, ()) if c.kit.id in self.others]

    def claims_before(self, piece_id: int) -> list[Claim]:
        """Those of jobs that bind at the same time and gather first."""
        return [claim for claim in self.claims(piece_id) if self.comes_before(claim)]

    def comes_before(self, claim: Claim) -> bool:
        """Whether the claim's job binds at the same time and gathers first."""
        other = claim.kit.binding
        return other.overlaps(self.binding) and other.is_before(self.binding)

    def may_wear_out(self, piece_id: int) -> bool:
        """Whether a gauge point of the piece may reach its limit in the job."""
        return not self.worn.lasts(
            piece_id, length_nm=self.job.length_nm, strip_class=self.job.strip_class
        )

    def is_over_usual(self, piece_id: int) -> bool:
        """Whether the job takes the piece beyond the usual length between regrinds, where no gauge
        point tells better."""
        if self.worn.knows(piece_id):
            return False
        interval = self.intervals.get(piece_id)
        if interval is None or interval.regrinds < self.regrinds_least or not self.job.length_nm:
            return False
        return interval.since_nm + self.job.length_nm > interval.usual_nm * self.share

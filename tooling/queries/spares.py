"""Free pieces and stock that could fill a position in another's place."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q

from tooling.models import (
    NOT_FIT,
    Allotment,
    Condition,
    Job,
    KitPosition,
    Piece,
    RegrindOrderLine,
)
from tooling.queries.bindings import Binding, OpenKit
from tooling.queries.consents import Consents, consents_about
from tooling.queries.old_pieces import Chains, ruling
from tooling.queries.strokes import strokes_of
from tooling.queries.whereabouts import Whereabouts

UNUSABLE = (*NOT_FIT, Condition.HOLD)
WEARS = ("drive_diameter", "root_diameter", "outside_diameter", "face_width")


@dataclass(frozen=True)
class Spare:
    """A free, fit piece; ``is_allotted``: it normally fills a position of some set."""

    piece: Piece
    is_allotted: bool


@dataclass(frozen=True)
class Spares:
    """Pieces by drawing id, each drawing's by code."""

    pieces: Mapping[int, tuple[Spare, ...]]


def below_least(piece: Piece) -> str:
    """The first dimension measured below its least allowed one; empty when none is."""
    for name in WEARS:
        now = getattr(piece, f"now_{name}_nm")
        least = getattr(piece.revision, f"least_{name}_nm")
        if now is not None and least is not None and now < least:
            return name
    return ""


@dataclass(frozen=True)
class Looking:
    """Who looks for spares: a job and its kit, beside the other open kits.

    ``chains``: by drawing id, its revisions in order, where there were several.
    What lies in a bin in a gathering place is for that kit, and counted there: no spare for any.
    """

    job: Job
    kit_id: int | None
    others: Mapping[int, OpenKit]
    chains: Chains
    away: Whereabouts
    own_path: str = ""

    def may_use(self, piece: Piece, consents: Consents) -> bool:
        """Fit, within reach, to a usable revision, and its owner lets the job have it."""
        ruled = ruling(piece.revision, self.chains.get(piece.drawing_id, ()))
        return (
            (ruled is None or ruled.is_usable)
            and piece.condition not in UNUSABLE
            and consents.lets(piece, self.job)
            and not below_least(piece)
            and self.away.beyond_reach(piece.place) is None
        )

    def binding_kits(self) -> set[int]:
        """The kits whose claims stand against this job's, its own included."""
        mine = Binding.of(self.job)
        bound = {kit.id for kit in self.others.values() if kit.binding.overlaps(mine)}
        return bound if self.kit_id is None else bound | {self.kit_id}


def spares(looking: Looking, drawings: Collection[int]) -> Spares:
    """What is free of these drawings: claimed neither by the job's own kit nor by one that binds
    it at the same time, nor staged for any, nor on an order for work. One query, one more where an
    owner's consent matters, two where line tooling made strokes; none without drawings."""
    return Spares(_pieces(looking, drawings) if drawings else {})


def _pieces(looking: Looking, drawings: Collection[int]) -> dict[int, tuple[Spare, ...]]:
    claims = KitPosition.objects.filter(piece=OuterRef("pk"), is_open=True)
    claimed = claims.filter(Q(holds_piece=True) | Q(kit__in=looking.binding_kits()))
    ordered = RegrindOrderLine.objects.filter(piece=OuterRef("pk"), is_open=True)
    rows = (
        Piece.objects.filter(drawing__in=drawings)
        .exclude(condition__in=UNUSABLE)
        .filter(~Exists(claimed), ~Exists(ordered))
        .annotate(is_allotted=Exists(Allotment.objects.filter(piece=OuterRef("pk"))))
        .select_related("revision", "owner", "place")
        .order_by("code")
    )
    by: dict[int, list[Spare]] = {}
    free = list(rows)
    consents = consents_about(free, [looking.job])
    blunt = {pk for pk, strokes in strokes_of(free).items() if strokes.is_over}
    for piece in free:
        if piece.pk not in blunt and looking.may_use(piece, consents):
            by.setdefault(piece.drawing_id, []).append(Spare(piece, piece.is_allotted))
    return {drawing: tuple(found) for drawing, found in by.items()}

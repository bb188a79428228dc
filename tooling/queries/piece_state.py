"""The state of a piece that no job asks for: one word that says whether it can be had.

What a piece is *for a job* (worn, taken, missing …) is another question, asked per kit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from tooling.models import AWAY_KINDS, Condition, KitPosition, Place, PlaceKind


class PieceState(TextChoices):
    """Where a piece stands; the first that is true counts."""

    SCRAPPED = "scrapped", _("scrapped")
    LOST = "lost", _("lost")
    HELD = "held", _("held")
    OUT = "out", _("out of the shop's hands")
    MOUNTED = "mounted", _("mounted on a mill")
    STAGED = "staged", _("staged for a kit")
    NOT_PLACED = "not_placed", _("not yet placed")
    HERE = "here", _("in its place")


_BY_PLACE: Mapping[str, PieceState] = {
    PlaceKind.SCRAP: PieceState.SCRAPPED,
    PlaceKind.LOST: PieceState.LOST,
    **dict.fromkeys(AWAY_KINDS, PieceState.OUT),
    PlaceKind.STATION: PieceState.MOUNTED,
    PlaceKind.UNKNOWN: PieceState.NOT_PLACED,
}


def special_places() -> dict[str, str]:
    """Code → kind of every place that by itself says the state of what is in it. One query."""
    rows = Place.objects.filter(kind__in=list(_BY_PLACE))
    return dict(rows.values_list("code", "kind"))


def staged_pieces(piece_ids: Iterable[int]) -> set[int]:
    """Those of the pieces that stand staged in an open kit. One query."""
    rows = KitPosition.objects.filter(piece__in=list(piece_ids), is_open=True, is_staged=True)
    return {pk for pk in rows.values_list("piece_id", flat=True) if pk is not None}


def piece_state(
    *, condition: str, path: str, is_staged: bool, special: Mapping[str, str]
) -> PieceState:
    """The state from condition, the path of the piece's place, and whether a kit has it staged.

    A box at the grinder is out as the grinder is: every place on the path speaks.
    """
    kinds = {special[code] for code in path.split("/") if code in special}
    said = {_BY_PLACE[kind] for kind in kinds}
    if condition == Condition.HOLD:
        said.add(PieceState.HELD)
    if is_staged:
        said.add(PieceState.STAGED)
    return next((state for state in PieceState if state in said), PieceState.HERE)

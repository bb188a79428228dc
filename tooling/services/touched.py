"""Tells the open screens of kits that a piece or a set under them has changed."""

from __future__ import annotations

from collections.abc import Iterable

from tooling.models import Kit, KitPosition, KitState
from tooling.services.write import bump


def touch_kits_of(*, pieces: Iterable[int] = (), drawings: Iterable[int] = ()) -> None:
    """Bump every open kit that claims one of these pieces or calls for one of these drawings.

    Call inside the write of the cause.
    """
    positions = KitPosition.objects.filter(is_open=True)
    ids = set(positions.filter(piece_id__in=set(pieces)).values_list("kit_id", flat=True))
    wanted = set(drawings)
    if wanted:
        ids |= set(positions.filter(drawing_id__in=wanted).values_list("kit_id", flat=True))
    bump(ids)


def touch_kits_for(*, tool_set: int, mill: int | None = None) -> None:
    """Bump every open kit of a set, on one mill alone where it is given: what its sheet says has
    changed. Call inside the write of the cause."""
    kits = Kit.objects.exclude(state=KitState.CLOSED).filter(job__tool_set=tool_set)
    if mill is not None:
        kits = kits.filter(job__mill=mill)
    bump(kits.values_list("pk", flat=True))

"""Carts that two devices put in two places at about the same time: kept, to be looked at.

Apart from ``contradictions``, which moves carts to settle such a case.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from tooling.models import Contradiction, ContradictionKind, Movement, Place, PlaceKind
from tooling.models.shop import MOVING_KINDS

AT_ABOUT_THE_SAME_TIME = timedelta(minutes=2)
COMES_AND_GOES = (*MOVING_KINDS, PlaceKind.PERSON)
"""To and from these things are moved all day: being there and elsewhere within minutes is usual."""


def find_in_cart(*, at: datetime, cart: Place, to: Place, added: Movement) -> None:
    """Keep it where a row just written contradicts where the cart stood. ``cart``: as it was
    before. No query where nothing is suspected, else one, and one more where it is kept."""
    placed, first = cart.placed_effective_at, cart.placed_by_id
    if to.pk == cart.parent_id or placed is None or first is None or added.device_id is None:
        return
    if abs(added.effective_at - placed) > AT_ABOUT_THE_SAME_TIME or to.kind in COMES_AND_GOES:
        return
    if not _is_elsewhere(Movement.objects.select_related("to").get(pk=first), to, added):
        return
    Contradiction.objects.create(
        kind=ContradictionKind.TWO_PLACES,
        cart_id=cart.pk,
        first_id=first,
        second=added,
        found_at=at,
    )


def _is_elsewhere(first: Movement, to: Place, added: Movement) -> bool:
    """Another device said so, and neither place lies within the other."""
    there = first.to
    if there is None or first.device_id in (None, added.device_id) or there.kind in COMES_AND_GOES:
        return False
    return not to.path.startswith(there.path) and not there.path.startswith(to.path)

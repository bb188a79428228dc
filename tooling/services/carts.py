"""Moving a cart or plate: one row, whatever stands on it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Value
from django.db.models.functions import Concat, Substr
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import How, Kit, KitState, Movement, Person, Piece, Place
from tooling.permissions import Verb, check_can
from tooling.queries.out import LEAVING_KINDS, away_of
from tooling.services import lost_and_found, staging
from tooling.services.cart_contradictions import find_in_cart
from tooling.services.due_back import USUAL, Departure, DueOn, note_departures
from tooling.services.movements import Stamp, check_place_is_used, origin, row, standing
from tooling.services.owner_gate import check_cart
from tooling.services.write import lock, writing


def move_cart(
    *,
    by: Person,
    at: datetime,
    cart: Place,
    to: Place,
    how: str = How.TICK,
    stamp: Stamp | None = None,
    due_on: DueOn = USUAL,
    **fields: Any,
) -> Movement:
    """Move a cart or plate with all that is on it. ``due_on`` matters where it is away.

    Raises NotAllowed, ``does_not_move``, ``place_inside_itself``, ``name_taken``,
    ``place_not_used``, ``kit_on_cart``, or ``owner_approval_missing`` for what is on it. A row
    older than the cart's present changes history only.
    """
    check_can(by, Verb.MOVE_PIECES)
    check_place_is_used(to)
    with writing():
        lock(places={cart.pk, to.pk})
        cart, to = Place.objects.get(pk=cart.pk), Place.objects.get(pk=to.pk)
        check_may_stand(cart, to)
        check_no_kit_leaves(cart, to)
        stamp = stamp or Stamp.of(at)
        check_cart(cart=cart, to=to, at=stamp.effective_at)
        placed_by = cart.placed_by_id if cart.parent_id == to.pk else None
        added = row(
            stamp=stamp, by=by, how=how, cart=cart, from_seen_id=cart.parent_id, to=to, **fields
        )
        added.save(force_insert=True)
        find_in_cart(at=at, cart=cart, to=to, added=added)
        gone = Departure(added.uuid, to, added.effective_at, due_on, placed_by, added.note)
        note_departures(by=by, at=at, departures=[gone])
        if _is_newer(added, cart):
            stand(by=by, at=at, cart=cart, place=to.pk, said_by=added)
    return added


def check_may_stand(cart: Place, to: Place) -> None:
    """Raise unless the cart moves, is not put on itself, and its name is free there."""
    if not cart.moves:
        raise ToolingError(
            "does_not_move",
            _("{name} is a {kind}; only carts and plates move. To put something there, "
              "scan it first as the place, then the pieces."),
            name=cart.path_name or cart.name,
            kind=cart.get_kind_display(),
        )  # fmt: skip
    if to.path.startswith(cart.path):
        raise Conflict(
            "place_inside_itself",
            _("{cart} cannot be put into {to}: that is {cart} itself or stands on it. "
              "Scan another place."),
            cart=cart.name,
            to=to.path_name or to.name,
        )  # fmt: skip
    if Place.objects.filter(parent=to, name=cart.name).exclude(pk=cart.pk).exists():
        raise Conflict(
            "name_taken",
            _("Another place called {cart} is already in {to}. Rename one of them first."),
            cart=cart.name,
            to=to.path_name or to.name,
        )


def check_no_kit_leaves(cart: Place, to: Place) -> None:
    """Raise ``kit_on_cart`` where a cart would take an open kit out of the building."""
    away = away_of([to]).get(to.pk)
    if away is None or away.kind not in LEAVING_KINDS:
        return
    kit = kit_on(cart)
    if kit is not None:
        raise Conflict(
            "kit_on_cart",
            _("Kit {kit} for job {job} is gathered on {cart}; it cannot go to {away} with it. "
              "Close the kit, or gather it elsewhere, then scan the cart again."),
            kit=kit.number,
            job=kit.job.number,
            cart=cart.name,
            away=away.name,
            kit_id=kit.pk,
        )  # fmt: skip


def kit_on(cart: Place) -> Kit | None:
    """The open kit that is gathered on the cart, or on one that stands on it."""
    open_kits = Kit.objects.exclude(state=KitState.CLOSED).select_related("job")
    return open_kits.filter(place__path__startswith=cart.path).first()


def _is_newer(added: Movement, cart: Place) -> bool:
    if cart.placed_effective_at is None or cart.placed_received_at is None:
        return True
    now = (cart.placed_effective_at, cart.placed_received_at, cart.placed_by_id or 0)
    return (added.effective_at, added.received_at, added.pk) > now


def stand(
    *, by: Person | None, at: datetime, cart: Place, place: int, said_by: Movement | None
) -> None:
    """Make the place the cart's present: its parent, and every path below it. ``said_by``: the row
    that says so; None where the cart is where it was made."""
    to = Place.objects.get(pk=place)
    old, old_name = cart.path, cart.path_name
    new, new_name = f"{to.path}{cart.code}/", f"{to.path_name} / {cart.name}"
    Place.objects.filter(pk=cart.pk).update(
        parent=to,
        placed_effective_at=said_by.effective_at if said_by is not None else None,
        placed_received_at=said_by.received_at if said_by is not None else None,
        placed_by=said_by,
    )
    Place.objects.filter(path__startswith=old).update(
        path=Concat(Value(new), Substr("path", len(old) + 1)),
        path_name=Concat(Value(new_name), Substr("path_name", len(old_name) + 1)),
    )
    on_it = Piece.objects.filter(place__path__startswith=new).values_list("pk", "place_id")
    moves = [
        staging.Moved(piece_id=pk, from_place_id=place, to_place_id=place, kit_id=None)
        for pk, place in on_it
    ]
    staging.after_moves(by=by, at=at, moves=moves)
    staging.after_bins_move(by=by, at=at, was=old, path=new)
    now = Place.objects.get(pk=cart.pk)
    lost_and_found.after_cart(by=by, at=at, cart=now, came_from=old)


def refold_cart(*, by: Person | None, at: datetime, cart: Place) -> None:
    """Fold the cart's history again, after a row among it was corrected."""
    newest = standing(cart=cart).last()
    place = newest.to_id if newest is not None else origin(cart=cart)
    said_by = newest.pk if newest is not None else None
    if place is not None and said_by != cart.placed_by_id:
        check_may_stand(cart, Place.objects.get(pk=place))
        stand(by=by, at=at, cart=cart, place=place, said_by=newest)

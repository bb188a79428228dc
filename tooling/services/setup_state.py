"""What every write on a setup asks first: is it up, is its kit open, who else holds it."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import KitPosition, Setup, SetupState
from tooling.queries.setups import SETUP_WITH
from tooling.services.kit_state import check_open
from tooling.services.write import lock


def hold(
    setup: Setup,
    *,
    pieces: Iterable[int] = (),
    stock: Iterable[int] = (),
    places: Iterable[int] = (),
) -> Setup:
    """Lock the setup's kit, and before the pieces every open kit that claims them; the setup as
    it is now. Call inside the write. Raises ``setup_struck``."""
    ids = set(pieces)
    kits = {setup.kit_id}
    if ids:
        claims = KitPosition.objects.filter(piece__in=ids, is_open=True)
        kits |= set(claims.values_list("kit_id", flat=True))
    lock(kits=kits, places=places, pieces=ids, stock=stock)
    fresh = Setup.objects.select_related(*SETUP_WITH).get(pk=setup.pk)
    if fresh.state == SetupState.STRUCK:
        raise Conflict(
            "setup_struck",
            _("The setup of kit {kit} was struck down; it stays as it was. Start the next one "
              "from its kit."),
            kit=fresh.kit.number,
        )  # fmt: skip
    return fresh


def hold_open(
    setup: Setup,
    *,
    pieces: Iterable[int] = (),
    stock: Iterable[int] = (),
    places: Iterable[int] = (),
) -> Setup:
    """The same, for what moves pieces: the kit must be open too. Raises ``kit_closed``."""
    fresh = hold(setup, pieces=pieces, stock=stock, places=places)
    check_open(fresh.kit)
    return fresh

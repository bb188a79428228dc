"""What every write on a kit asks first and does last."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import Kit, KitPosition, KitState, Person
from tooling.services import staging
from tooling.services.touched import touch_kits_of

CLAIM = ("piece", "stock_line", "is_substitute", "substitute_reason")
"""What of a position says what is claimed for it, and why."""


def check_open(kit: Kit) -> None:
    """Raise ``kit_closed`` for a closed kit; the job must be loaded."""
    if kit.state == KitState.CLOSED:
        raise Conflict(
            "kit_closed",
            _("Kit {kit} for job {job} is closed and stays as it was. Open a new kit for the job."),
            kit=kit.number,
            job=kit.job.number,
        )


def save_claims(
    *,
    by: Person,
    at: datetime,
    kit: Kit,
    rows: Iterable[KitPosition],
    freed: set[int],
    drawings: Iterable[int] = (),
) -> None:
    """Save changed claims, write anew what is staged and tell the kits that shared the pieces.

    ``freed``: ids of pieces that were claimed before; ``drawings``: of which counts are claimed.
    Call inside the write.
    """
    changed = list(rows)
    for row in changed:
        row.is_staged = row.holds_piece = False
    KitPosition.objects.bulk_update(changed, [*CLAIM, "is_staged", "holds_piece"], batch_size=100)
    Kit.objects.filter(pk=kit.pk).update(complete_at=None)
    taken = {row.piece_id for row in changed if row.piece_id is not None}
    touch_kits_of(
        pieces=freed | taken,
        drawings={*drawings, *(row.drawing_id for row in changed if row.piece_id is None)},
    )
    others = KitPosition.objects.filter(piece__in=freed - taken, is_open=True)
    staging.restage(by=by, at=at, kit_ids={kit.pk, *others.values_list("kit_id", flat=True)})

"""Counts that come into a kit: how many it still wants, and whether they may come at all."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import NOT_FIT, Condition, Kit, KitPosition, KitState, Place, StockLine
from tooling.queries.consents import consents_about
from tooling.queries.stock_pools import POOLED


def kit_into(*, to: Place, kit: Kit | None = None) -> Kit | None:
    """The open kit that is meant: its own label was scanned, or the place lies in where it is
    gathered, the inmost; None for any other place. One query."""
    open_kits = Kit.objects.exclude(state=KitState.CLOSED).select_related("job", "place")
    if kit is not None:
        return open_kits.filter(pk=kit.pk).first()
    around = {code for code in to.path.split("/") if code}
    found = open_kits.filter(place__code__in=around)
    return max(found, key=lambda each: len(each.place.path) if each.place else 0, default=None)


def wanted_by(*, kit: Kit, drawing_id: int) -> int:
    """How many of a drawing's count the kit still lacks. One query."""
    rows = KitPosition.objects.filter(POOLED, kit=kit, drawing=drawing_id, is_staged=False)
    return rows.count()


def to_take(*, kit: Kit, line: StockLine) -> int:
    """How many of this bin one scan brings into the kit: what it lacks, as far as the bin goes.

    Of an empty bin all that is wanted, so that the move says how many are left. Raises
    ``wrong_position`` when the kit wants none.
    """
    wanted = wanted_by(kit=kit, drawing_id=line.drawing_id)
    if wanted == 0:
        raise Conflict(
            "wrong_position",
            _("{drawing} from bin {label} belongs in {place}; kit {kit} wants none of it, or "
              "has them already."),
            drawing=line.drawing.number,
            label=line.code,
            place=line.place.path_name or line.place.name,
            kit=kit.number,
            kit_id=kit.pk,
        )  # fmt: skip
    return min(wanted, line.count) or wanted


def check_may_come(*, line: StockLine, kit: Kit) -> None:
    """Raise ``piece_held``, ``piece_not_fit`` or ``owner_approval_missing``, as for a piece, when
    what is in the bin may not come into the kit. Drawing, place and owner must be loaded."""
    told = {
        "what": f"{line.code} ({line.drawing.number})",
        "home": line.place.path_name or line.place.name,
        "kit": kit.number,
        "kit_id": kit.pk,
    }
    if line.condition == Condition.HOLD:
        raise Conflict(
            "piece_held",
            _("What is in bin {what} is held and cannot be staged for kit {kit}. Take it from "
              "another bin. It belongs in {home}."),
            **told,
        )  # fmt: skip
    if line.condition in NOT_FIT:
        raise Conflict(
            "piece_not_fit",
            _("What is in bin {what} is {condition} and cannot be staged for kit {kit}. Take it "
              "from another bin. It belongs in {home}."),
            condition=line.get_condition_display(),
            **told,
        )  # fmt: skip
    consents = consents_about([line], [kit.job])
    if not consents.lets(line, kit.job):
        raise Conflict(
            "owner_approval_missing",
            _("What is in bin {what} cannot be staged for kit {kit} (job {job}). {why} Put it "
              "back to {home}."),
            owner=line.owner.name,
            job=kit.job.number,
            why=consents.why_not(line, kit.job),
            **told,
        )  # fmt: skip

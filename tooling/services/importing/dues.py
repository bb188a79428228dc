"""When pieces that are away are due back, as a sheet of pieces says."""

from __future__ import annotations

from datetime import date

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import AWAY_KINDS, DueBack, Piece, Place
from tooling.queries.out import standing_dues
from tooling.services.due_back import MOST_DAYS
from tooling.services.importing.known import Known
from tooling.services.importing.plan import Plan
from tooling.services.importing.stage import is_new


class Dues:
    """The days that stand for the pieces of a part of the rows."""

    def __init__(self, known: Known) -> None:
        movements = {piece.placed_by_id for piece in known.piece_keys.values() if not is_new(piece)}
        self._standing = standing_dues({key for key in movements if key is not None})

    def say(self, piece: Piece, due_on: date, title: str, plan: Plan) -> None:
        """The piece is due back then; a day that is over says that it is overdue.

        Raises ToolingError ``not_away``, ``improbable_value``.
        """
        plan.look("due_back", _check_away, piece.place)
        if (due_on - plan.at.date()).days > MOST_DAYS:
            raise ToolingError(
                "improbable_value",
                _("{day} is more than ten years away. Check the year, or leave the date out."),
                day=due_on.isoformat(),
                in_field="due_back",
            )
        standing = self._standing.get(piece.placed_by_id or 0)
        before = standing.due_on if standing else None
        if before == due_on or piece.placed_by_id is None:
            return
        if not is_new(piece):
            plan.changed(title, "due_back", before, due_on)
        plan.create(
            DueBack, title, quiet=True, movement_id=piece.placed_by_id, due_on=due_on, at=plan.at,
            by=plan.by,
        )  # fmt: skip


def _check_away(place: Place) -> None:
    here: Place | None = place
    while here is not None:
        if here.kind in AWAY_KINDS:
            return
        here = here.parent
    raise ToolingError(
        "not_away",
        _("{place} is in the shop, so nothing is due back from there. Leave the cell blank, or "
          "write where the piece is."),
        place=place.path_name,
    )  # fmt: skip

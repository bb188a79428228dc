"""What the Scan page says of a code beyond what it is: where a thing belongs, when what goes to a
place away is due back, how many a bin holds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from tooling.models import Piece, Place, SetCopy, StockLine, ToolSet
from tooling.queries.homes import Belongs, belongs, home_of
from tooling.queries.out import AwayPlace, usual_of
from tooling.queries.scan_lookup import look_up
from tooling.queries.scans import WhatItIs, what_is


@dataclass(frozen=True)
class ScanAnswer:
    """``away``: the place as one to hand out to, when it is one. ``belongs``: where a piece, bin,
    cart or the only copy of a set belongs. ``count``: of a bin. ``copies``: of a set that has
    several, the letters."""

    what: WhatItIs
    away: AwayPlace | None = None
    belongs: Belongs | None = None
    count: int | None = None
    carries: bool = False
    copies: tuple[str, ...] = ()

    @property
    def is_kit(self) -> bool:
        return self.what.is_place and self.what.code.startswith("K")

    @property
    def due_on(self) -> date | None:
        return self.away.due_on if self.away is not None else None


def scan_answer(text: str, *, at: datetime) -> ScanAnswer:
    """What somebody scanned or typed. Raises what ``what_is`` raises."""
    what = what_is(text)
    if what.is_place:
        return _of_place(what, at)
    subject = look_up([what.code], []).subject(what.code)
    if isinstance(subject, int):
        piece = Piece.objects.select_related("place", "drawing").get(pk=subject)
        return ScanAnswer(what, belongs=belongs(piece, home_of(piece)))
    if isinstance(subject, StockLine):
        return ScanAnswer(what, belongs=belongs(subject, home_of(subject)), count=subject.count)
    return _of_set(what, subject) if isinstance(subject, ToolSet) else ScanAnswer(what)


def _of_place(what: WhatItIs, at: datetime) -> ScanAnswer:
    """A cart may have a home; a place away a day. A kit's or station's place has neither."""
    place = Place.objects.select_related("parent").filter(code=what.code).first()
    if place is None:
        return ScanAnswer(what)
    if place.moves:
        return ScanAnswer(
            what, usual_of(place, at=at), belongs(place, home_of(place)), carries=True
        )
    return ScanAnswer(what, usual_of(place, at=at))


def _of_set(what: WhatItIs, tool_set: ToolSet) -> ScanAnswer:
    """Where its only copy belongs; of several nobody knows which is meant."""
    rows = SetCopy.objects.filter(tool_set=tool_set).select_related("home", "tool_set")
    copies = list(rows.order_by("letter"))
    if len(copies) != 1:
        return ScanAnswer(what, copies=tuple(copy.letter for copy in copies))
    return ScanAnswer(what, belongs=_home_of_copy(tool_set, copies[0]))


def _home_of_copy(tool_set: ToolSet, copy: SetCopy) -> Belongs | None:
    home = copy.home
    if home is None:
        return None
    return Belongs(
        code=tool_set.code,
        name=str(copy),
        kind="set",
        now="",
        now_code="",
        home=home.path_name or home.name,
        home_code=home.code,
        why="own",
        why_said="",
    )

"""What pages, lists and paper are shown of a pull list. Frozen; made by ``pull_list``."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tooling.queries.kit_views import JobView, LoadView, PositionView


@dataclass(frozen=True)
class PullLine:
    """One thing to fetch. ``caution``: none, heavy, two_people."""

    place: str
    place_code: str
    code: str
    mark: str
    drawing: str
    kind: str
    quantity: int
    mass_kg: float | None
    caution: str
    caution_said: str
    where: str
    peg: str
    not_yet_seen: bool
    note: str
    of: int = 0
    """How many lie in the bin; 0 for a piece."""


@dataclass(frozen=True)
class PullLater:
    """Some of a count that are not in any bin yet: they come back before the kit is gathered."""

    drawing: str
    quantity: int
    said: str


@dataclass(frozen=True)
class PullStop:
    """A place on the walk with what to take there."""

    place: str
    place_code: str
    lines: tuple[PullLine, ...]


@dataclass(frozen=True)
class PullList:
    """What to fetch for a kit, in walking order, and what cannot be fetched."""

    kit: str
    version: int
    made_at: datetime
    job: JobView
    copy_letter: str
    to_place: str
    to_place_code: str
    header: str
    stops: tuple[PullStop, ...]
    later: tuple[PullLater, ...]
    not_to_fetch: tuple[PositionView, ...]
    pieces: int
    kg: float
    unknown: int
    load: LoadView

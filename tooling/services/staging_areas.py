"""Where pieces are here for an open kit: in its gathering place, on the plate on which its setup is
built, or on its mill."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tooling.models import Kit, KitState, SetupState
from tooling.queries.prepared import Asked, Prepared


@dataclass(frozen=True)
class Area:
    """Where pieces are here for one open kit."""

    kit_id: int
    starts_at: datetime
    gathering: str
    mill: str
    plate: str = ""
    is_standing: bool = False

    @property
    def for_counts(self) -> tuple[str, ...]:
        """The paths inside which what lies of a count is here."""
        stands = self.mill if self.is_standing else ""
        return tuple(path for path in (self.gathering, self.plate, stands) if path)

    def rank(self, path: str) -> tuple[int, int, datetime, int] | None:
        """How strongly this kit has what lies at the path, smallest first; None: not at all."""
        if self.gathering and path.startswith(self.gathering):
            return (0, -len(self.gathering), self.starts_at, self.kit_id)
        if self.plate and path.startswith(self.plate):
            return (1, -len(self.plate), self.starts_at, self.kit_id)
        if self.mill and path.startswith(self.mill):
            return (2, -len(self.mill), self.starts_at, self.kit_id)
        return None


_OPEN_KITS = Prepared(
    lambda: Kit.objects.exclude(state=KitState.CLOSED).values_list(
        "pk",
        "job__starts_at",
        "place__path",
        "job__mill__place__path",
        "setup__plate__path",
        "setup__state",
        "setup__docked_at",
    )
)


def ask_open_kits() -> Asked:
    """Ask for what ``areas_of`` needs."""
    return _OPEN_KITS.ask()


def areas_of(asked: Asked | None = None) -> list[Area]:
    """Of every open kit; one query, or none where ``ask_open_kits`` was called before."""
    return [_area(*row) for row in (asked or ask_open_kits()).rows()]


def _area(
    pk: int,
    starts: datetime,
    place: str | None,
    mill: str | None,
    plate: str | None,
    setup: str | None,
    docked_at: datetime | None,
) -> Area:
    is_up = setup is not None and setup != SetupState.STRUCK
    return Area(
        kit_id=pk,
        starts_at=starts,
        gathering=place or "",
        mill=mill or "",
        plate=(plate or "") if is_up else "",
        is_standing=is_up and (plate is None or docked_at is not None),
    )

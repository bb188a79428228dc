"""Places from which nothing can be fetched: away, lost, scrapped, not yet placed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tooling.models import AWAY_KINDS, Place, PlaceKind

GONE_KINDS = (PlaceKind.LOST, PlaceKind.SCRAP, PlaceKind.UNKNOWN)


@dataclass(frozen=True)
class Whereabouts:
    """Such places by label code."""

    by_code: Mapping[str, Place]

    def beyond_reach(self, place: Place) -> Place | None:
        """The outermost such place that the given one is or lies in, or None."""
        return next((self.by_code[c] for c in place.path.split("/") if c in self.by_code), None)

    def is_out(self, place: Place) -> bool:
        """Whether it is, or lies in, a place from which things come back."""
        beyond = self.beyond_reach(place)
        return beyond is not None and beyond.kind in AWAY_KINDS


def whereabouts() -> Whereabouts:
    """One query."""
    rows = Place.objects.filter(kind__in=(*AWAY_KINDS, *GONE_KINDS))
    return Whereabouts({place.code: place for place in rows})

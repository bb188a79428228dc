"""Passes that only gather what stands on the line: they need no station."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, QuerySet

from tooling.models import SetPass, SetPosition, Shaft


def needs_station(passes: QuerySet[SetPass]) -> QuerySet[SetPass]:
    """Those of the passes that put something on a shaft or beside it, and empty ones, which may
    yet. The rest only names line tooling and hardware."""
    positions = SetPosition.objects.filter(set_pass=OuterRef("pk"))
    off_shaft = Exists(positions.filter(shaft=Shaft.LINE)) & ~Exists(
        positions.exclude(shaft=Shaft.LINE)
    )
    return passes.exclude(off_shaft)

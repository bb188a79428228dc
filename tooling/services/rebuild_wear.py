"""The forecasts of gauge points, compared with what history and the last learning say of them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from math import isclose
from typing import Any

from django.utils import timezone

from tooling.models import WearState
from tooling.queries.wear_present import all_present_lives
from tooling.queries.wear_prior import learned
from tooling.services.garbage import collected_after
from tooling.services.wear_states import refresh_all, states_of

EXACT = ("says", "readings", "run_nm", "last_value_nm", "last_read_at")
REAL = ("equivalent_m", "left_half_m", "left_sure_m", "depth_nm")
CLOSE = 1e-6
"""Lengths left are taken off run by run, or all at once: the same but for the last digits."""

Key = tuple[int, int, str]
Told = tuple[str, Any, Any]
"""Whose forecast, what is kept, what it should be."""


def wear_differences(*, at: datetime | None = None) -> list[Told]:
    """Forecasts that are not what history says, are missing, or too many. Six queries, and eight
    for every 16,384 pieces."""
    known, told, found = learned(), at or timezone.now(), list[Told]()
    rows = WearState.objects.only("piece", "point", "end", *EXACT, *REAL)
    for some, lives in all_present_lives(known):
        with collected_after():
            right = {_key(row): row for row in states_of(lives, known, at=told)}
            mine = rows.filter(piece__gte=some.start, piece__lt=some.stop)
            found += _compared({_key(row): row for row in mine}, right)
    return sorted(found)


def rebuild_wear(*, at: datetime | None = None) -> list[Told]:
    """The same, and every forecast told anew where one differs. Call inside the write."""
    found = wear_differences(at=at)
    if found:
        refresh_all(at=at or timezone.now())
    return found


def _key(row: WearState) -> Key:
    return row.piece_id, row.point_id, row.end


def _compared(kept: dict[Key, WearState], right: dict[Key, WearState]) -> Iterator[Told]:
    """One query where something differs."""
    other = {
        key: (kept.get(key), right.get(key))
        for key in kept.keys() | right.keys()
        if not _agree(kept.get(key), right.get(key))
    }
    wrong = [row.pk for row, _should in other.values() if row is not None]
    names = WearState.objects.select_related("piece", "point__drawing").in_bulk(wrong)
    for key, (row, should) in other.items():
        if row is None:
            yield f"piece {key[0]} point {key[1]} {key[2]}", "missing", "there"
        else:
            name = f"{names.get(row.pk, key)} {row.end}".strip()
            yield name, _said(row) if should else "there", _said(should) if should else "none"


def _agree(row: WearState | None, should: WearState | None) -> bool:
    if row is None:
        return should is None or is_fresh(should)
    return should is not None and is_same(row, should)


def is_fresh(row: WearState) -> bool:
    """Neither read nor run: a new piece has no forecast until something is known of it."""
    return row.readings == 0 and row.run_nm == 0


def is_same(one: WearState, other: WearState) -> bool:
    """Whether two forecasts tell the same, but for the last digits."""
    if any(getattr(one, name) != getattr(other, name) for name in EXACT):
        return False
    pairs = [(getattr(one, name), getattr(other, name)) for name in REAL]
    return all(
        a == b or (a is not None and b is not None and isclose(a, b, rel_tol=CLOSE, abs_tol=CLOSE))
        for a, b in pairs
    )


def _said(row: WearState) -> str:
    half, sure = row.left_half_m, row.left_sure_m
    left = "/".join("-" if each is None else f"{each:.3f}" for each in (half, sure))
    return f"{row.says} {row.readings} readings, {row.run_nm} nm, left {left} m"

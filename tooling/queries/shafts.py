"""The stations and shafts of a mill as the engineering core takes them, and what goes on them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db.models import OuterRef, Subquery

from tooling.engineering.findings import Finding
from tooling.engineering.mill_fit_shafts import check_piece
from tooling.engineering.mill_specs import RollSpec, ShaftSpec
from tooling.models import ChartPass, Piece, Station
from tooling.queries.pieces import size_of

REFUSALS = ("bore_smaller_than_shaft", "key_too_wide", "key_too_high", "keyway_lacking")
"""Findings for which a piece does not go on a shaft; the rest is said by the fit of the set."""

_COLUMNS = (
    "mill_id",
    "number",
    "code",
    "gear_ratio",
    "gap",
    "shafts__which",
    "shafts__bank",
    "shafts__diameter_nm",
    "shafts__roll_space_nm",
    "shafts__key_style",
    "shafts__key_width_nm",
    "shafts__key_height_nm",
    "shafts__drive",
    "shafts__drive_group__rpm_factor",
)


@dataclass(frozen=True)
class ShaftAt:
    """One shaft. ``speed`` is its rpm against the line's, 0 where nothing drives it."""

    spec: ShaftSpec
    speed: Fraction


@dataclass(frozen=True)
class StationAt:
    """One station with its first bank of shafts by name."""

    number: int
    code: str
    gear_ratio: Decimal
    gap_nm: int | None
    shafts: Mapping[str, ShaftAt]


Stations = Mapping[int, StationAt]
"""A mill's stations by number."""


def stations_of(
    mill_ids: Collection[int], *, tool_set_id: int | None = None
) -> dict[int, dict[int, StationAt]]:
    """Of each mill its stations by number, with the gaps of the set's current chart. One query."""
    charted = ChartPass.objects.filter(
        station=OuterRef("pk"), chart__tool_set=tool_set_id, chart__is_current=True
    )
    rows = (
        Station.objects.filter(mill__in=mill_ids)
        .annotate(gap=Subquery(charted.values("gap_nm")[:1]))
        .order_by("number", "-shafts__bank")
    )
    found: dict[int, dict[int, StationAt]] = {mill: {} for mill in mill_ids}
    shafts: dict[tuple[int, int], dict[str, ShaftAt]] = defaultdict(dict)
    for row in rows.values(*_COLUMNS):
        mill, number = row["mill_id"], row["number"]
        here = shafts[mill, number]
        if row["shafts__which"]:
            here[row["shafts__which"]] = _shaft(row)
        found[mill][number] = StationAt(number, row["code"], row["gear_ratio"], row["gap"], here)
    return found


def _shaft(row: Mapping[str, Any]) -> ShaftAt:
    drive = row["shafts__drive"]
    factor = row["shafts__drive_group__rpm_factor"]
    speed = Fraction(0) if drive == "idle" else Fraction(str(1.0 if factor is None else factor))
    spec = ShaftSpec(
        which=row["shafts__which"],
        diameter_nm=row["shafts__diameter_nm"],
        roll_space_nm=row["shafts__roll_space_nm"],
        key_style=row["shafts__key_style"],
        key_width_nm=row["shafts__key_width_nm"],
        key_height_nm=row["shafts__key_height_nm"],
        drive=drive,
    )
    return ShaftAt(spec, speed)


Sizes = tuple[int | None, int | None, int | None, ShaftSpec]


class FitsOn:
    """Whether pieces go on shafts; equal sizes on equal shafts are worked out once."""

    def __init__(self) -> None:
        self._known: dict[Sizes, bool] = {}

    def problem(self, piece: Piece, shaft: ShaftAt | None) -> Finding | None:
        """Why the piece does not go on, or None. Side rolls go on no shaft."""
        if shaft is None:
            return None
        sizes = (
            size_of(piece, "bore"),
            size_of(piece, "keyway_width"),
            size_of(piece, "keyway_depth"),
            shaft.spec,
        )
        if sizes not in self._known:
            self._known[sizes] = _refusal(sizes, "") is None
        return None if self._known[sizes] else _refusal(sizes, piece.code)


def _refusal(sizes: Sizes, name: str) -> Finding | None:
    bore, width, depth, shaft = sizes
    roll = RollSpec(
        name=name,
        where=shaft.which,
        order=1,
        bore_nm=bore,
        keyway_width_nm=width,
        keyway_depth_nm=depth,
    )
    return next((each for each in check_piece(roll, shaft) if each.code in REFUSALS), None)

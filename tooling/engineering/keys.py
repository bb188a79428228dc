"""Keys by the tables, keyseat depths, and how a key fits the keyway of a piece.

A hub keyway's depth is measured from the crown of the bore: bore/2 + depth is the distance from
the axis to the bottom of the keyseat.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import isqrt
from typing import Literal

from django.utils.translation import gettext_lazy as _

from tooling.engineering.how import Step
from tooling.engineering.lengths import NM_PER_IN, NM_PER_MM, exact_mm
from tooling.engineering.tables import ansi_b17_1, din_6885
from tooling.engineering.walls import (
    LeastRoot,
    Wall,
    least_root_diameter,
    require_wall,
    wall_at_key_corner,
)
from tooling.errors import ToolingError

__all__ = [
    "Key",
    "KeyFit",
    "LeastRoot",
    "Standard",
    "Wall",
    "key_fit",
    "key_for_shaft",
    "least_root_diameter",
    "require_wall",
    "standard_of_key",
    "wall_at_key_corner",
]

Standard = Literal["ANSI B17.1", "DIN 6885-1"]
Shape = Literal["square", "rectangular"]
KeyState = Literal["fits", "loose", "key too high", "key too wide"]

SOURCES: dict[Standard, str] = {
    "ANSI B17.1": "ANSI/ASME B17.1-1967 (R2013), key size by shaft, depth control S and T",
    "DIN 6885-1": "DIN 6885-1, key and keyway by shaft",
}
_SPANS: dict[Standard, str] = {
    "ANSI B17.1": "5/16 < d ≤ 11 in",
    "DIN 6885-1": "8 < d ≤ 200 mm",
}


@dataclass(frozen=True)
class Key:
    """A key of a standard on its shaft, lengths in nm.

    ``shaft_control_nm`` is S or d − t1 (bottom of the shaft keyseat to the opposite side),
    ``hub_control_nm`` T or d + t2 (bottom of the hub keyseat to the opposite side of the bore);
    ``shaft_depth_nm`` and ``hub_depth_nm`` are what they leave from the shaft's diameter.
    """

    standard: Standard
    shape: Shape
    shaft_nm: int
    width_nm: int
    height_nm: int
    shaft_control_nm: int
    hub_control_nm: int
    how: tuple[Step, ...]

    @property
    def shaft_depth_nm(self) -> int:
        return self.shaft_nm - self.shaft_control_nm

    @property
    def hub_depth_nm(self) -> int:
        return self.hub_control_nm - self.shaft_nm


@dataclass(frozen=True)
class KeyFit:
    """A key in a piece's keyway: what is left at the sides together and above it, in nm."""

    state: KeyState
    side_play_nm: int
    top_play_nm: int
    how: tuple[Step, ...]


def key_for_shaft(shaft_nm: int, standard: Standard, *, shape: Shape | None = None) -> Key:
    """The standard's key for a shaft with its keyseat depths, in nm, rounded to the nearest nm.

    ``shape`` asks for a square or rectangular ANSI key; without it the preferred one is taken
    (square up to a 6 1/2 in shaft). DIN has one key per shaft.
    Sources: ``tables/ansi_b17_1.py`` with S = (D − H + √(D² − W²))/2 and
    T = (D + H + √(D² − W²))/2 + 0.005 in; ``tables/din_6885.py`` with d − t1 and d + t2.
    Raises ToolingError ``size_outside_table``; ValueError for a shape that DIN does not choose.
    """
    if standard == "ANSI B17.1":
        return _ansi_key(shaft_nm, shape)
    if shape is not None:
        raise ValueError("DIN 6885-1 has one key per shaft")
    return _din_key(shaft_nm)


def standard_of_key(
    shaft_nm: int, key_width_nm: int, *, within_nm: int = 100_000
) -> Standard | None:
    """The standard whose key for this shaft has this width (± ``within_nm``); None: off the table.

    Never raises for a shaft outside the tables: there the key is off them.
    """
    for standard in SOURCES:
        try:
            width_nm = key_for_shaft(shaft_nm, standard).width_nm
        except ToolingError:
            continue
        if abs(width_nm - key_width_nm) <= within_nm:
            return standard
    return None


def key_fit(
    *,
    key_width_nm: int,
    key_height_nm: int,
    shaft_nm: int,
    keyway_width_nm: int,
    keyway_depth_nm: int,
    bore_nm: int,
    loose_beyond_nm: int,
) -> KeyFit:
    """Whether the mill's key goes into a piece's keyway, all in nm.

    ``key_height_nm`` is how far the key stands above the shaft; a worn bore gives room above it.
    ``loose_beyond_nm`` is the side play from which the keyway counts as worn (a setting).
    Source: geometry, bore and shaft concentric.
    Raises ToolingError ``negative_length`` and ``bore_smaller_than_shaft``.
    """
    _require_positive(
        key_width_nm, key_height_nm, shaft_nm, keyway_width_nm, keyway_depth_nm, bore_nm
    )
    if bore_nm < shaft_nm:
        raise ToolingError(
            "bore_smaller_than_shaft",
            _("A bore of {bore} mm does not go on a shaft of {shaft} mm."),
            bore=exact_mm(bore_nm),
            shaft=exact_mm(shaft_nm),
        )
    side_nm = keyway_width_nm - key_width_nm
    top_nm = (bore_nm - shaft_nm) // 2 + keyway_depth_nm - key_height_nm
    how = (
        Step(
            what="side play of the key",
            formula="keyway width − key width",
            source="geometry",
            inputs={"keyway_width_nm": keyway_width_nm, "key_width_nm": key_width_nm},
            value=side_nm,
        ),
        Step(
            what="play above the key",
            formula="(bore/2 + keyway depth) − (shaft/2 + key height)",
            source="geometry, bore and shaft concentric",
            inputs={
                "bore_nm": bore_nm,
                "keyway_depth_nm": keyway_depth_nm,
                "shaft_nm": shaft_nm,
                "key_height_nm": key_height_nm,
            },
            value=top_nm,
            rounding="down to 1 nm",
        ),
    )
    return KeyFit(_key_state(side_nm, top_nm, loose_beyond_nm), side_nm, top_nm, how)


def _key_state(side_nm: int, top_nm: int, loose_beyond_nm: int) -> KeyState:
    if side_nm < 0:
        return "key too wide"
    if top_nm < 0:
        return "key too high"
    return "loose" if side_nm > loose_beyond_nm else "fits"


def _ansi_key(shaft_nm: int, shape: Shape | None) -> Key:
    row = _row_of(shaft_nm, "ANSI B17.1", ansi_b17_1.ROWS, NM_PER_IN)
    width_nm, square_nm = _nm(row[2], NM_PER_IN), _nm(row[3], NM_PER_IN)
    rectangular = row[4]
    if shape is None:
        limit_nm = _nm(ansi_b17_1.SQUARE_PREFERRED_TO, NM_PER_IN)
        shape = "square" if shaft_nm <= limit_nm else "rectangular"
    if shape == "rectangular" and rectangular is None:
        raise ToolingError(
            "size_outside_table",
            _("ANSI B17.1 has no rectangular key for a shaft of {shaft} mm."),
            shaft=exact_mm(shaft_nm),
        )
    height_nm = _nm(rectangular, NM_PER_IN) if shape == "rectangular" and rectangular else square_nm
    chord_squared = shaft_nm**2 - width_nm**2
    clearance_nm = _nm(ansi_b17_1.HUB_CLEARANCE_IN, NM_PER_IN)
    s_nm = _half_rounded(shaft_nm - height_nm, chord_squared)
    t_nm = _half_rounded(shaft_nm + height_nm, chord_squared) + clearance_nm
    inputs = {"shaft_nm": shaft_nm, "key_width_nm": width_nm, "key_height_nm": height_nm}
    how = (
        _step("S", "(D − H + √(D² − W²)) / 2", "ANSI B17.1", inputs, s_nm),
        _step("T", "(D + H + √(D² − W²)) / 2 + 0.005 in", "ANSI B17.1", inputs, t_nm),
    )
    return Key("ANSI B17.1", shape, shaft_nm, width_nm, height_nm, s_nm, t_nm, how)


def _din_key(shaft_nm: int) -> Key:
    row = _row_of(shaft_nm, "DIN 6885-1", din_6885.ROWS, NM_PER_MM)
    width_nm, height_nm, t1_nm, t2_nm = (_nm(str(cell), NM_PER_MM) for cell in row[2:])
    shape: Shape = "square" if width_nm == height_nm else "rectangular"
    inputs = {"shaft_nm": shaft_nm, "t1_nm": t1_nm, "t2_nm": t2_nm}
    how = (
        _step("d − t1", "d − t1", "DIN 6885-1", inputs, shaft_nm - t1_nm),
        _step("d + t2", "d + t2", "DIN 6885-1", inputs, shaft_nm + t2_nm),
    )
    controls = (shaft_nm - t1_nm, shaft_nm + t2_nm)
    return Key("DIN 6885-1", shape, shaft_nm, width_nm, height_nm, *controls, how)


def _step(
    what: str, formula: str, standard: Standard, inputs: dict[str, int], value_nm: int
) -> Step:
    return Step(
        what=what,
        formula=formula,
        source=SOURCES[standard],
        inputs=inputs,
        value=value_nm,
        rounding="to the nearest nm",
    )


def _row_of(
    shaft_nm: int,
    standard: Standard,
    rows: Sequence[tuple[str | None, ...]],
    nm_per_unit: int,
) -> tuple[str | None, ...]:
    for row in rows:
        over, to = _cells(row, nm_per_unit)
        if over < shaft_nm <= to:
            return row
    raise ToolingError(
        "size_outside_table",
        _("A shaft of {shaft} mm is outside the table of {standard}, which holds for {span}."),
        shaft=exact_mm(shaft_nm),
        standard=standard,
        span=_SPANS[standard],
    )


def _cells(row: tuple[str | None, ...], nm_per_unit: int) -> Iterator[int]:
    return (_nm(str(cell), nm_per_unit) for cell in row[:2])


def _nm(text: str | None, nm_per_unit: int) -> int:
    return int(sum(Fraction(part) for part in str(text).split()) * nm_per_unit)


def _half_rounded(whole_nm: int, squared_nm: int) -> int:
    """(whole + √squared) / 2, to the nearest nm, in integers."""
    return (whole_nm + isqrt(squared_nm) + 1) // 2


def _require_positive(*sizes_nm: int) -> None:
    if min(sizes_nm) <= 0:
        raise ToolingError("negative_length", _("Every size of a key and keyway must be above 0."))

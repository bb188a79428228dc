"""How large a spacer may be where a roll of the other shaft reaches over it.

Both shafts are laid beside each other with their guide points on the guide plane. A roll reaches
over a fill when the two overlap along the shafts; the spacers of the fill must then clear its
outside diameter: D_spacer ≤ 2 C − D_roll, C being the distance of the shafts. Source: geometry.
The contour is not known here, so a roll counts with its outside diameter over all of its width;
where by that not even the bare shaft would clear it, its outside diameter stands elsewhere and no
limit is given.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tooling.engineering.stacks.specs import Fill, Roll, Shaft

Span = tuple[int, int]
"""From and to along a shaft, nm outboard of the guide plane."""


@dataclass(frozen=True)
class Turning:
    """A roll of the other shaft: where it lies along the shaft, and its outside diameter, nm."""

    span: Span
    outside_nm: int


def spans_of(shaft: Shaft, guide_plane_nm: int) -> dict[str, Span]:
    """Where every fill and roll of a shaft lies when its guide point is on the guide plane: fills
    by key, rolls as ``roll N`` in order. Middle fills are as drawn; the inboard fill begins at the
    shoulder, the outboard fill ends with the roll space."""
    spots: list[tuple[str, int]] = []
    begin, at, number = 0, 0, 0
    for part in shaft.parts:
        if isinstance(part, Roll):
            spots.append((f"roll {number}", part.width_nm))
            number += 1
            if part.guide_offset_nm is not None:
                begin = at + part.guide_offset_nm
            at += part.width_nm
        else:
            spots.append((part.key, part.target_nm or 0))
            at += part.target_nm or 0
    shoulder = shaft.shoulder_offset_nm - guide_plane_nm
    found: dict[str, Span] = {}
    at = -begin
    for (name, length), part in zip(spots, shaft.parts, strict=True):
        first, last = at, at + length
        if isinstance(part, Fill) and part.kind == "inboard":
            first = min(shoulder, at)
        if isinstance(part, Fill) and part.kind == "outboard":
            last = max(at, shoulder + shaft.roll_space_nm)
        found[name] = (first, last)
        at += length
    return found


def clears(
    span: Span, turning: Iterable[Turning], *, centres: Fraction, shaft_nm: int, window_nm: int
) -> int | None:
    """The most outside diameter of spacers within ``span`` that clear all that turns opposite;
    None where nothing reaches over it by more than ``window_nm``, and where the bare shaft would
    not clear."""
    over = [
        each.outside_nm for each in turning
        if min(span[1], each.span[1]) - max(span[0], each.span[0]) > window_nm
    ]  # fmt: skip
    limits = [int(2 * centres) - outside for outside in over]
    possible = [limit for limit in limits if limit >= shaft_nm]
    return min(possible, default=None)


def clearances(
    shaft: Shaft,
    other: Shaft,
    *,
    outsides_nm: Sequence[int | None],
    centres: Fraction,
    guide_plane_nm: int,
    window_nm: int,
) -> Mapping[str, int]:
    """By fill of a shaft how large its spacers may be; ``outsides_nm`` of the other shaft's rolls
    in order, None for one that nobody knows. Fills without a limit are not there."""
    mine, theirs = spans_of(shaft, guide_plane_nm), spans_of(other, guide_plane_nm)
    turning = [
        Turning(theirs[f"roll {n}"], outside)
        for n, outside in enumerate(outsides_nm) if outside is not None
    ]  # fmt: skip
    found: dict[str, int] = {}
    for fill in shaft.fills:
        if fill.seat is None:
            continue
        most = clears(
            mine[fill.key], turning, centres=centres, shaft_nm=fill.seat.shaft_nm,
            window_nm=window_nm,
        )  # fmt: skip
        if most is not None:
            found[fill.key] = most
    return found

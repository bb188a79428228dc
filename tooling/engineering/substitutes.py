"""Pieces for the positions of a kit that lack one, chosen as one assignment over the whole kit.

Costs are whole numbers, compared in this order: deviation from the station's ratio, deviation from
the drawn steps to the neighbouring passes (both in nm on diameter), remarks on the piece, walking
order. A partner or neighbour that lacks a piece itself stands in with its *drawn* diameter, so the
cost of one choice never depends on another.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tooling.engineering.assignment import COST_MOST, assign
from tooling.engineering.how import Step
from tooling.engineering.speeds import round_half_up

LEVELS = 4
RULE = "common practice, no source"


@dataclass(frozen=True)
class LackingPosition:
    """A position without its piece.

    ``partner_nm`` is the drive diameter of the roll on the other shaft; ``ratio`` D_top / D_bottom
    of the station. ``previous_nm`` and ``next_nm`` are drive diameters on the same shaft of the
    neighbouring occupied passes, at equal rpm, with the drawn steps from and to them. None where
    nothing drives, nothing stands there or the drawing gives no step: then it costs nothing.
    """

    id: int
    shaft: Literal["top", "bottom", "side", "line"] = "bottom"
    ratio: Fraction = Fraction(1)
    partner_nm: int | None = None
    previous_nm: int | None = None
    step_from_previous_nm: int | None = None
    next_nm: int | None = None
    step_to_next_nm: int | None = None

    def __post_init__(self) -> None:
        if self.ratio <= 0:
            raise ValueError("a gear ratio is more than nothing")


@dataclass(frozen=True)
class Candidate:
    """A free piece that fits a position. A drive diameter of None costs nothing in speed.

    ``remarks``: rank of its notes, 0 best; ``walking``: rank of its place, 0 where the rest of
    the kit lies.
    """

    position: int
    piece: str
    drive_diameter_nm: int | None = None
    remarks: int = 0
    walking: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.remarks <= COST_MOST or not 0 <= self.walking <= COST_MOST:
            raise ValueError("ranks are not negative")


@dataclass(frozen=True)
class Choice:
    """The piece for a position and what it deviates by, in nm on diameter."""

    position: int
    piece: str
    ratio_deviation_nm: int
    step_deviation_nm: int
    remarks: int
    walking: int

    @property
    def step(self) -> Step:
        """The choice as a step for "how?"."""
        return Step(
            what=f"{self.piece} as substitute",
            formula="least (unfilled, Σ ratio deviation, Σ step deviation, Σ remarks, Σ walking) "
            "over the whole kit",
            source=RULE,
            inputs={
                "ratio_deviation_nm": self.ratio_deviation_nm,
                "step_deviation_nm": self.step_deviation_nm,
                "remarks": self.remarks,
                "walking": self.walking,
            },
            value=self.piece,
        )


def choose_substitutes(
    positions: Sequence[LackingPosition], candidates: Iterable[Candidate]
) -> tuple[Choice, ...]:
    """At most one piece per position and one position per piece, optimal over the whole kit.

    Order of aims: most positions filled, least total ratio deviation, least total step deviation,
    least remarks, least walking. Ties go by position in the given order to the lowest piece code.
    Raises ValueError for positions given twice, a candidate of no position, or the same piece
    twice for one position.
    """
    rows = {position.id: at for at, position in enumerate(positions)}
    if len(rows) < len(positions):
        raise ValueError("a position is given twice")
    given = list(candidates)
    _refuse_strangers(rows, given)
    codes = sorted({candidate.piece for candidate in given})
    columns = {code: at for at, code in enumerate(codes)}
    costs = {}
    for candidate in given:
        pair = rows[candidate.position], columns[candidate.piece]
        costs[pair] = cost_of(positions[pair[0]], candidate)
    chosen = assign(len(positions), len(codes), costs, LEVELS)
    return tuple(
        Choice(position.id, codes[column], *costs[row, column])
        for row, (position, column) in enumerate(zip(positions, chosen, strict=True))
        if column is not None
    )


def cost_of(position: LackingPosition, candidate: Candidate) -> tuple[int, int, int, int]:
    """(ratio deviation nm, step deviation nm, remarks, walking) of a piece at a position.

    Ratio deviation is |D_top − R · D_bottom|, to 1 nm; step deviation the sum of both sides'
    |step − drawn step|.
    """
    diameter_nm = candidate.drive_diameter_nm
    if diameter_nm is None:
        return 0, 0, candidate.remarks, candidate.walking
    return (
        _ratio_deviation_nm(position, diameter_nm),
        _step_deviation_nm(position, diameter_nm),
        candidate.remarks,
        candidate.walking,
    )


def _ratio_deviation_nm(position: LackingPosition, diameter_nm: int) -> int:
    if position.partner_nm is None or position.shaft in ("side", "line"):
        return 0
    is_top = position.shaft == "top"
    top_nm, bottom_nm = (
        (diameter_nm, position.partner_nm) if is_top else (position.partner_nm, diameter_nm)
    )
    return round_half_up(abs(top_nm - position.ratio * bottom_nm))


def _step_deviation_nm(position: LackingPosition, diameter_nm: int) -> int:
    deviation_nm = 0
    if position.previous_nm is not None and position.step_from_previous_nm is not None:
        step_nm = diameter_nm - position.previous_nm
        deviation_nm += abs(step_nm - position.step_from_previous_nm)
    if position.next_nm is not None and position.step_to_next_nm is not None:
        deviation_nm += abs(position.next_nm - diameter_nm - position.step_to_next_nm)
    return deviation_nm


def _refuse_strangers(rows: dict[int, int], given: Sequence[Candidate]) -> None:
    strangers = sorted({c.position for c in given if c.position not in rows})
    if strangers:
        raise ValueError(f"candidates of no position: {strangers}")
    counted = Counter((candidate.position, candidate.piece) for candidate in given)
    doubles = sorted(pair for pair, count in counted.items() if count > 1)
    if doubles:
        raise ValueError(f"the same piece twice for one position: {doubles}")

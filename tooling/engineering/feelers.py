"""GO and NO-GO packs of feeler leaves for a gap, and what a pair of leaves says of a gap."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from math import sqrt
from typing import Literal

from tooling.engineering.how import Step
from tooling.engineering.speeds import round_half_up

MOST_LEAVES = 3
"""More leaves than this in one pack are not flat together: common practice, no source."""
PRACTICE = "common practice: GO enters, NO-GO does not"


@dataclass(frozen=True)
class Pack:
    """Leaves laid together, thinnest first, and their total. Lengths in nm."""

    leaves_nm: tuple[int, ...]

    @property
    def total_nm(self) -> int:
        return sum(self.leaves_nm)


@dataclass(frozen=True)
class Packs:
    """How a gap is checked: by two packs, or by ``other`` means (strip sample, plug, solder).

    When GO enters and NO-GO does not, the gap is in [go, no_go), inside the window that was asked.
    """

    method: Literal["feelers", "other"]
    go: Pack | None
    no_go: Pack | None
    step: Step


@dataclass(frozen=True)
class Seen:
    """A gap that one pack enters and the next does not: its middle and standard uncertainty, nm."""

    middle: Fraction
    uncertainty_nm: float
    step: Step

    @property
    def middle_nm(self) -> int:
        return round_half_up(self.middle)


def packs(*, gap_nm: int, below_nm: int, above_nm: int, leaves_nm: Sequence[int]) -> Packs:
    """Packs of at most three leaves of the shop's own set for a gap of gap − below to gap + above.

    GO lies in [gap − below, gap], NO-GO in (gap, gap + above]; each takes the fewest leaves, then
    the total farthest from the gap, so that the crew has all of the window to work in. Leaves are
    those that the set has, each once in a pack; GO and NO-GO are used one after the other and may
    share leaves. Raises ValueError for a gap, window or leaf that is not positive, or a leaf twice.
    """
    if gap_nm <= 0 or below_nm < 0 or above_nm <= 0 or below_nm >= gap_nm:
        raise ValueError("a gap is open, and so is the least of its window")
    if any(leaf <= 0 for leaf in leaves_nm) or len(set(leaves_nm)) < len(leaves_nm):
        raise ValueError("a leaf has a thickness, and a set has each leaf once")
    every = list(_every(sorted(leaves_nm)))
    low, high = gap_nm - below_nm, gap_nm + above_nm
    go = min(
        (pack for pack in every if low <= pack.total_nm <= gap_nm),
        key=lambda pack: (len(pack.leaves_nm), pack.total_nm, pack.leaves_nm),
        default=None,
    )
    no_go = min(
        (pack for pack in every if gap_nm < pack.total_nm <= high),
        key=lambda pack: (len(pack.leaves_nm), -pack.total_nm, pack.leaves_nm),
        default=None,
    )
    found = go is not None and no_go is not None
    step = Step(
        what="feeler packs",
        formula="gap − below ≤ GO ≤ gap < NO-GO ≤ gap + above, at most three leaves each",
        source=PRACTICE,
        inputs={"gap_nm": gap_nm, "below_nm": below_nm, "above_nm": above_nm,
                "leaves_nm": sorted(leaves_nm)},
        value=[go.total_nm, no_go.total_nm] if go and no_go else "no such packs",
    )  # fmt: skip
    if not found:
        return Packs("other", None, None, step)
    return Packs("feelers", go, no_go, step)


def _every(leaves_nm: Sequence[int]) -> Iterator[Pack]:
    for count in range(1, MOST_LEAVES + 1):
        for chosen in combinations(leaves_nm, count):
            yield Pack(chosen)


def seen_between(*, enters_nm: int, does_not_nm: int) -> Seen:
    """The gap when one pack enters and a thicker one does not: anywhere between, equally likely.

    u = (b − a) / (2 √3), the rectangular distribution of JCGM 100:2008, 4.3.7. Raises ValueError
    when the pack that does not enter is not the thicker one.
    """
    if not 0 <= enters_nm < does_not_nm:
        raise ValueError("the pack that does not enter is thicker than the one that does")
    middle = Fraction(enters_nm + does_not_nm, 2)
    uncertainty = (does_not_nm - enters_nm) / (2 * sqrt(3))
    step = Step(
        what="gap between two feelers",
        formula="(a + b) / 2 ± (b − a) / (2 √3)",
        source="JCGM 100:2008, 4.3.7 (rectangular)",
        inputs={"enters_nm": enters_nm, "does_not_nm": does_not_nm},
        value=[float(middle), uncertainty],
    )
    return Seen(middle, uncertainty, step)

"""How one pass is gapped: target, what the feeler is to see, the two packs, the shaft centres."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import cos, radians

from tooling.engineering.feelers import Packs, packs
from tooling.engineering.gaps import (
    NEAR_VERTICAL_DEGREES,
    Centres,
    FaceGap,
    face_gap,
    shaft_centres,
)
from tooling.engineering.how import Step


@dataclass(frozen=True)
class GapSetting:
    """``face`` says whether by feeler or spacers; ``packs`` is None where no feeler is used;
    ``centres`` is None where a diameter at the gap point is not known."""

    gap_nm: int
    face: FaceGap
    packs: Packs | None
    centres: Centres | None

    @property
    def steps(self) -> tuple[Step, ...]:
        found = (
            self.face.step,
            self.packs.step if self.packs else None,
            self.centres.step if self.centres else None,
        )
        return tuple(step for step in found if step is not None)


def gap_setting(
    *,
    gap_nm: int,
    window_nm: int,
    leaves_nm: Sequence[int],
    degrees: float = 0,
    near_vertical_degrees: float = NEAR_VERTICAL_DEGREES,
    top_nm: int | None = None,
    bottom_nm: int | None = None,
    unmeasured: tuple[str, ...] = (),
) -> GapSetting:
    """The packs lie within ± ``window_nm`` of the vertical gap, both seen on the face inclined by
    ``degrees``: each is taken times cos θ. Lengths in nm. Source: geometry, see ``face_gap`` and
    ``packs``.

    Raises ValueError for a gap or window that is not positive, or an angle outside 0 to 90.
    """
    if gap_nm <= 0 or window_nm <= 0:
        raise ValueError("a gap is open, and so is its window")
    face = face_gap(gap_nm=gap_nm, degrees=degrees, near_vertical_degrees=near_vertical_degrees)
    centres = None
    if top_nm is not None and bottom_nm is not None:
        centres = shaft_centres(
            top_nm=top_nm, bottom_nm=bottom_nm, gap_nm=gap_nm, unmeasured=unmeasured
        )
    if not face.feeler_nm:
        return GapSetting(gap_nm, face, None, centres)
    seen = max(1, int(window_nm * cos(radians(degrees))))
    found = packs(
        gap_nm=face.feeler_nm,
        below_nm=min(seen, face.feeler_nm - 1),
        above_nm=seen,
        leaves_nm=leaves_nm,
    )
    return GapSetting(gap_nm, face, found, centres)


def diameter_at_gap(
    *, drawn_gap_nm: int, sizes: Iterable[tuple[int | None, int | None]]
) -> int | None:
    """The diameter at the gap point as it is now: the drawn one less what is gone elsewhere.

    ``sizes`` are (drawn, now) of other diameters of the same roll, the most trusted first; the
    first pair that is known on both sides says how much was cut off. A regrind takes the same off
    every diameter (common practice). None where nothing says, or nothing would be left.
    """
    for drawn, now in sizes:
        if drawn is not None and now is not None:
            left = drawn_gap_nm - (drawn - now)
            return left if left > 0 else None
    return None

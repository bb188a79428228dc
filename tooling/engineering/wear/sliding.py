"""How much more a point slides than the line where the roll runs at strip speed: Archard's law."""

from __future__ import annotations

from tooling.engineering.how import Step

ROLLING_SHARE = 0.01
"""Sliding that any face has against strip that it bends and drives, per length; from memory."""
USUAL_SLIDE = 0.05
"""Sliding per length of the points that a pool is made of, where nobody says; from memory."""


def slide(local_radius_nm: int, drive_radius_nm: int) -> float:
    """Sliding per length of strip at a local radius: |r / r_drive − 1|, and what rolling slides.

    Raises ValueError for radii that are not above nothing.
    """
    if local_radius_nm <= 0 or drive_radius_nm <= 0:
        raise ValueError("a radius is more than nothing")
    return abs(local_radius_nm / drive_radius_nm - 1) + ROLLING_SHARE


def sliding_scale(
    *, local_radius_nm: int, drive_radius_nm: int, usual: float = USUAL_SLIDE
) -> tuple[float, Step]:
    """By how much the pool's rate is scaled: depth grows with the distance slid (Archard).

    At equal pressure and hardness h = k·p·s / H, so that depths go as the sliding distances; the
    wear coefficient itself scatters by a factor of ten (Rabinowicz) and is never taken from a book.
    """
    here = slide(local_radius_nm, drive_radius_nm)
    scale = here / usual
    step = Step(
        what="sliding against the usual of like points",
        formula="(|local radius / drive radius − 1| + rolling) / usual",
        source="Archard: V = k·W·s / H, in depth h = k·p·s / H",
        inputs={
            "local_radius_nm": local_radius_nm,
            "drive_radius_nm": drive_radius_nm,
            "rolling": ROLLING_SHARE,
            "usual": usual,
        },
        value=scale,
        unmeasured=("rolling", "usual"),
    )
    return scale, step

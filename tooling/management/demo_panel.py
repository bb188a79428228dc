"""How the demo's cladding panel set wore: the set with the most passes. Ribs wear most where they
are bent, the flanks of one pass were scored, and its entry rolls were recut twice already."""

from __future__ import annotations

from datetime import datetime

from tooling.engineering.lengths import NM_PER_M, NM_PER_MM
from tooling.models import Drawing, DrawingKind, Person
from tooling.services import drawings, gauge_points

PANEL = "3318"
RUN_NM = 300_000 * NM_PER_M
"""What the footage book says of all its rolls: they ran together."""
DEPTH_LIMIT_NM = 228_000
FLANK_DEG = 80.0
ENTRY_DEG = 55.0
ENTRY = 1
BENDS = range(9, 15)
SCORED = (16, 18)
"""Passes at whose flanks the strip rubbed."""
BENT, RUBBED, ENTERED = 1.22, 1.3, {"T3": 3.15, "B3": 1.4}
"""How much faster than its other rolls those at the bends, flanks and entry wear."""
SPREAD_OF_DRAWINGS, SPREAD_OF_PIECES = 0.16, 0.08


def say_points(*, by: Person, at: datetime) -> None:
    """A root to read on the middle roll of every shaft, the flanks of the passes that were scored;
    and what a new one costs."""
    rows = Drawing.objects.filter(
        kind=DrawingKind.ROLL, number__startswith=f"{PANEL}-", revisions__is_current=True,
        revisions__root_diameter_nm__isnull=False,
    )  # fmt: skip
    for drawing in rows.order_by("number"):
        number, spot = pass_of(drawing.number), drawing.number.rpartition("-")[2]
        if spot in ("T3", "B3"):
            gauge_points.save_gauge_point(
                by=by, at=at, drawing=drawing, name="root", dimension="root_diameter",
                where="entry radius" if number == ENTRY else "middle of the throat",
                face_angle_deg=ENTRY_DEG if number == ENTRY else 0.0,
                depth_limit_nm=DEPTH_LIMIT_NM,
            )  # fmt: skip
            _price(drawing, by, at)
        elif number in SCORED and spot in ("T2", "T4"):
            gauge_points.save_gauge_point(
                by=by, at=at, drawing=drawing, name="flank", dimension="face_width",
                where="over both flanks, at half height", face_angle_deg=FLANK_DEG,
                depth_limit_nm=DEPTH_LIMIT_NM,
            )  # fmt: skip
            _price(drawing, by, at)


def pass_of(number: str) -> int:
    """The pass in a drawing's number, such as 12 of 3318-12-T3."""
    return int(number.split("-")[1])


def faster(number: str, dimension: str) -> float:
    """How much faster than usual a roll of the set wears there."""
    if dimension == "face_width":
        return RUBBED
    at_pass = pass_of(number)
    spot = number.rpartition("-")[2]
    return ENTERED.get(spot, 1.0) if at_pass == ENTRY else BENT if at_pass in BENDS else 1.0


def _price(drawing: Drawing, by: Person, at: datetime) -> None:
    revision = drawing.revisions.get(is_current=True)
    size_mm = (revision.outside_diameter_nm or 0) // NM_PER_MM
    drawings.edit_revision(by=by, at=at, revision=revision, new_cost_cents=100 * (160 + size_mm))

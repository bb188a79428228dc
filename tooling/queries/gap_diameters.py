"""Diameters at the gap point, drawn with the set's positions and less what was cut off since."""

from __future__ import annotations

from collections.abc import Callable

from tooling.engineering.gap_setting import diameter_at_gap
from tooling.models import DrawingRevision, Piece, SetPosition
from tooling.queries.sizes_at import DIAMETERS

Size = Callable[[str], int | None]
"""One dimension of a piece by its name, nm."""


def gap_diameter(
    position: SetPosition | None, drawn: DrawingRevision | None, size: Size | None
) -> int | None:
    """Of the roll that carries the gap point; None of any other. ``size`` gives what the piece
    measures, None where there is no piece: then it is as drawn.

    A piece with no diameter in common with its drawing is taken as drawn too.
    """
    if position is None or position.gap_diameter_nm is None:
        return None
    if size is None or drawn is None:
        return position.gap_diameter_nm
    pairs = [(getattr(drawn, f"{name}_nm"), size(name)) for name in DIAMETERS]
    known = [pair for pair in pairs if None not in pair]
    if not known:
        return position.gap_diameter_nm
    return diameter_at_gap(drawn_gap_nm=position.gap_diameter_nm, sizes=known)


def is_measured(piece: Piece | None) -> bool:
    """Whether somebody measured one of its diameters, so that a gap diameter rests on a reading."""
    return piece is not None and any(
        getattr(piece, f"now_{name}_nm") is not None for name in DIAMETERS
    )

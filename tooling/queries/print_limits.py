"""A drawing's dimensions with the limits within which a received piece is to print."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from tooling.engineering.fits import hole_limits
from tooling.errors import ToolingError
from tooling.models import DrawingRevision, Piece
from tooling.queries.piece_page import SIZES
from tooling.queries.settings import setting_value

LABELS = dict(SIZES)


@dataclass(frozen=True)
class Limit:
    """One drawn dimension, nm. ``why``: where its limits are from."""

    name: str
    label: Any
    drawn_nm: int
    least_nm: int
    most_nm: int
    why: str

    def deviation_of(self, value_nm: int) -> int:
        """How far from the drawn size; positive is larger."""
        return value_nm - self.drawn_nm

    def holds(self, value_nm: int) -> bool:
        """Whether the size is within the limits, the limits themselves included."""
        return self.least_nm <= value_nm <= self.most_nm


def print_limits(revision: DrawingRevision) -> tuple[Limit, ...]:
    """The drawn dimensions of a revision in the order of its sheet. One query.

    A bore goes by the drawing's class where the table has it (ISO 286, ANSI/ASME B4.1), anything
    else by the shop's tolerance, each way.
    """
    tolerance = int(setting_value("inspection_tolerance", unit=revision.unit))
    return tuple(
        _limit(revision, name, drawn, tolerance)
        for name, _label in SIZES
        if (drawn := getattr(revision, f"{name}_nm")) is not None
    )


def _limit(revision: DrawingRevision, name: str, drawn: int, tolerance: int) -> Limit:
    label = LABELS[name]
    if name == "bore" and revision.bore_class:
        try:
            of_class = hole_limits(drawn, revision.bore_class)
        except ToolingError:
            why = _("shop's tolerance: class {name} is in no table for this size")
            why = why.format(name=revision.bore_class)
            return Limit(name, label, drawn, drawn - tolerance, drawn + tolerance, why)
        why = _("class {name}").format(name=revision.bore_class)
        return Limit(name, label, drawn, of_class.least_nm, of_class.most_nm, why)
    return Limit(name, label, drawn, drawn - tolerance, drawn + tolerance, _("shop's tolerance"))


def off_print(
    limits: Iterable[Limit], piece: Piece, measured: Mapping[str, int]
) -> tuple[tuple[Limit, int], ...]:
    """The dimensions that are out of their limits, with what they measure: as ``measured`` now,
    else as the piece was last measured."""
    found = []
    for limit in limits:
        value = measured.get(limit.name, getattr(piece, f"now_{limit.name}_nm"))
        if value is not None and not limit.holds(value):
            found.append((limit, value))
    return tuple(found)

"""What the engineer settled, held against what a grinder can do."""

from __future__ import annotations

from collections.abc import Callable

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import exact_mm
from tooling.engineering.regrinds.model import Model
from tooling.errors import ToolingError


def _mm(piece: str, nm: int) -> str:
    return f"{exact_mm(nm)} mm"


def _code(piece: str) -> str:
    return piece


def check_pins(
    model: Model, say: Callable[[str, int], str] = _mm, called: Callable[[str], str] = _code
) -> None:
    """Every “cut to” names a diameter on record, takes something off, by whole grinder steps.
    ``say``: a length of a piece in nm, with its unit; ``called``: a piece by what people call it.

    Raises ToolingError ``no_such_diameter``, ``cut_adds`` and ``off_grinder_step`` (which names the
    nearest diameters).
    """
    for pin in model.problem.pins:
        if pin.kind != "cut_to" or pin.diameter_nm is None:
            continue
        found = model.problem.by_name[pin.piece].diameter(pin.diameter)
        if found is None:
            raise ToolingError(
                "no_such_diameter", _("{piece} has no {diameter} diameter on record."),
                piece=called(pin.piece), diameter=pin.diameter,
            )  # fmt: skip
        off = found.now_nm - pin.diameter_nm
        if off < 0:
            raise ToolingError(
                "cut_adds",
                _("{piece} is {now_said}; a cut to {wanted_said} would add to it."),
                piece=called(pin.piece),
                **_both(pin.piece, say, now=found.now_nm, wanted=pin.diameter_nm),
            )
        over = off % model.step_nm
        if over:
            above = pin.diameter_nm + over
            raise ToolingError(
                "off_grinder_step",
                _("{piece}: {wanted_said} is not whole grinder steps from {now_said}. The nearest "
                  "are {above_said} and {below_said}."),
                piece=called(pin.piece),
                **_both(pin.piece, say, now=found.now_nm, wanted=pin.diameter_nm, above=above,
                        below=above - model.step_nm),
            )  # fmt: skip


def _both(piece: str, say: Callable[[str, int], str], **lengths: int) -> dict[str, str]:
    """Each length in mm for programs, and as people are told it."""
    return {name: exact_mm(nm) for name, nm in lengths.items()} | {
        f"{name}_said": say(piece, nm) for name, nm in lengths.items()
    }

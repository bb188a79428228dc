"""What the engineer settled, held against what a grinder can do."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from tooling.engineering.lengths import exact_mm
from tooling.engineering.regrinds.model import Model
from tooling.errors import ToolingError


def check_pins(model: Model) -> None:
    """Every “cut to” names a diameter on record, takes something off, by whole grinder steps.

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
                piece=pin.piece, diameter=pin.diameter,
            )  # fmt: skip
        off = found.now_nm - pin.diameter_nm
        if off < 0:
            raise ToolingError(
                "cut_adds", _("{piece} is {now} mm; a cut to {wanted} mm would add to it."),
                piece=pin.piece, now=exact_mm(found.now_nm), wanted=exact_mm(pin.diameter_nm),
            )  # fmt: skip
        over = off % model.step_nm
        if over:
            raise ToolingError(
                "off_grinder_step",
                _("{piece}: {wanted} mm is not whole grinder steps from {now} mm. The nearest are "
                  "{above} mm and {below} mm."),
                piece=pin.piece, wanted=exact_mm(pin.diameter_nm), now=exact_mm(found.now_nm),
                above=exact_mm(pin.diameter_nm + over),
                below=exact_mm(pin.diameter_nm + over - model.step_nm),
            )  # fmt: skip

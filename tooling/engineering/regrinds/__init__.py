"""Regrind plans: what to leave, cut, face or replace so that a whole set runs true again.

``engine.solve_regrind`` is not named here: it loads the solver, and pages read the rest.
"""

from __future__ import annotations

from tooling.engineering.regrinds.answer import (
    Baseline,
    Conflict,
    Decision,
    Kind,
    LineTold,
    Plan,
    Reason,
    Solved,
)
from tooling.engineering.regrinds.geometry import Least, least_diameters, regrinds_left, stock_nm
from tooling.engineering.regrinds.release import check_release
from tooling.engineering.regrinds.specs import (
    Diameter,
    GapPoint,
    Keyway,
    Limits,
    Line,
    LinePass,
    Piece,
    Pin,
    PinKind,
    Prices,
    Problem,
    ShaftRun,
    WearPoint,
)

__all__ = [
    "Baseline",
    "Conflict",
    "Decision",
    "Diameter",
    "GapPoint",
    "Keyway",
    "Kind",
    "Least",
    "Limits",
    "Line",
    "LinePass",
    "LineTold",
    "Piece",
    "Pin",
    "PinKind",
    "Plan",
    "Prices",
    "Problem",
    "Reason",
    "ShaftRun",
    "Solved",
    "WearPoint",
    "check_release",
    "least_diameters",
    "regrinds_left",
    "stock_nm",
]

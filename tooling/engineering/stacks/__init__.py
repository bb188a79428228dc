"""Spacer stacks: which spacers go where on all shafts of a set at once.

``engine.solve_stacks`` is not named here: it loads the solver, and pages read the rest.
"""

from __future__ import annotations

from tooling.engineering.stacks.answer import FIGURES, Lack, Make, MakeList, ShaftAnswer, Stacks
from tooling.engineering.stacks.checking import check_stacks
from tooling.engineering.stacks.eligibility import Body, Seat, suits, why_not
from tooling.engineering.stacks.specs import (
    Fill,
    MakeGrid,
    Problem,
    Roll,
    Rules,
    Shaft,
    Source,
    Station,
)

__all__ = [
    "FIGURES",
    "Body",
    "Fill",
    "Lack",
    "Make",
    "MakeGrid",
    "MakeList",
    "Problem",
    "Roll",
    "Rules",
    "Seat",
    "Shaft",
    "ShaftAnswer",
    "Source",
    "Stacks",
    "Station",
    "check_stacks",
    "suits",
    "why_not",
]

"""Limits and fits: ISO 286 up to 500 mm and ANSI/ASME B4.1 up to 9.85 in, and worn bores."""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from django.utils.translation import gettext_lazy as _

from tooling.engineering.how import Step
from tooling.engineering.lengths import NM_PER_MM, NM_PER_UM, exact_mm
from tooling.engineering.tables import ansi_b4_1, iso_286
from tooling.errors import ToolingError

ISO_SOURCE = "ISO 286-1:2010, table 1 and fundamental deviations"
ANSI_SOURCE = "ANSI/ASME B4.1-1967 (2009)"
NM_PER_TENTH = 2_540
"""A ten-thousandth of an inch."""

Kind = Literal["clearance", "transition", "interference"]
BoreState = Literal["too small", "within class", "over class", "worn"]

_CLASS = re.compile(r"([A-Za-z]{1,2})([0-9]{1,2})")
_SAME_AS_H_SIDE = ("D", "E", "F", "G", "H")


@dataclass(frozen=True)
class Limits:
    """Permitted deviations from a basic size, in nm; ``lower_nm`` ≤ ``upper_nm``."""

    basic_nm: int
    tolerance_class: str
    lower_nm: int
    upper_nm: int
    how: tuple[Step, ...] = ()

    def __post_init__(self) -> None:
        if self.basic_nm <= 0 or self.lower_nm > self.upper_nm:
            raise ValueError(f"no limits: {self.basic_nm} {self.lower_nm} {self.upper_nm}")

    @property
    def least_nm(self) -> int:
        """The smallest permitted size, in nm."""
        return self.basic_nm + self.lower_nm

    @property
    def most_nm(self) -> int:
        """The largest permitted size, in nm."""
        return self.basic_nm + self.upper_nm


@dataclass(frozen=True)
class Fit:
    """Clearances between a hole and a shaft, in nm; negative is interference."""

    hole: Limits
    shaft: Limits
    least_clearance_nm: int
    most_clearance_nm: int
    kind: Kind
    how: tuple[Step, ...] = ()


@dataclass(frozen=True)
class BoreCondition:
    """How a bore stands against its class: ``over_nm`` is what it is beyond the class's upper
    limit (negative inside), ``limit_nm`` the largest bore that is not worn."""

    state: BoreState
    now_nm: int
    limits: Limits
    over_nm: int
    limit_nm: int
    how: tuple[Step, ...]


def limits(size_nm: int, tolerance_class: str, *, even_js: bool = False) -> Limits:
    """Deviations of an ISO 286 class (``H7``, ``g6``) at a basic size over 0 to 500 mm, in nm.

    Shafts d e f g h js k m n p, holes D E F G H JS, N from grade 9 and P from grade 8 (keyways);
    grades 5 to 11. A size on the end of a step belongs to the smaller step. js and JS are half the
    tolerance each way; with ``even_js`` an odd tolerance of grades 7 to 11 is first taken down to
    the even micrometre, as the standard's footnote permits.

    Source: ISO 286-1:2010 as typed in ``tables/iso_286.py``.
    Raises ToolingError ``unknown_fit_class`` and ``size_outside_table``.
    """
    letters, grade = _class_parts(tolerance_class)
    step = _iso_step(size_nm)
    width = iso_286.TOLERANCE_UM[grade][step]
    lower, upper = _iso_deviations(tolerance_class, letters, grade, step, even_js)
    lower_nm, upper_nm = int(lower * NM_PER_UM), int(upper * NM_PER_UM)
    how = Step(
        what=f"limits of {tolerance_class}",
        formula="tabled fundamental deviation and standard tolerance of the size step",
        source=ISO_SOURCE,
        inputs={"size_nm": size_nm, "class": tolerance_class, "it_um": width},
        value={"lower_nm": lower_nm, "upper_nm": upper_nm},
    )
    return Limits(size_nm, tolerance_class, lower_nm, upper_nm, (how,))


def ansi_limits(size_nm: int, fit_class: str) -> tuple[Limits, Limits]:
    """Hole and shaft limits of an ANSI/ASME B4.1 class of fit (``RC4``, ``LC2``, ``LT1``), in nm.

    Classes RC1 to RC8, LC1 to LC5, LT1 to LT4, over 0 to 9.85 in.
    Source: ``tables/ansi_b4_1.py``. Raises ToolingError ``unknown_fit_class`` and
    ``size_outside_table`` (also where the class's cell is not in the table).
    """
    name = fit_class.replace(" ", "").upper()
    if name not in ansi_b4_1.FITS:
        raise _unknown_class(fit_class, ", ".join(ansi_b4_1.FITS))
    step = bisect_left(ansi_b4_1.STEPS_TENTHS, Fraction(size_nm, NM_PER_TENTH))
    if size_nm <= 0 or step == len(ansi_b4_1.STEPS_TENTHS):
        raise _outside(size_nm, fit_class, "0 < d ≤ 9.85 in")
    hole, shaft = ansi_b4_1.FITS[name]
    pair = _ansi_shaft(shaft, step)
    if pair is None:
        raise _outside(size_nm, fit_class, "0.24 in to 3.15 in")
    hole_upper = ansi_b4_1.HOLE_TENTHS[hole][step]
    return (
        _ansi_side(size_nm, name, hole, (hole_upper, 0)),
        _ansi_side(size_nm, name, shaft, pair),
    )


def fit(hole: Limits, shaft: Limits) -> Fit:
    """Least and most clearance of a hole on a shaft, in nm, and the kind of fit.

    Raises ValueError when the two have different basic sizes.
    """
    if hole.basic_nm != shaft.basic_nm:
        raise ValueError(f"different basic sizes: {hole.basic_nm} and {shaft.basic_nm} nm")
    least = hole.lower_nm - shaft.upper_nm
    most = hole.upper_nm - shaft.lower_nm
    kind: Kind = "clearance" if least >= 0 else "interference" if most <= 0 else "transition"
    how = Step(
        what="clearance",
        formula="least = EI − es; most = ES − ei",
        source="ISO 286-1:2010, definitions",
        inputs={
            "hole_lower_nm": hole.lower_nm,
            "hole_upper_nm": hole.upper_nm,
            "shaft_lower_nm": shaft.lower_nm,
            "shaft_upper_nm": shaft.upper_nm,
        },
        value={"least_nm": least, "most_nm": most},
    )
    return Fit(hole, shaft, least, most, kind, (*hole.how, *shaft.how, how))


def named_fit(size_nm: int, name: str) -> Fit:
    """The fit that a drawing names: ``H7/g6`` by ISO 286, ``RC4`` by ANSI/ASME B4.1.

    Raises ToolingError ``unknown_fit_class`` and ``size_outside_table``.
    """
    hole, slash, shaft = name.replace(" ", "").partition("/")
    if not slash:
        return fit(*ansi_limits(size_nm, name))
    if not hole[:1].isupper() or not shaft[:1].islower():
        raise _unknown_class(name, "H7/g6")
    return fit(limits(size_nm, hole), limits(size_nm, shaft))


def hole_limits(size_nm: int, bore_class: str) -> Limits:
    """Limits of a bore by an ISO hole class (``H7``) or the hole of a B4.1 class (``RC4``).

    Raises ToolingError ``unknown_fit_class`` and ``size_outside_table``.
    """
    if bore_class.replace(" ", "").upper() in ansi_b4_1.FITS:
        return ansi_limits(size_nm, bore_class)[0]
    if not bore_class[:1].isupper():
        raise _unknown_class(bore_class, "H7, RC4")
    return limits(size_nm, bore_class)


def bore_condition(
    now_nm: int, nominal_nm: int, bore_class: str, worn_allowance_nm: int
) -> BoreCondition:
    """A measured bore against its class, in nm.

    ``too small`` below the class, ``within class``, ``over class`` beyond its upper limit but no
    further than the shop's allowance, ``worn`` beyond that. Source: the class's table; the
    allowance is the shop's setting.
    Raises ToolingError ``unknown_fit_class``, ``size_outside_table`` and ``negative_length``.
    """
    if now_nm <= 0 or worn_allowance_nm < 0:
        raise ToolingError(
            "negative_length",
            _("The bore must be above 0 and the worn-bore allowance must be 0 or more."),
        )
    permitted = hole_limits(nominal_nm, bore_class)
    limit_nm = permitted.most_nm + worn_allowance_nm
    how = Step(
        what="largest bore that is not worn",
        formula="nominal + upper deviation + allowance",
        source="class limit from the table; allowance from the shop's settings",
        inputs={
            "now_nm": now_nm,
            "nominal_nm": nominal_nm,
            "upper_nm": permitted.upper_nm,
            "allowance_nm": worn_allowance_nm,
        },
        value=limit_nm,
    )
    state = _bore_state(now_nm, permitted, limit_nm)
    over_nm = now_nm - permitted.most_nm
    return BoreCondition(state, now_nm, permitted, over_nm, limit_nm, (*permitted.how, how))


def _bore_state(now_nm: int, permitted: Limits, limit_nm: int) -> BoreState:
    if now_nm < permitted.least_nm:
        return "too small"
    if now_nm <= permitted.most_nm:
        return "within class"
    return "over class" if now_nm <= limit_nm else "worn"


def _class_parts(tolerance_class: str) -> tuple[str, int]:
    found = _CLASS.fullmatch(tolerance_class)
    if not found or int(found[2]) not in iso_286.TOLERANCE_UM:
        raise _unknown_class(tolerance_class, "H7, g6")
    return found[1], int(found[2])


def _iso_step(size_nm: int) -> int:
    step = bisect_left(iso_286.STEPS_MM, Fraction(size_nm, NM_PER_MM))
    if size_nm <= 0 or step == len(iso_286.STEPS_MM):
        raise _outside(size_nm, "ISO 286", "0 < d ≤ 500 mm")
    return step


def _iso_deviations(
    name: str, letters: str, grade: int, step: int, even_js: bool
) -> tuple[Fraction, Fraction]:
    """Lower and upper deviation in µm."""
    width = Fraction(iso_286.TOLERANCE_UM[grade][step])
    if letters in ("js", "JS"):
        half = (width - width % 2 if even_js and grade >= 7 else width) / 2
        return -half, half
    if letters in iso_286.UPPER_UM:
        upper = Fraction(iso_286.UPPER_UM[letters][step])
        return upper - width, upper
    if letters in _SAME_AS_H_SIDE:
        lower = Fraction(-iso_286.UPPER_UM[letters.lower()][step])
        return lower, lower + width
    if letters in iso_286.LOWER_UM:
        lower = Fraction(0 if letters == "k" and grade > 7 else iso_286.LOWER_UM[letters][step])
        return lower, lower + width
    if letters == "N" and grade >= 9:
        upper = Fraction(-iso_286.LOWER_UM["n"][0] if step == 0 else 0)
        return upper - width, upper
    if letters == "P" and grade >= 8:
        upper = Fraction(-iso_286.LOWER_UM["p"][step])
        return upper - width, upper
    raise _unknown_class(name, "H7, g6")


def _ansi_shaft(symbol: str, step: int) -> ansi_b4_1.Pair | None:
    """Upper and lower deviation in tenths; None where the table has no figure."""
    if symbol in ansi_b4_1.TRANSITION_TENTHS:
        return ansi_b4_1.TRANSITION_TENTHS[symbol][step]
    if symbol in ansi_b4_1.SHAFT_TENTHS:
        return ansi_b4_1.SHAFT_TENTHS[symbol][step]
    model_upper, model_lower = ansi_b4_1.SHAFT_TENTHS[ansi_b4_1.WIDTH_OF[symbol]][step]
    upper = ansi_b4_1.SHAFT_TENTHS["g5"][step][0] if symbol.startswith("g") else 0.0
    return upper, upper - (model_upper - model_lower)


def _ansi_side(size_nm: int, fit_class: str, symbol: str, pair: tuple[float, float]) -> Limits:
    upper_nm, lower_nm = (int(Fraction(str(tenths)) * NM_PER_TENTH) for tenths in pair)
    how = Step(
        what=f"limits of {symbol} in {fit_class}",
        formula="tabled deviations of the size step",
        source=ANSI_SOURCE,
        inputs={"size_nm": size_nm, "class": fit_class},
        value={"lower_nm": lower_nm, "upper_nm": upper_nm},
    )
    return Limits(size_nm, symbol, lower_nm, upper_nm, (how,))


def _unknown_class(name: str, examples: str) -> ToolingError:
    return ToolingError(
        "unknown_fit_class",
        _("“{name}” is not a class of fit in the tables. Write it like {examples}."),
        name=name[:40],
        examples=examples,
    )


def _outside(size_nm: int, name: str, span: str) -> ToolingError:
    return ToolingError(
        "size_outside_table",
        _("{size} mm is outside the table of {name}, which holds for {span}."),
        size=exact_mm(size_nm),
        name=name,
        span=span,
    )

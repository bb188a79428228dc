"""What was set the last time, translated to today's rolls and strip, or struck out with why.

An old number is right only for the rolls and strip it was set with. A gap follows the strip; the
screw of a shaft follows the strip and half of what was cut off the diameters at the gap point;
everything else stays, and is set again where the pass line moved. What was found in another way
is not compared at all. Source: geometry; when a number no longer holds is common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Literal

from tooling.engineering.gaps import GEOMETRY, RecutMoves, moves_between
from tooling.engineering.how import Step
from tooling.engineering.speeds import round_half_up

Follows = Literal["gap", "top", "bottom", "nothing"]


class Struck(StrEnum):
    """Why an old number no longer holds."""

    MILL = "other_mill"
    METHOD = "other_method"
    LOADED = "loaded_otherwise"
    ZERO = "zero_moved"
    STRIP = "strip_not_known"
    DIAMETERS = "diameters_not_known"
    LEAD = "lead_not_known"


@dataclass(frozen=True)
class Conditions:
    """What a number was, or is to be, set with. Lengths in nm; None where nobody knows.

    ``method`` empty: not said. ``is_loaded`` None: not said. Diameters are those at the gap point.
    """

    mill: str
    method: str = ""
    is_loaded: bool | None = None
    strip_nm: int | None = None
    top_nm: int | None = None
    bottom_nm: int | None = None


@dataclass(frozen=True)
class Screws:
    """How the shafts of the station are set. ``zero_moved``: aligned or zeroed since."""

    bottom_adjustable: bool = False
    lead_nm: int | None = None
    zero_moved: bool = False


@dataclass(frozen=True)
class Translated:
    """An old number as it should read today, exact; None where it is struck out.

    ``struck`` says why, ``by`` how far it was moved (in the number's own unit), ``reset`` that
    the pass line moved, so that what is not translated is to be set again.
    """

    value: Fraction | None
    by: Fraction
    struck: tuple[Struck, ...]
    reset: bool
    step: Step | None

    @property
    def value_nm(self) -> int | None:
        """A length as whole nm, halves away from zero."""
        return None if self.value is None else round_half_up(self.value)


def follows(name: str) -> Follows:
    """What a setting of this name follows: the gap (no name), a shaft, or nothing.

    A screw, dial or height of a shaft begins with the shaft: "top screw", "Bottom, outboard".
    """
    words = name.casefold().replace(",", " ").replace("-", " ").split()
    if not words:
        return "gap"
    if words[0] == "top":
        return "top"
    return "bottom" if words[0] == "bottom" else "nothing"


def translate(
    value: Fraction | int,
    *,
    follows: Follows,
    then: Conditions,
    now: Conditions,
    screws: Screws = Screws(),
    in_turns: bool = False,
) -> Translated:
    """An old number for today's strip and rolls; positions count upwards (up and open are +).

    gap: g + (t_now − t_then). Top shaft: + (t_now − t_then) + its move for the diameters, see
    ``moves_between``; bottom shaft: its move alone. ``in_turns`` divides by the lead of the screw.
    Struck out where mill, method or loading differ, where the screws' zero moved under a shaft's
    number, or where what it takes to translate is not known.
    """
    struck = _struck(follows, then, now, screws, in_turns)
    moves = _moves(then, now, screws)
    reset = bool(moves and moves.reset) and follows == "nothing"
    if struck:
        return Translated(None, Fraction(0), struck, reset, None)
    strip = Fraction((now.strip_nm or 0) - (then.strip_nm or 0))
    move = _by(follows, strip, moves)
    if in_turns and screws.lead_nm and follows in ("top", "bottom"):
        move /= screws.lead_nm
    return Translated(value + move, move, (), reset, _step(value, move, follows, then, now, screws))


def _struck(
    what: Follows, then: Conditions, now: Conditions, screws: Screws, in_turns: bool
) -> tuple[Struck, ...]:
    shaft = what in ("top", "bottom")
    unknown = None in (then.top_nm, then.bottom_nm, now.top_nm, now.bottom_nm)
    why = {
        Struck.MILL: then.mill != now.mill,
        Struck.METHOD: bool(now.method) and then.method != now.method,
        Struck.LOADED: now.is_loaded is not None
        and then.is_loaded is not None
        and then.is_loaded != now.is_loaded,
        Struck.ZERO: shaft and screws.zero_moved,
        Struck.STRIP: what in ("gap", "top") and None in (then.strip_nm, now.strip_nm),
        Struck.DIAMETERS: shaft and unknown,
        Struck.LEAD: shaft and in_turns and not screws.lead_nm,
    }
    return tuple(each for each, holds in why.items() if holds)


def _moves(then: Conditions, now: Conditions, screws: Screws) -> RecutMoves | None:
    if then.top_nm is None or now.top_nm is None:
        return None
    if then.bottom_nm is None or now.bottom_nm is None:
        return None
    return moves_between(
        top_removed_nm=then.top_nm - now.top_nm,
        bottom_removed_nm=then.bottom_nm - now.bottom_nm,
        bottom_adjustable=screws.bottom_adjustable,
        screw_lead_nm=screws.lead_nm,
    )


def _by(what: Follows, strip: Fraction, moves: RecutMoves | None) -> Fraction:
    if what == "gap":
        return strip
    if what == "top" and moves:
        return strip + moves.top_shaft_nm
    return moves.bottom_shaft_nm if what == "bottom" and moves else Fraction(0)


def _step(
    value: Fraction | int, move: Fraction, what: Follows, then: Conditions, now: Conditions,
    screws: Screws,
) -> Step:  # fmt: skip
    formula = {
        "gap": "old + (t_now − t_then)",
        "top": "old + (t_now − t_then) + top shaft's move for the diameters, in turns ÷ lead",
        "bottom": "old + bottom shaft's move for the diameters, in turns ÷ lead",
        "nothing": "old",
    }[what]
    return Step(
        what="last good number, translated",
        formula=formula,
        source=GEOMETRY,
        inputs={
            "old": float(value),
            "strip_then_nm": then.strip_nm,
            "strip_now_nm": now.strip_nm,
            "top_then_nm": then.top_nm,
            "top_now_nm": now.top_nm,
            "bottom_then_nm": then.bottom_nm,
            "bottom_now_nm": now.bottom_nm,
            "bottom_adjustable": screws.bottom_adjustable,
            "screw_lead_nm": screws.lead_nm,
        },
        value=float(value + move),
    )

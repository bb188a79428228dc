"""Surface speeds: top against bottom at a station, and pass against pass along the mill.

Exact throughout: diameters are whole nanometres, ratios and rpm factors are fractions. The rule
that the ratio of the drive diameters must equal the ratio of the gearing, and that the speeds must
not fall along the mill, is common practice in the trade.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import isqrt, pi
from typing import Literal

from django.utils.translation import gettext_lazy as _

from tooling.engineering.findings import Finding, Level
from tooling.engineering.how import Step

Shaft = Literal["top", "bottom"]
SHAFTS: tuple[Shaft, ...] = ("bottom", "top")
RULE = "common practice, no source"


@dataclass(frozen=True)
class DriveRoll:
    """The roll that runs at strip speed on one shaft.

    ``drawn_nm`` is the drawing's diameter where known; ``uncertainty_nm`` the expanded uncertainty
    (k = 2) of the diameter, None when it was never measured: then it counts as 0 and is named.
    ``driven`` is False where the shaft or this segment idles. ``rpm_factor`` is the drive group's
    speed against the line's.
    """

    diameter_nm: int
    drawn_nm: int | None = None
    uncertainty_nm: int | None = None
    driven: bool = True
    rpm_factor: Fraction = Fraction(1)

    def __post_init__(self) -> None:
        if self.diameter_nm <= 0 or (self.drawn_nm is not None and self.drawn_nm <= 0):
            raise ValueError("a drive diameter is more than nothing")
        if self.uncertainty_nm is not None and self.uncertainty_nm < 0:
            raise ValueError("an uncertainty is not negative")
        if self.rpm_factor <= 0:
            raise ValueError("an rpm factor is more than nothing")


@dataclass(frozen=True)
class DrivePass:
    """One occupied pass. ``ratio`` is D_top / D_bottom at equal surface speed."""

    number: int
    top: DriveRoll | None = None
    bottom: DriveRoll | None = None
    station: int | None = None
    ratio: Fraction = Fraction(1)

    def __post_init__(self) -> None:
        if self.ratio <= 0:
            raise ValueError("a gear ratio is more than nothing")

    def driven(self, shaft: Shaft) -> DriveRoll | None:
        """The roll of a shaft, where it is driven."""
        roll = self.top if shaft == "top" else self.bottom
        return roll if roll is not None and roll.driven else None


@dataclass(frozen=True)
class SpeedLimits:
    """Settings of the shop: when a ratio or an undrawn step is told as unusual."""

    ratio_warn: Fraction = Fraction(1, 1000)
    step_least: Fraction = Fraction(5, 10_000)
    step_most: Fraction = Fraction(1, 100)


def surface_speed_m_min(diameter_nm: int, rpm: float) -> float:
    """Surface speed in metres a minute, v = π D n. Source: geometry."""
    if diameter_nm <= 0 or rpm < 0:
        raise ValueError("a diameter is more than nothing and an rpm is not negative")
    return pi * diameter_nm / 1e9 * rpm


def speed_step(diameter_nm: int, rpm: float) -> Step:
    """``surface_speed_m_min`` with its formula and inputs."""
    return Step(
        what="surface speed in m/min",
        formula="v = π · D · n",
        source="geometry",
        inputs={"diameter_nm": diameter_nm, "rpm": rpm},
        value=surface_speed_m_min(diameter_nm, rpm),
    )


def check_speeds(
    passes: Sequence[DrivePass], limits: SpeedLimits = SpeedLimits()
) -> tuple[Finding, ...]:
    """Ratio at every station, then every step between occupied passes, in the passes' order."""
    ratios = tuple(check_ratio(each, limits) for each in passes)
    return ratios + tuple(_progression(passes, limits))


def check_ratio(drive_pass: DrivePass, limits: SpeedLimits = SpeedLimits()) -> Finding:
    """The station's ratio kept: |D_top − R · D_bottom| / (R · D_bottom) within the limit.

    Not checked where a shaft or segment idles. Beyond the limit it warns: practice varies.
    """
    top, bottom = drive_pass.driven("top"), drive_pass.driven("bottom")
    if top is None or bottom is None:
        return Finding(
            "ratio", "ok", "ratio_not_checked",
            _("Pass {pass_number}: a shaft or segment idles, so its ratio is not checked."),
            {"pass_number": drive_pass.number},
            station=drive_pass.station, pass_number=drive_pass.number,
        )  # fmt: skip
    turns = drive_pass.ratio * bottom.rpm_factor / top.rpm_factor
    wanted = turns * bottom.diameter_nm
    deviation = abs(top.diameter_nm - wanted) / wanted
    off = deviation > limits.ratio_warn
    unmeasured = tuple(
        name
        for name, roll in (("top_nm", top), ("bottom_nm", bottom))
        if roll.uncertainty_nm is None
    )
    step = Step(
        what=f"pass {drive_pass.number}: deviation from the ratio",
        formula="|D_top − R · D_bottom| / (R · D_bottom)",
        source=RULE,
        inputs={
            "top_nm": top.diameter_nm,
            "bottom_nm": bottom.diameter_nm,
            "ratio": float(turns),
        },
        value=float(deviation),
        unmeasured=unmeasured,
    )
    return Finding(
        "ratio", "warn" if off else "ok", "ratio_off" if off else "ratio_kept",
        _("Pass {pass_number}: top {top} and bottom {bottom} are {percent} % off the "
          "ratio {ratio}; top should be {wanted}.") if off else
        _("Pass {pass_number}: top {top} and bottom {bottom} keep the ratio {ratio}."),
        {
            "pass_number": drive_pass.number, "top_nm": top.diameter_nm,
            "bottom_nm": bottom.diameter_nm, "ratio": round(float(turns), 6),
            "wanted_nm": round_half_up(wanted), "percent": round(float(deviation * 100), 3),
        },
        station=drive_pass.station, pass_number=drive_pass.number,
        unmeasured=unmeasured, steps=(step,),
    )  # fmt: skip


def equal_speed_nm(drive_pass: DrivePass, shaft: Shaft, diameter_nm: int) -> Fraction:
    """A diameter on a shaft, as the bottom diameter at line rpm that has its surface speed.

    The top shaft turns at 1 / R of the bottom's speed; drive groups add their rpm factor.
    """
    roll = drive_pass.top if shaft == "top" else drive_pass.bottom
    if roll is None:
        raise ValueError(f"pass {drive_pass.number} has no roll on its {shaft} shaft")
    speed = diameter_nm * roll.rpm_factor
    return speed / drive_pass.ratio if shaft == "top" else speed


def _progression(passes: Sequence[DrivePass], limits: SpeedLimits) -> Iterator[Finding]:
    for before, from_shaft, after, to_shaft in counted_steps(passes):
        yield _check_step(before, from_shaft, after, to_shaft, limits)


def counted_steps(
    passes: Sequence[DrivePass],
) -> Iterator[tuple[DrivePass, Shaft, DrivePass, Shaft]]:
    """The steps that count: between occupied passes, on every shaft that both drive, else from the
    one's first driven shaft to the other's."""
    for before, after in _neighbours(passes):
        shared = [s for s in SHAFTS if before.driven(s) and after.driven(s)]
        pairs = [(s, s) for s in shared] or [(_first_driven(before), _first_driven(after))]
        for from_shaft, to_shaft in pairs:
            yield before, from_shaft, after, to_shaft


def _neighbours(passes: Sequence[DrivePass]) -> Iterator[tuple[DrivePass, DrivePass]]:
    """Occupied passes with a driven roll, two by two: steps skip idle stations."""
    moving = [each for each in passes if each.driven("bottom") or each.driven("top")]
    return pairwise(moving)


def _first_driven(drive_pass: DrivePass) -> Shaft:
    return "bottom" if drive_pass.driven("bottom") else "top"


def _check_step(
    before: DrivePass, from_shaft: Shaft, after: DrivePass, to_shaft: Shaft, limits: SpeedLimits
) -> Finding:
    old, new = before.driven(from_shaft), after.driven(to_shaft)
    if old is None or new is None:
        raise ValueError("a step is counted between driven rolls")
    start = equal_speed_nm(before, from_shaft, old.diameter_nm)
    step_nm = equal_speed_nm(after, to_shaft, new.diameter_nm) - start
    u_nm = uncertainty_of_step(before, from_shaft, old, after, to_shaft, new)
    drawn_nm: Fraction | None = None
    if old.drawn_nm is not None and new.drawn_nm is not None:
        drawn_nm = equal_speed_nm(after, to_shaft, new.drawn_nm) - equal_speed_nm(
            before, from_shaft, old.drawn_nm
        )
    level, code, template = _judge(step_nm, drawn_nm, u_nm, step_nm / start, limits)
    inputs = {
        "before_nm": round_half_up(start),
        "after_nm": round_half_up(start + step_nm),
        "before_uncertainty_nm": old.uncertainty_nm or 0,
        "after_uncertainty_nm": new.uncertainty_nm or 0,
        "drawn_step_nm": None if drawn_nm is None else round_half_up(drawn_nm),
    }
    unmeasured = tuple(
        name
        for name, roll in (("before_nm", old), ("after_nm", new))
        if roll.uncertainty_nm is None
    )
    step = Step(
        what=f"pass {before.number} to {after.number}, {to_shaft}: step at equal rpm",
        formula="D_after · rpm factor − D_before · rpm factor (top shaft divided by the ratio); "
        "slack when below −u with u² = u_before² + u_after² (k = 2)",
        source=RULE,
        inputs=inputs,
        value=round_half_up(step_nm),
        unmeasured=unmeasured,
        rounding="to 1 nm, halves up",
    )
    values = {
        "before": before.number, "after": after.number, "shaft": to_shaft,
        "step_nm": round_half_up(step_nm), "drawn_step_nm": inputs["drawn_step_nm"],
        "uncertainty_nm": u_nm, "percent": round(float(step_nm / start * 100), 3),
    }  # fmt: skip
    return Finding(
        "progression", level, code, template, values, station=after.station,
        pass_number=after.number, unmeasured=unmeasured, steps=(step,),
    )  # fmt: skip


def _judge(
    step_nm: Fraction,
    drawn_nm: Fraction | None,
    u_nm: int,
    share: Fraction,
    limits: SpeedLimits,
) -> tuple[Level, str, object]:
    """A drop beyond the uncertainty is slack; the drawing may have it. Equal is not slack."""
    if step_nm < -u_nm:
        if drawn_nm is not None and drawn_nm < 0:
            return (
                "warn",
                "speed_drop_drawn",
                _(
                    "Pass {before} to {after}, {shaft}: the speed drops, a step of {step}, as "
                    "drawn ({drawn_step}). Watch for slack strip."
                ),
            )
        return (
            "no",
            "speed_slack",
            _(
                "Pass {before} to {after}, {shaft}: the speed drops, a step of {step}, where "
                "the drawing has no drop; strip would go slack. Recut the passes together, or let "
                "an engineer sign a reason."
            ),
        )
    if drawn_nm is None and not limits.step_least <= share <= limits.step_most:
        return (
            "warn",
            "step_unusual",
            _(
                "Pass {before} to {after}, {shaft}: the step of {step} ({percent} %) is unusual "
                "and no drawing gives one. Compare it with the design."
            ),
        )
    return (
        "ok",
        "step_kept",
        _("Pass {before} to {after}, {shaft}: step {step}, uncertainty {uncertainty}."),
    )


def uncertainty_of_step(
    before: DrivePass, from_shaft: Shaft, old: DriveRoll,
    after: DrivePass, to_shaft: Shaft, new: DriveRoll,
) -> int:  # fmt: skip
    """Expanded uncertainty (k = 2) of the difference, at equal rpm, rounded down to 1 nm."""
    first = equal_speed_nm(before, from_shaft, old.uncertainty_nm or 0)
    second = equal_speed_nm(after, to_shaft, new.uncertainty_nm or 0)
    squares = first * first + second * second
    return isqrt(squares.numerator // squares.denominator)


def round_half_up(value: Fraction) -> int:
    """Whole nanometres, halves away from zero."""
    whole = (2 * abs(value) + 1) // 2
    return int(whole) if value >= 0 else -int(whole)

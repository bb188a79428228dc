"""What a reading is worth: the gauge, the temperature, and how uncertainties are put together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from math import inf, sqrt

from tooling.engineering.how import Step
from tooling.engineering.wear.normal import student_quantile

GUM = "JCGM 100:2008"
STEEL_PER_K = 11.5e-6
STEEL_PER_K_U = 1.0e-6
"""Expansion of tool and carbon steel; from memory, as JCGM 100 H.1 takes it for a steel block."""
REFERENCE_C = 20.0
SOAK_K = 3.0
UNKNOWN_K = 10.0
"""A piece that nobody let soak may be so much off 20 °C, each way; from memory."""
THERMOMETER_K = 1.0
ASSUMED_RESOLUTION_NM = 10_000
ASSUMED_U_NM = 10_000
"""Where the gauge has no record: a 0.01 mm instrument, ± 0.01 mm; from memory."""


@dataclass(frozen=True)
class GaugeRecord:
    """What a gauge's record says, whole nm: resolution, and uncertainty as stated (k = 2)."""

    resolution_nm: int | None = None
    uncertainty_nm: int | None = None


@dataclass(frozen=True)
class Thermal:
    """How warm the piece was: soaked (within 3 K of 20 °C), measured, or neither."""

    is_soaked: bool | None = None
    temperature_c: float | None = None
    per_k: float = STEEL_PER_K
    per_k_u: float = STEEL_PER_K_U


@dataclass(frozen=True)
class Worth:
    """A reading at 20 °C with its standard uncertainty (k = 1), what was assumed, and how."""

    value_nm: float
    u_nm: float
    assumed: tuple[str, ...]
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Part:
    """One part of an uncertainty: sensitivity, standard uncertainty, degrees of freedom."""

    c: float
    u: float
    freedom: float = inf


@dataclass(frozen=True)
class Combined:
    """Combined standard uncertainty and its effective degrees of freedom."""

    u: float
    freedom: float

    def expanded(self, level: float) -> float:
        """U for a level of confidence: Student's quantile of the whole degrees of freedom, · u."""
        freedom = 1e9 if self.freedom == inf else max(1, int(self.freedom))
        return student_quantile((1 + level) / 2, freedom) * self.u


def combined(parts: Iterable[Part]) -> Combined:
    """u² = Σ (cᵢ uᵢ)²; degrees of freedom by Welch and Satterthwaite. JCGM 100, 5.1.2 and G.4."""
    known = list(parts)
    variance = sum((part.c * part.u) ** 2 for part in known)
    weight = sum((part.c * part.u) ** 4 / part.freedom for part in known)
    return Combined(sqrt(variance), variance**2 / weight if weight else inf)


def resolution_u(resolution_nm: float) -> float:
    """Standard uncertainty of a reading to the nearest step: rectangular, step / √12."""
    return resolution_nm / sqrt(12)


def worth(value_nm: int, *, size_nm: int, gauge: GaugeRecord, thermal: Thermal) -> Worth:
    """A reading brought to 20 °C, with the gauge's and the temperature's uncertainty.

    ``size_nm`` is the length that expands (the diameter, the width). Raises ValueError for a
    negative size or a temperature at which nobody measures.
    """
    found, u, assumed = worth_in_short(value_nm, size_nm=size_nm, gauge=gauge, thermal=thermal)
    gauge_u, gauge_step, _assumed = _gauge(gauge)
    step = Step(
        what="uncertainty of the reading",
        formula="√(u_gauge² + u_temperature²)",
        source=GUM,
        inputs={"gauge_u_nm": gauge_u, "temperature_u_nm": _heat(size_nm, thermal)[1]},
        value=u,
    )
    return Worth(found, u, assumed, (gauge_step, _heat_step(size_nm, thermal), step))


def worth_in_short(
    value_nm: int, *, size_nm: int, gauge: GaugeRecord, thermal: Thermal
) -> tuple[float, float, tuple[str, ...]]:
    """The value, its uncertainty and what was assumed, as `worth`, without the steps: for forecasts
    of a whole shop. Raises as it does."""
    if size_nm < 0 or (
        thermal.temperature_c is not None and not -30 <= thermal.temperature_c <= 90
    ):
        raise ValueError("a size is not negative, and a piece is measured between -30 and 90 °C")
    gauge_u, _step, assumed = _gauge(gauge)
    shift, heat_u, heat_assumed = _heat(size_nm, thermal)
    return value_nm - shift, sqrt(gauge_u**2 + heat_u**2), (*assumed, *heat_assumed)


@lru_cache(maxsize=1_024)
def _gauge(gauge: GaugeRecord) -> tuple[float, Step, tuple[str, ...]]:
    nothing = gauge.resolution_nm is None and gauge.uncertainty_nm is None
    resolution = ASSUMED_RESOLUTION_NM if nothing else gauge.resolution_nm or 0
    stated = ASSUMED_U_NM if nothing else gauge.uncertainty_nm or 0
    u = sqrt(resolution**2 / 12 + (stated / 2) ** 2)
    step = Step(
        what="uncertainty of the gauge",
        formula="√(resolution² / 12 + (stated / 2)²)",
        source=GUM,
        inputs={"resolution_nm": resolution, "stated_nm": stated},
        value=u,
        unmeasured=("resolution_nm", "stated_nm") if nothing else (),
    )
    return u, step, ("gauge",) if nothing else ()


def _heat(size_nm: int, thermal: Thermal) -> tuple[float, float, tuple[str, ...]]:
    """Shift to take off, its uncertainty, and what was assumed. Lengths at 20 °C: ISO 1."""
    if thermal.temperature_c is not None and not thermal.is_soaked:
        off = thermal.temperature_c - REFERENCE_C
        u = size_nm * sqrt((thermal.per_k * THERMOMETER_K) ** 2 + (thermal.per_k_u * off) ** 2)
        return size_nm * thermal.per_k * off, u, ()
    off = SOAK_K if thermal.is_soaked else UNKNOWN_K
    assumed = () if thermal.is_soaked else ("temperature",)
    return 0.0, size_nm * thermal.per_k * off / sqrt(3), assumed


def _heat_step(size_nm: int, thermal: Thermal) -> Step:
    shift, u, assumed = _heat(size_nm, thermal)
    if thermal.temperature_c is not None and not thermal.is_soaked:
        formula = "α·D·ΔT"
        off = thermal.temperature_c - REFERENCE_C
        u_step = {"off_k": off, "off_u_k": THERMOMETER_K, "per_k_u": thermal.per_k_u}
    else:
        formula = "no correction; ± α·D·ΔT rectangular"
        u_step = {"within_k": SOAK_K if thermal.is_soaked else UNKNOWN_K}
    return Step(
        what="correction to 20 °C",
        formula=formula,
        source=f"{GUM} H.1; ISO 1",
        inputs={"size_nm": size_nm, "per_k": thermal.per_k, **u_step},
        value={"correction_nm": shift, "u_nm": u},
        unmeasured=("within_k",) if assumed else (),
    )

"""What like pieces taught about wear: plain numbers that a row of the database can keep."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from functools import lru_cache
from math import isfinite, log
from types import MappingProxyType
from typing import Any

DEFAULT_FACTORS: Mapping[str, float] = MappingProxyType(
    {"cold rolled": 1.0, "galvanised": 2.5, "stainless": 4.5, "high strength": 4.5}
)
"""Wear per length against cold rolled, which is 1 by definition; from memory, until learned."""
FACTOR_SPREAD = 0.5
"""How sure the defaults are: standard deviation of the logarithm; from memory."""
UNKNOWN_SPREAD = 0.8
"""The same of a class without a default, which counts as cold rolled until learned."""
_SAME_CLASS: Mapping[str, str] = MappingProxyType(
    {
        "": "cold rolled", "cr": "cold rolled", "cold-rolled": "cold rolled",
        "cold rolled": "cold rolled", "galvanized": "galvanised", "galv": "galvanised",
        "hss": "high strength", "hsla": "high strength", "high-strength": "high strength",
    }
)  # fmt: skip
USUAL_RATE_NM_PER_KM = 150.0
"""0.1 mm in about 700 km of cold rolled strip on hardened tool steel: from memory, low
confidence; no published figure found. Used until the shop's own readings speak."""
USUAL_SPREAD = 0.9
USUAL_PIECE_SHARE = 0.5
"""Hardness and mounting stay with a roll, the depth of the cut and its finish do not: an even share
of either, from memory; learned where pieces have several lives."""


@lru_cache(maxsize=1_000)
def strip_class(name: str) -> str:
    """The class as the factors name it: spelling variants and case are one class."""
    plain = " ".join(name.casefold().split())
    return _SAME_CLASS.get(plain, plain)


@dataclass(frozen=True)
class Pool:
    """Like pieces: the rate is log-normal between them, bedding-in normal.

    ``log_rate`` is the mean of ln(depth in nm per km of equivalent strip), ``log_rate_sd`` the
    spread between pieces, ``log_rate_se`` the standard error of the mean; ``odd_share`` of the
    pieces spread ``odd_times`` as wide. ``bedding_nm`` ± ``bedding_sd_nm`` is lost while a fresh
    face beds in. ``points`` and ``readings`` say what it was fitted from.
    """

    log_rate: float = log(USUAL_RATE_NM_PER_KM)
    log_rate_sd: float = USUAL_SPREAD
    log_rate_se: float = 0.0
    odd_share: float = 0.05
    odd_times: float = 3.0
    bedding_nm: float = 0.0
    bedding_sd_nm: float = 2_500.0
    points: int = 0
    readings: int = 0

    def __post_init__(self) -> None:
        if not all(isfinite(float(getattr(self, each.name))) for each in fields(self)):
            raise ValueError("a pool is made of finite numbers")
        if self.log_rate_sd <= 0 or self.log_rate_se < 0 or self.bedding_sd_nm < 0:
            raise ValueError("a spread is not negative")
        if not 0 <= self.odd_share < 0.5 or self.odd_times < 1:
            raise ValueError("odd pieces are fewer than half, and further out")

    @property
    def is_learned(self) -> bool:
        """Whether any reading of a like piece stands behind it."""
        return self.readings > 0


@dataclass(frozen=True)
class Prior:
    """Everything that was learned from all histories.

    ``pools`` by the point's ``alike``; ``everything`` is the pool of a point that has none.
    ``factors`` by strip class with the standard deviation of their logarithm in ``factor_sd``;
    ``factor_shared`` is what of it they share with one another and, the other way, with the mean of
    ln rate, of whose error it is ``rate_shared``.
    ``bedding_km``: a face beds in as 1 − exp(−equivalent length / it). ``late_more`` ± ``late_sd``:
    late in life (well beyond ``late_km``) a point wears by this share of the usual rate faster.
    ``piece_share``: of the variance of ln rate between like pieces, what a piece keeps from cut to
    cut; the rest is new with each life.
    ``chrome_ratio``: bare steel wears so many times as fast as its plating, ±
    ``chrome_ratio_sd``. ``scatter_nm`` (k = 1) is how readings of one point scatter beyond their
    gauges; ``odd_readings`` of them are ``odd_reading_times`` as far out.
    """

    everything: Pool = field(default_factory=Pool)
    pools: Mapping[str, Pool] = field(default_factory=dict)
    factors: Mapping[str, float] = field(default_factory=lambda: dict(DEFAULT_FACTORS))
    factor_sd: Mapping[str, float] = field(
        default_factory=lambda: {
            name: 0.0 if name == "cold rolled" else FACTOR_SPREAD for name in DEFAULT_FACTORS
        }
    )
    factor_shared: Mapping[str, float] = field(default_factory=dict)
    rate_shared: float = 0.0
    bedding_km: float = 20.0
    late_km: float = 300.0
    late_more: float = 0.0
    late_sd: float = 0.02
    piece_share: float = USUAL_PIECE_SHARE
    chrome_ratio: float = 4.0
    chrome_ratio_sd: float = 1.5
    scatter_nm: float = 700.0
    odd_readings: float = 0.02
    odd_reading_times: float = 8.0

    def __post_init__(self) -> None:
        for name in ("pools", "factors", "factor_sd", "factor_shared"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))
        if any(not (isfinite(each) and each > 0) for each in self.factors.values()):
            raise ValueError("a factor is more than nothing")
        if (
            min(self.bedding_km, self.late_km) <= 0
            or self.late_sd < 0
            or self.chrome_ratio <= 0
            or self.scatter_nm < 0
            or not 0 <= self.piece_share < 1
        ):
            raise ValueError("lengths, ratios and scatter are more than nothing")

    def pool(self, alike: str) -> Pool:
        """The pool of like pieces, or of all where there is none."""
        return self.pools.get(alike, self.everything)

    def factor(self, name: str) -> float:
        """Wear per length of this class against cold rolled; 1 where nothing is known."""
        return self.factors.get(strip_class(name), 1.0)

    def factor_spread(self, name: str) -> float:
        """Standard deviation of the factor's logarithm."""
        plain = strip_class(name)
        return 0.0 if plain == "cold rolled" else self.factor_sd.get(plain, UNKNOWN_SPREAD)

    def shared(self, name: str) -> float:
        """The part of ``factor_spread`` that goes with the other factors, against the rate."""
        return self.factor_shared.get(strip_class(name), 0.0)

    def equivalent_nm(self, run_nm: Mapping[str, int]) -> float:
        """Σ factor(class) × length, added in the order of the classes' names."""
        return sum(self.factor(name) * run_nm[name] for name in sorted(run_nm))

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON numbers; ``Prior.from_dict`` gives an equal prior back."""
        told = {each.name: getattr(self, each.name) for each in fields(self)}
        return told | {
            "everything": asdict(self.everything),
            "pools": {name: asdict(self.pools[name]) for name in sorted(self.pools)},
            "factors": dict(sorted(self.factors.items())),
            "factor_sd": dict(sorted(self.factor_sd.items())),
            "factor_shared": dict(sorted(self.factor_shared.items())),
        }

    @classmethod
    def from_dict(cls, told: Mapping[str, Any]) -> Prior:
        """The prior that ``as_dict`` told. Raises ValueError or TypeError for anything else."""
        names = {each.name for each in fields(cls)}
        if not set(told) <= names:
            raise ValueError(f"no part of a prior: {', '.join(sorted(set(told) - names))}")
        words = dict(told)
        words["everything"] = Pool(**words.get("everything", {}))
        words["pools"] = {name: Pool(**each) for name, each in words.get("pools", {}).items()}
        return cls(**words)

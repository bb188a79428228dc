"""Invented pieces whose wear is known: from the law that the engine assumes, and from another.

Everything comes from a seed. Rates are per km of cold rolled strip, depths in nm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tooling.engineering.wear import NM_PER_KM, History, PointSpec, ReadingAt

FACTORS = {"cold rolled": 1.0, "galvanised": 2.8, "stainless": 4.0}
NEW_NM = 152_400_000
LIMIT_NM = 150_000
AHEAD_KM = 60.0
RATE, SPREAD = 150.0, 0.35


@dataclass(frozen=True)
class Law:
    """How pieces wear and how they are read. ``depth(rng)`` draws a piece: depth by equivalent km.

    ``scatter`` (nm, on depth) is beyond the gauge, whose ``u`` (nm, on the diameter, k = 1) is
    told; values are read to ``step``; ``odd`` of them are far out.
    """

    depth: Callable[[np.random.Generator], Callable[[float], float]]
    u: float = 2_500.0
    scatter: float = 1_000.0
    step: int = 1
    odd: float = 0.0
    odd_nm: float = 40_000.0


def straight(rng: np.random.Generator) -> Callable[[float], float]:
    """The law of the model: log-normal rate, normal bedding-in over 20 km."""
    rate, bed = RATE * np.exp(SPREAD * rng.normal()), rng.normal(2_500, 1_200)
    return lambda km: bed * (1 - np.exp(-km / 20)) + rate * km


def shop(rng: np.random.Generator) -> Law:
    """A shop of its own: what its pieces wear, how they differ and how its readings scatter."""
    rate, spread = RATE * np.exp(0.6 * rng.normal()), SPREAD * np.exp(0.3 * rng.normal())

    def depth(dice: np.random.Generator) -> Callable[[float], float]:
        own, bed = rate * np.exp(spread * dice.normal()), dice.normal(2_500, 1_200)
        return lambda km: bed * (1 - np.exp(-km / 20)) + own * km

    return Law(depth, scatter=float(np.exp(rng.uniform(np.log(500), np.log(1_500)))))


def roll_with_lives(rng: np.random.Generator, share: float, harder: float) -> Law:
    """One roll: what it keeps from cut to cut is drawn here, what is new with each life later."""
    own = RATE * harder * np.exp(SPREAD * share**0.5 * rng.normal())

    def depth(dice: np.random.Generator) -> Callable[[float], float]:
        rate = own * np.exp(SPREAD * (1 - share) ** 0.5 * dice.normal())
        bed = dice.normal(2_500, 1_200)
        return lambda km: bed * (1 - np.exp(-km / 20)) + rate * km

    return Law(depth)


def wearing_in(rng: np.random.Generator) -> Callable[[float], float]:
    """Another law: rates of a gamma distribution, wear that slows as a power, a long wear-in."""
    rate, power = RATE * rng.gamma(7.0, 1 / 7.0), rng.uniform(0.92, 1.0)
    start, long = rng.uniform(0, 8_000), rng.uniform(15, 60)
    return lambda km: start * km / (km + long) + rate * 300 * (km / 300) ** power


MODEL = Law(straight)
OTHER = Law(wearing_in, u=2_500.0, scatter=1_500.0, step=10_000, odd=0.03)


def crossing_km(depth: Callable[[float], float], limit: float = LIMIT_NM) -> float:
    """Where the true depth passes the limit."""
    low, high = 0.0, 1e6
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if depth(middle) < limit else (low, middle)
    return low


def piece(
    law: Law, rng: np.random.Generator, readings: int, key: int, most_km: float = 250.0
) -> tuple[History, float, int]:
    """A piece with so many readings since its cut, the km of its own mix of strip classes that it
    truly has left, and what the next reading will be after the run ahead."""
    depth = law.depth(rng)
    kms = np.sort(rng.uniform(40, most_km, readings))
    shares = rng.dirichlet(np.full(len(FACTORS), 0.6))
    per_km = sum(share * factor for share, factor in zip(shares, FACTORS.values(), strict=True))

    def run(km: float) -> dict[str, int]:
        raw = km / per_km * NM_PER_KM
        return {name: int(raw * part) for name, part in zip(FACTORS, shares, strict=True)}

    def read(km: float, dice: np.random.Generator = rng) -> int:
        value = NEW_NM - 2 * depth(km) + dice.normal() * law.u + 2 * dice.normal() * law.scatter
        if dice.random() < law.odd:
            value += dice.choice([-1, 1]) * dice.uniform(0.5, 1.5) * law.odd_nm
        return round(value / law.step) * law.step

    u = float(np.hypot(law.u, law.step / 12**0.5))
    taken = [ReadingAt(value_nm=read(0.0), u_nm=u)]
    taken += [ReadingAt(run(float(km)), value_nm=read(float(km)), u_nm=u) for km in kms]
    now = float(kms[-1]) if readings else 0.0
    spec = PointSpec(key=key, depth_limit_nm=LIMIT_NM)
    left = max(0.0, crossing_km(depth) - now) / per_km
    following = read(now + AHEAD_KM, rng.spawn(1)[0])
    return History(spec, tuple(taken), run(now), run(AHEAD_KM)), left, following


def pieces(
    law: Law, seed: int, count: int, readings: tuple[int, ...], most_km: float = 250.0
) -> tuple[list[History], np.ndarray]:
    """Pieces with these numbers of readings in turn, and the km of its mix that each has left."""
    histories, left, _next = read_again(law, seed, count, readings, most_km)
    return histories, left


def read_again(
    law: Law, seed: int, count: int, readings: tuple[int, ...], most_km: float = 250.0
) -> tuple[list[History], np.ndarray, np.ndarray]:
    """The same, and the next reading (nm) of each."""
    rng = np.random.default_rng(seed)
    made = [piece(law, rng, readings[n % len(readings)], n, most_km) for n in range(count)]
    histories, left, following = zip(*made, strict=True)
    return list(histories), np.array(left), np.array(following)


def line_left(history: History, factor: Callable[[str], float]) -> float:
    """What a straight line through the piece's own readings alone says is left, in km.

    By least squares through the reading after the cut and the later ones, from the origin: the
    better of the two plain lines. Infinite where it does not fall.
    """
    after = float(history.readings[0].value_nm or 0)
    points = [
        (
            sum(factor(name) * nm for name, nm in each.run_nm.items()) / NM_PER_KM,
            (after - float(each.value_nm or 0)) / 2,
        )
        for each in history.readings[1:]
    ]
    slope = sum(x * y for x, y in points) / sum(x * x for x, _y in points)
    used = sum(factor(name) * nm for name, nm in history.run_nm.items()) / NM_PER_KM
    return max(0.0, LIMIT_NM / slope - used) if slope > 0 else float("inf")

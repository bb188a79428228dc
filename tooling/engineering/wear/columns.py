"""Many points and readings as NumPy columns; lengths of strip in km, everything else in nm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, nan, sqrt

import numpy as np
from numpy.typing import NDArray

from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.prior import strip_class
from tooling.engineering.wear.specs import (
    CHROME_SPREAD,
    NM_PER_KM,
    USUAL_CHROME_NM,
    History,
    PointSpec,
    ReadingAt,
)

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
PLATED_SPREAD = 0.1
"""Relative standard uncertainty of a recorded plated thickness; from memory."""
AFTER_CUT, GAUGE, TEMPERATURE, CHROME, CLASS, NEW = (1 << n for n in range(6))
UNMEASURED = {
    "after_cut": AFTER_CUT, "gauge": GAUGE, "temperature": TEMPERATURE, "chrome": CHROME,
    "strip_class": CLASS, "new": NEW,
}  # fmt: skip
"""What nobody measured, as bits: the value after the cut, the gauge's record, the piece's
temperature, the plated thickness, the class of strip that ran, any value when new."""


@dataclass(frozen=True)
class Columns:
    """Points (n) and their readings (m) after the one that followed the cut, grouped by point.

    ``run_km`` and ``ahead_km`` are (n × classes), ``read_run_km`` (m × classes); ``earlier_off``
    and ``earlier_precision`` (n × most lives before the last cut), 0 where there was none.
    ``depth`` is what a reading says was lost, NaN for a verdict, whose ``low`` and ``high`` then
    hold; ``depth_u`` is k = 1 without the shared ``base_u``. ``limit`` is a depth, NaN for none;
    ``by_value`` where it follows from a limiting value and the value after the cut.
    ``first[i]:first[i + 1]`` are the readings of point i, in the order of strip run, then of time.
    """

    classes: tuple[str, ...]
    alike_names: tuple[str, ...]
    keys: tuple[object, ...]
    ends: tuple[str, ...]
    alike: Ints
    scale: Floats
    sign: Floats
    base: Floats
    base_u: Floats
    limit: Floats
    by_value: Bools
    chrome: Floats
    chrome_u: Floats
    is_plated: Bools
    sliding: Floats
    template: Floats
    unmeasured: Ints
    run_km: Floats
    ahead_km: Floats
    earlier_off: Floats
    earlier_precision: Floats
    first: Ints
    point: Ints
    depth: Floats
    depth_u: Floats
    low: Floats
    high: Floats
    read_run_km: Floats
    order: Ints

    @property
    def count(self) -> int:
        """How many points."""
        return len(self.keys)


@dataclass
class _Gathered:
    """Lists that become columns."""

    points: list[tuple[float, ...]]
    readings: list[tuple[float, ...]]
    runs: list[tuple[int, str, float]]
    ahead: list[tuple[int, str, float]]
    read_runs: list[tuple[int, str, float]]
    first: list[int]


def columns(histories: Sequence[History]) -> Columns:
    """The histories as columns, each point's readings in the order of strip run, then of time.

    A point without a value after the cut starts from what it was drawn or cut to; one that has
    neither starts from its first reading, as if it had been cut then.
    """
    got = _Gathered([], [], [], [], [], [0])
    for index, history in enumerate(histories):
        _gather(got, index, history)
    found = {name for rows in (got.runs, got.ahead, got.read_runs) for _row, name, _km in rows}
    classes = tuple(sorted(found))
    names = tuple(sorted({history.spec.alike for history in histories}))
    code = {name: number for number, name in enumerate(names)}
    points = np.array(got.points, dtype=np.float64).reshape(-1, 12).T.copy()
    readings = np.array(got.readings, dtype=np.float64).reshape(-1, 6).T.copy()
    most = max((len(history.earlier) for history in histories), default=0)
    earlier = np.zeros((2, len(histories), most))
    for n, history in enumerate(histories):
        for k, said in enumerate(history.earlier):
            earlier[:, n, k] = said.log_rate_off, said.precision
    return Columns(
        classes=classes,
        alike_names=names,
        keys=tuple(history.spec.key for history in histories),
        ends=tuple(history.spec.end for history in histories),
        alike=np.array([code[each.spec.alike] for each in histories], dtype=np.int64),
        scale=points[0],
        sign=points[1],
        base=points[2],
        base_u=points[3],
        limit=points[4],
        by_value=points[5] > 0,
        chrome=points[6],
        chrome_u=points[7],
        is_plated=points[8] > 0,
        sliding=points[9],
        template=points[10],
        unmeasured=points[11].astype(np.int64),
        run_km=_matrix(got.runs, len(histories), classes),
        ahead_km=_matrix(got.ahead, len(histories), classes),
        earlier_off=earlier[0],
        earlier_precision=earlier[1],
        first=np.array(got.first, dtype=np.int64),
        point=readings[0].astype(np.int64),
        depth=readings[1],
        depth_u=readings[2],
        low=readings[3],
        high=readings[4],
        read_run_km=_matrix(got.read_runs, len(got.readings), classes),
        order=readings[5].astype(np.int64),
    )


def _matrix(rows: list[tuple[int, str, float]], count: int, classes: tuple[str, ...]) -> Floats:
    code = {name: number for number, name in enumerate(classes)}
    wide = max(1, len(classes))
    cells = np.array([row * wide + code[name] for row, name, _km in rows], dtype=np.int64)
    kms = np.array([km for _row, _name, km in rows], dtype=np.float64)
    sums = np.bincount(cells, weights=kms, minlength=count * wide).astype(np.float64)
    return sums.reshape(count, wide)


def _gather(got: _Gathered, index: int, history: History) -> None:
    spec = history.spec
    base, base_u, lost_run, rest, unmeasured = _base(spec, history.readings)
    limit, by_value = nan, False
    if spec.depth_limit_nm is not None:
        limit = float(spec.depth_limit_nm)
    elif spec.limit_nm is not None and base == base:
        limit, by_value = spec.sign * (base - spec.limit_nm) * spec.scale, True
    chrome, chrome_u = 0.0, 0.0
    if spec.chrome_nm is not None:
        known = spec.chrome_nm > 0
        chrome = float(spec.chrome_nm if known else USUAL_CHROME_NM)
        chrome_u = chrome * (PLATED_SPREAD if known else CHROME_SPREAD)
        unmeasured |= 0 if known else CHROME
    for reading in rest:
        for name in reading.assumed:
            unmeasured |= UNMEASURED[name]
    if any(not name.strip() and run for name, run in history.run_nm.items()):
        unmeasured |= CLASS
    got.points.append(
        (
            spec.scale, spec.sign, base, base_u * spec.scale, limit, by_value, chrome, chrome_u,
            spec.chrome_nm is not None, spec.sliding, spec.template_nm, unmeasured,
        )
    )  # fmt: skip
    _runs(got.runs, index, _less(history.run_nm, lost_run))
    _runs(got.ahead, index, history.ahead_nm)
    for reading in rest:
        _runs(got.read_runs, len(got.readings), _less(reading.run_nm, lost_run))
        depth, low, high = nan, -inf, inf
        if reading.value_nm is not None:
            depth = spec.sign * (base - reading.value_nm) * spec.scale
        else:
            low, high = _bounds(spec, limit, reading)
        order = history.readings.index(reading)
        got.readings.append((index, depth, reading.u_nm * spec.scale, low, high, order))
    got.first.append(len(got.readings))


def _base(
    spec: PointSpec, readings: Sequence[ReadingAt]
) -> tuple[float, float, dict[str, int], list[ReadingAt], int]:
    """Value after the cut, its uncertainty, strip before it, the other readings, what is missing.

    Several readings after the cut are one: their mean by inverse variance.
    """
    ranked = sorted(readings, key=_rank)
    fresh = [r for r in ranked if r.value_nm is not None and not any(r.run_nm.values())]
    if fresh:
        rest = [each for each in ranked if each not in fresh]
        value, u = _mean(fresh)
        bits = 0
        for reading in fresh:
            for name in reading.assumed:
                bits |= UNMEASURED[name]
        return value, u, {}, rest, bits
    if spec.new_nm is not None:
        return float(spec.new_nm), spec.new_within_nm / sqrt(3), {}, ranked, AFTER_CUT
    valued = [r for r in ranked if r.value_nm is not None]
    if not valued:
        return nan, 0.0, {}, [r for r in ranked if r.is_attribute], NEW | AFTER_CUT
    start = valued[0]
    rest = [r for r in ranked if r is not start and _total(r) >= _total(start)]
    assert start.value_nm is not None
    return float(start.value_nm), start.u_nm, dict(start.run_nm), rest, NEW | AFTER_CUT


def _rank(reading: ReadingAt) -> tuple[object, ...]:
    value = -inf if reading.value_nm is None else float(reading.value_nm)
    runs = tuple(sorted(reading.run_nm.items()))
    low = -inf if reading.depth_from_nm is None else reading.depth_from_nm
    return (_total(reading), reading.moment, runs, value, reading.u_nm, reading.verdict or "", low,
            str(reading.key))  # fmt: skip


def _total(reading: ReadingAt) -> int:
    return sum(reading.run_nm.values())


def _mean(fresh: list[ReadingAt]) -> tuple[float, float]:
    if len(fresh) == 1:
        return float(fresh[0].value_nm or 0), fresh[0].u_nm
    weights = [1 / max(each.u_nm, 1.0) ** 2 for each in fresh]
    total = sum(weights)
    value = sum(w * float(each.value_nm or 0) for w, each in zip(weights, fresh, strict=True))
    return value / total, total**-0.5


def _less(run: object, lost: dict[str, int]) -> dict[str, int]:
    """The strip since the start, by class; never below nothing."""
    assert hasattr(run, "items")
    return {name: max(0, nm - lost.get(name, 0)) for name, nm in run.items()}


def _runs(rows: list[tuple[int, str, float]], row: int, run: object) -> None:
    assert hasattr(run, "items")
    rows.extend((row, strip_class(name), nm / NM_PER_KM) for name, nm in sorted(run.items()) if nm)


def _bounds(spec: PointSpec, limit: float, reading: ReadingAt) -> tuple[float, float]:
    """Between which depths a verdict says the point is. Without a limit only a fit says nothing."""
    low = -inf if reading.depth_from_nm is None else reading.depth_from_nm
    high = inf if reading.depth_to_nm is None else reading.depth_to_nm
    if reading.verdict is not None and limit == limit:
        light = spec.light_share * limit
        table = {"fits": (-inf, light), "light": (light, limit), "fails": (limit, inf)}
        of_verdict = table[reading.verdict]
        low, high = max(low, of_verdict[0]), min(high, of_verdict[1])
    return low, high

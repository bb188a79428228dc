"""Another way to the same answer: the requirements written down from the problem's own words, once
for trying every answer, once for SciPy's integer solver. Shares no code with the engine's model."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise, product
from math import ceil, cos, radians, sin, sqrt

import numpy as np
from scipy.optimize import LinearConstraint, linprog, milp
from scipy.sparse import lil_matrix

from tooling.engineering.regrinds import Line, LinePass, Piece, Problem, ShaftRun

Row = tuple[dict[str, Fraction], Fraction]
"""Σ factor · x ≥ least, x what comes off the diameters of a piece."""
Aims = tuple[float, int, int, int]


@dataclass(frozen=True)
class Option:
    """One way to treat a piece; ``off`` None: a new one, anything from ``low`` to ``high``."""

    off: int | None
    worked: int
    cents: Fraction
    low: int = 0
    high: int = 0


def options(problem: Problem, piece: Piece) -> list[Option]:
    """All that may become of a piece by itself."""
    limits, prices = problem.limits, problem.prices
    pin = problem.pin(piece.name)
    if not piece.in_plan:
        return [Option(0, 0, Fraction(0))]
    must_round = must_flank = False
    need = face = 0
    for point in piece.points:
        depth = max(0, point.depth_nm or 0)
        must = point.crosses or (point.limit_nm is not None and depth > point.limit_nm)
        if depth == 0 and not must:
            continue
        angle = radians(point.angle_degrees)
        if point.angle_degrees >= limits.face_from_degrees:
            must_flank |= must
            face = max(face, ceil((depth + limits.allowance_nm) / sin(angle) - 1e-6))
        else:
            must_round |= must
            need = max(need, ceil(2 * (depth + limits.allowance_nm) / cos(angle) - 1e-6))
    must_round |= pin is not None and pin.kind == "cut"
    can_face = piece.width_nm is None or piece.width_nm - face >= (piece.faced_to_nm or 1)
    room = min(d.now_nm - (d.least_nm or limits.step_nm) for d in piece.diameters
               if d.least_nm or len(piece.diameters) == 1)  # fmt: skip
    setup, fine, per, new = (0, 0, Fraction(0), 0)
    life = Fraction(0)
    if prices is not None:
        setup, per = prices.setup_cents, prices.cents_per_mm / 1_000_000
        fine = prices.face_cents if face else 0
        new = prices.new_cents if piece.new_cents is None else piece.new_cents
        life = Fraction(piece.life_cents_per_mm or 0) / 1_000_000
    found = []
    steps = max(1, -(-need // limits.step_nm))
    if not must_round and not (must_flank and not can_face):
        found.append(Option(0, int(must_flank), Fraction(setup + fine if must_flank else 0)))
    if can_face or not face:
        least = 1 if pin is not None and pin.kind == "cut_to" and not must_round else steps
        for k in range(least, room // limits.step_nm + 1):
            off = k * limits.step_nm
            found.append(Option(off, 1, setup + fine + (per + life) * off))
    if pin is not None and pin.kind == "leave":
        return [each for each in found if each.off == 0 and not each.worked]
    if pin is not None and pin.kind == "cut_to":
        wanted = piece.diameters[0].now_nm - (pin.diameter_nm or 0)
        return [each for each in found if each.off == wanted]
    if pin is not None and pin.kind == "face":
        is_told = bool(face) and can_face and not must_round
        return [Option(0, 1, Fraction(setup + fine))] if is_told else []
    made = []
    if piece.may_replace:
        low = max(d.now_nm - max(d.now_nm, d.drawn_nm or 0) for d in piece.diameters)
        made = [Option(None, 0, Fraction(new), low, max(0, room))]
    return made if pin is not None and pin.kind == "replace" else found + made


def rows(problem: Problem) -> list[Row]:
    """Every requirement between pieces."""
    found: list[Row] = []
    for line in problem.lines:
        for one in line.passes:
            found += _of_pass(problem, one)
        found += _steps(problem, line)
    for names in problem.contours:
        for other in names[1:]:
            found += [({names[0]: Fraction(1), other: Fraction(-1)}, Fraction(0)),
                      ({names[0]: Fraction(-1), other: Fraction(1)}, Fraction(0))]  # fmt: skip
    return found


def _drive(problem: Problem, run: ShaftRun | None) -> tuple[str, int, int, int] | None:
    """Name, present and drawn diameter and uncertainty of what runs at strip speed."""
    if run is None or not run.driven:
        return None
    rolls = [(problem.by_name[n], d) for n in run.pieces if not problem.by_name[n].idles
             for d in problem.by_name[n].diameters if d.name == "drive"]  # fmt: skip
    if not rolls:
        return None
    top = max(d.now_nm for _p, d in rolls)
    piece, d = next((p, d) for p, d in rolls if d.now_nm == top)
    return piece.name, d.now_nm, d.drawn_nm or 0, d.uncertainty_nm or 0


def _of_pass(problem: Problem, one: LinePass) -> Iterator[Row]:
    top, bottom = _drive(problem, one.top), _drive(problem, one.bottom)
    if top and bottom and one.top and one.bottom:
        r = one.ratio * one.bottom.rpm_factor / one.top.rpm_factor
        miss, tolerance = top[1] - r * bottom[1], problem.limits.ratio_tolerance
        if abs(miss) > tolerance * r * bottom[1]:
            high, low = abs(miss), -abs(miss)
            yield {top[0]: Fraction(1), bottom[0]: -r}, miss - high
            yield {top[0]: Fraction(-1), bottom[0]: r}, low - miss
        else:
            for sign in (1, -1):
                by = r * (1 + sign * tolerance)
                yield ({top[0]: Fraction(sign), bottom[0]: -sign * by},
                       sign * (top[1] - by * bottom[1]))  # fmt: skip
    for run, lead in ((one.top, top), (one.bottom, bottom)):
        for name in run.pieces if run is not None and lead is not None else ():
            assert lead is not None
            own = problem.by_name[name].drive
            if own is not None and name != lead[0]:
                yield {name: Fraction(1), lead[0]: Fraction(-1)}, Fraction(own.now_nm - lead[1])
    if one.gap is not None and one.vertical_least_nm is not None:
        spare = one.gap.top_nm + one.gap.bottom_nm + 2 * one.gap.gap_nm - 2 * one.vertical_least_nm
        yield {one.gap.top: Fraction(-1), one.gap.bottom: Fraction(-1)}, Fraction(-max(0, spare))


def _steps(problem: Problem, line: Line) -> Iterator[Row]:
    moving = []
    for one in line.passes:
        ends = {}
        for shaft, run in (("bottom", one.bottom), ("top", one.top)):
            drive = _drive(problem, run)
            if drive and run:
                ends[shaft] = (drive, run.rpm_factor / (one.ratio if shaft == "top" else 1))
        if ends:
            moving.append(ends)
    for first, then in pairwise(moving):
        shared = [(s, s) for s in ("bottom", "top") if s in first and s in then]
        for a, b in shared or [(next(iter(first)), next(iter(then)))]:
            yield _step(problem, line, first[a], then[b])


def _step(
    problem: Problem, line: Line, first: tuple[tuple[str, int, int, int], Fraction],
    then: tuple[tuple[str, int, int, int], Fraction],
) -> Row:  # fmt: skip
    (name, now, drawn, u), by = first
    (name2, now2, drawn2, u2), by2 = then
    least = -Fraction(int(sqrt(float((u * by) ** 2 + (u2 * by2) ** 2))))
    step, wanted = now2 * by2 - now * by, drawn2 * by2 - drawn * by
    if wanted < 0:
        least += min(wanted, step)
    if (line.is_other or problem.limits.slack_now == "kept") and step < least:
        least = step
    return {name: by, name2: -by2}, least - step


def best_by_trying(problem: Problem) -> Aims | None:
    """The least aims of all answers that keep everything; None where none does."""
    names = [piece.name for piece in problem.pieces]
    all_rows = rows(problem)
    choices = [options(problem, piece) for piece in problem.pieces]
    tries = []
    for picked in product(*choices):
        made = [each.off is None for each in picked]
        if any(len({made[names.index(n)] for n in names_}) > 1 for names_ in problem.contours):
            continue
        cents = sum((each.cents for each in picked), Fraction(0))
        worked = sum(each.worked for each in picked)
        stock = sum(each.off or 0 for each in picked)
        tries.append(((float(cents), sum(made), worked, stock), picked))
    tries.sort(key=lambda each: each[0])
    for aims, picked in tries:
        if _keeps(names, picked, all_rows, problem):
            return aims
    return None


def _keeps(
    names: list[str], picked: tuple[Option, ...], all_rows: list[Row], problem: Problem
) -> bool:
    fixed = {n: each.off for n, each in zip(names, picked, strict=True) if each.off is not None}
    new = {n: each for n, each in zip(names, picked, strict=True) if each.off is None}
    open_rows = []
    for factors, least in all_rows:
        left = least - sum(by * fixed[n] for n, by in factors.items() if n in fixed)
        still = {n: by for n, by in factors.items() if n in new}
        if not still and left > 0:
            return False
        if still:
            open_rows.append((still, left))
    if not open_rows:
        return True
    at = list(new)
    life = [float(problem.by_name[n].life_cents_per_mm or 0) if problem.prices else 0.0 for n in at]
    assert not any(life), "a new roll's life is priced by the integer solver only"
    done = linprog(
        np.zeros(len(at)),
        A_ub=np.array([[-float(row.get(n, 0)) for n in at] for row, _least in open_rows]),
        b_ub=np.array([-float(least) for _row, least in open_rows]),
        bounds=[(new[n].low, new[n].high) for n in at],
        method="highs",
    )
    return bool(done.status == 0)


def best_by_milp(problem: Problem, seconds: float = 60.0) -> Aims | None:
    """The same by SciPy's integer solver, one aim after the other; in grinder steps."""
    step = problem.limits.step_nm
    names = [piece.name for piece in problem.pieces]
    lower, upper, whole = [], [], []

    def column(low: float, high: float, is_whole: bool) -> int:
        lower.append(low)
        upper.append(high)
        whole.append(is_whole)
        return len(lower) - 1

    x, is_new, is_cut, is_left = {}, {}, {}, {}
    cons: list[tuple[dict[int, float], float, float]] = []
    goals: list[dict[int, float]] = [{}, {}, {}, {}]
    for name, piece in zip(names, problem.pieces, strict=True):
        ways = options(problem, piece)
        cuts = [each for each in ways if each.off]
        left = next((each for each in ways if each.off == 0), None)
        made = next((each for each in ways if each.off is None), None)
        is_left[name] = column(0, 1 if left else 0, True)
        is_cut[name] = column(0, 1 if cuts else 0, True)
        is_new[name] = column(0, 1 if made else 0, True)
        cons.append(({is_left[name]: 1, is_cut[name]: 1, is_new[name]: 1}, 1, 1))
        offs = [each.off // step for each in cuts if each.off]
        k = column(0, max(offs, default=0), True)
        if offs:
            cons.append(({k: 1, is_cut[name]: -min(offs)}, 0, np.inf))
            cons.append(({k: 1, is_cut[name]: -max(offs)}, -np.inf, 0))
        low, high = (made.low / step, made.high / step) if made else (0.0, 0.0)
        z = column(min(0, low), max(0, high), False)
        cons.append(({z: 1, is_new[name]: -low}, 0, np.inf))
        cons.append(({z: 1, is_new[name]: -high}, -np.inf, 0))
        x[name] = {k: 1.0, z: 1.0}
        goals[1][is_new[name]] = 1
        goals[2] |= {is_cut[name]: 1} | ({is_left[name]: 1} if left and left.worked else {})
        goals[3][k] = 1
        if problem.prices is not None:
            life = float(piece.life_cents_per_mm or 0) * step / 1e6
            if cuts:
                per = float(problem.prices.cents_per_mm) * step / 1e6 + life
                goals[0][k] = per
                goals[0][is_cut[name]] = float(cuts[0].cents) - per * (cuts[0].off or 0) / step
            if left:
                goals[0][is_left[name]] = float(left.cents)
            if made:
                goals[0][is_new[name]] = float(made.cents) - life * low
                goals[0][z] = life
    for factors, least in rows(problem):
        terms: dict[int, float] = {}
        for name, by in factors.items():
            for at, one in x[name].items():
                terms[at] = terms.get(at, 0) + float(by) * one
        cons.append((terms, float(least) / step, np.inf))
    for group in problem.contours:
        for other in group[1:]:
            cons.append(({is_new[group[0]]: 1, is_new[other]: -1}, 0, 0))
    reached = []
    for goal in goals if problem.prices is None else goals[:1]:
        table = lil_matrix((len(cons), len(lower)))
        for r, (terms, _low, _high) in enumerate(cons):
            for at, by in terms.items():
                table[r, at] = by
        done = milp(
            np.array([goal.get(at, 0.0) for at in range(len(lower))]),
            integrality=np.array(whole, dtype=int),
            bounds=(np.array(lower), np.array(upper)),  # type: ignore[arg-type]
            constraints=LinearConstraint(
                table.tocsr(), np.array([low for _t, low, _h in cons]),
                np.array([high for _t, _l, high in cons]),
            ),
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )  # fmt: skip
        if done.status == 2:
            return None
        assert done.status == 0, done.message
        value = done.fun if problem.prices is not None else round(done.fun)
        reached.append(value)
        if problem.prices is None:
            cons.append((dict(goal), -np.inf, value + 0.01))
    if problem.prices is not None:
        return (float(reached[0]), 0, 0, 0)
    return (0.0, reached[1], reached[2], reached[3] * step)

"""The steps behind one forecast: each figure with formula, source and what went in."""

from __future__ import annotations

import numpy as np

from tooling.engineering.how import Step
from tooling.engineering.wear.columns import AFTER_CUT, CHROME, GAUGE, TEMPERATURE, Columns
from tooling.engineering.wear.forecasts import Forecasts, Inside
from tooling.engineering.wear.latent import AFTER
from tooling.engineering.wear.least_squares import least_squares
from tooling.engineering.wear.prior import Prior, strip_class
from tooling.engineering.wear.specs import NM_PER_KM, History, Rules

GEOMETRY = "geometry"
BAYES = "Bayes' rule; normal unknowns integrated out (Lindley and Smith 1972)"
POOLED = "random effects pooled over like pieces (empirical Bayes)"


def steps_behind(
    history: History, cols: Columns, prior: Prior, rules: Rules, found: Forecasts, inside: Inside
) -> tuple[Step, ...]:
    """Every step of the first point, in the order in which it is worked out."""
    return (
        _equivalent(history, prior, found),
        *_depths(history, cols, found, inside, prior),
        _limit(history, cols),
        *_pool(history, prior, inside),
        _own(inside),
        _rate(inside, found),
        *_left(cols, found, inside, prior, rules),
        *_line(inside, cols),
    )


def _equivalent(history: History, prior: Prior, found: Forecasts) -> Step:
    run_km = {name: nm / NM_PER_KM for name, nm in sorted(history.run_nm.items())}
    factors = {name: prior.factor(name) for name in run_km}
    unsure = ("factors",) if any(prior.factor_spread(name) >= 0.4 for name in run_km) else ()
    return Step(
        what="equivalent length since the cut",
        formula="Σ factor(class) × length",
        source="factors learned by pooling; cold rolled is 1 by definition",
        inputs={"run_km": run_km, "factors": factors},
        value=float(found.used_km[0]),
        unmeasured=unsure,
    )


def _depths(
    history: History, cols: Columns, found: Forecasts, inside: Inside, prior: Prior
) -> list[Step]:
    missing = int(cols.unmeasured[0])
    assumed = (("after_cut_nm",) if missing & AFTER_CUT else ()) + (
        ("u_nm",) if missing & (GAUGE | TEMPERATURE) else ()
    )
    steps = []
    for n, order in enumerate(cols.order):
        reading = history.readings[int(order)]
        if reading.value_nm is None:
            continue
        inputs = {
            "after_cut_nm": float(cols.base[0]), "value_nm": float(reading.value_nm),
            "sign": float(cols.sign[0]), "scale": float(cols.scale[0]), "u_nm": reading.u_nm,
            "after_cut_u_nm": float(cols.base_u[0]), "scatter_nm": prior.scatter_nm,
            "weight": float(found.weight[n]), "off": float(found.off_line[n]),
        }  # fmt: skip
        own = float(np.hypot(cols.depth_u[n], prior.scatter_nm))
        shared = float(np.hypot(cols.base_u[0], prior.scatter_nm))
        steps.append(
            Step(
                what="depth lost",
                formula="sign·(after cut − value)·scale; own u = √((scale·u)² + scatter²), "
                "shared by all readings: √(after_cut_u² + scatter²)",
                source=f"{GEOMETRY}; JCGM 100:2008",
                inputs=inputs,
                value={
                    "depth_nm": float(cols.depth[n]), "own_u_nm": own, "shared_u_nm": shared,
                    "equivalent_km": float(inside.made.length[n]),
                },
                unmeasured=assumed,
            )
        )  # fmt: skip
    return steps


def _limit(history: History, cols: Columns) -> Step:
    spec = history.spec
    limit = float(cols.limit[0])
    by_value = bool(cols.by_value[0])
    inputs: dict[str, object] = {"depth_limit_nm": spec.depth_limit_nm}
    if by_value:
        inputs = {
            "after_cut_nm": float(cols.base[0]), "limit_nm": spec.limit_nm,
            "sign": float(cols.sign[0]), "scale": float(cols.scale[0]),
        }  # fmt: skip
    return Step(
        what="most depth that may be lost",
        formula="sign·(after cut − limit)·scale" if by_value else "as given",
        source=GEOMETRY,
        inputs=inputs,
        value=limit if limit == limit else None,
        unmeasured=("after_cut_nm",) if by_value and int(cols.unmeasured[0]) & AFTER_CUT else (),
    )


def _pool(history: History, prior: Prior, inside: Inside) -> list[Step]:
    """Like pieces, and then the roll's own earlier lives where it has any."""
    pool = prior.pool(history.spec.alike)
    mean = pool.log_rate + float(np.log(history.spec.sliding))
    sd = (pool.log_rate_sd**2 + pool.log_rate_se**2) ** 0.5
    of_pool = Step(
        what="rate of like pieces",
        formula="ln rate is normal: mean + ln sliding, √(spread² + se²); a share of odd pieces is "
        "wider",
        source=POOLED if pool.is_learned else "from memory, low confidence: no reading is pooled",
        inputs={
            "log_rate": pool.log_rate, "log_rate_sd": pool.log_rate_sd,
            "log_rate_se": pool.log_rate_se, "sliding": history.spec.sliding,
            "odd_share": pool.odd_share, "odd_times": pool.odd_times, "points": pool.points,
        },
        value={"mean": mean, "sd": sd},
        unmeasured=() if pool.is_learned else ("log_rate", "log_rate_sd"),
    )  # fmt: skip
    if not history.earlier:
        return [of_pool]
    own = Step(
        what="rate of like pieces and of this roll's own earlier lives",
        formula="ln rate = mean + roll + life; roll ~ (0, share·spread² + se²), "
        "life ~ (0, (1 − share)·spread²); each life before the cut says roll = off ± "
        "√(1 / precision + (1 − share)·spread²), less where it is odd",
        source=POOLED,
        inputs={
            "mean": mean, "log_rate_sd": pool.log_rate_sd, "log_rate_se": pool.log_rate_se,
            "share": prior.piece_share, "odd_share": pool.odd_share, "odd_times": pool.odd_times,
            "off": [each.log_rate_off for each in history.earlier],
            "precision": [each.precision for each in history.earlier],
        },
        value={"mean": float(inside.known.mean[0]), "sd": float(inside.known.sd[0])},
    )  # fmt: skip
    return [of_pool, own]


def _own(inside: Inside) -> Step:
    """The likelihood of the rate that the piece's own readings leave."""
    made, weighed = inside.made, inside.weighed
    rows, spread = made.rows, made.spread[0].copy()
    spread[AFTER] /= np.sqrt(weighed.after_weight[0])
    valued = ~made.is_verdict
    return Step(
        what="what its own readings say of the rate",
        formula="y = length·r + rows·unknowns + noise; c = lengthᵀ V⁻¹ length, "
        "b = lengthᵀ V⁻¹ (y − rows·mean), V = diag(noise / weight) + rows·diag(spread²)·rowsᵀ",
        source=BAYES,
        inputs={
            "y": made.y[valued].tolist(), "length_km": made.length[valued].tolist(),
            "rows": rows[valued].tolist(), "noise": made.noise[valued].tolist(),
            "weight": weighed.weight[valued].tolist(), "mean": made.mean[0].tolist(),
            "spread": spread.tolist(), "verdicts": int(np.sum(made.is_verdict)),
        },
        value={"b": float(weighed.solved.b[0]), "c": float(weighed.solved.c[0])},
        rounding="verdicts enter as the values that they imply",
    )  # fmt: skip


def _rate(inside: Inside, found: Forecasts) -> Step:
    known, solved = inside.known, inside.weighed.solved
    return Step(
        what="rate of wear, nm per km",
        formula="density of ln r ∝ pool(ln r)·exp(b·r − c·r²/2)",
        source=BAYES,
        inputs={
            "mean": float(known.mean[0]), "sd": float(known.sd[0]),
            "odd_share": float(known.odd[0]),
            "odd_times": float(known.times[0]), "b": float(solved.b[0]), "c": float(solved.c[0]),
        },
        value={
            "rate": float(found.rate[0]), "mean_of_log": float(np.log(found.rate[0])),
            "sd_of_log": float(inside.rates.log_moments[1][0]),
        },
        rounding="on a grid of 24 cells",
    )  # fmt: skip


def _left(
    cols: Columns, found: Forecasts, inside: Inside, prior: Prior, rules: Rules
) -> list[Step]:
    if not np.isfinite(cols.limit[0]):
        return []
    solved = inside.weighed.solved
    steps = []
    for level, km in ((0.5, found.half_km), (1 - rules.confidence, found.sure_km)):
        steps.append(
            Step(
                what="length left until the true depth passes the limit",
                formula="the L at which P(a·h(E) + r·E + m·g(E) ≥ limit), E = used + L, reaches "
                "the chance, its variance more by factors_unsure·(mean_rate·L)²; "
                "h(E) = 1 − exp(−E / bedding), g(E) = usual·E² / (E + late)",
                source=BAYES,
                inputs={
                    "chance": level, "used_km": float(found.used_km[0]),
                    "limit_nm": float(cols.limit[0]),
                    "bedding_km": prior.bedding_km,
                    "late_km": prior.late_km,
                    "last_km": float(inside.shape.last_km[0]),
                    "bedding_stays": bool(inside.shape.bed_stays[0]),
                    "late_stays": bool(inside.shape.bend_stays[0]),
                    "usual": float(np.exp(inside.known.mean[0])),
                    "factors_unsure": float(inside.unsure_rate(cols, prior)[0]),
                    "mean_rate": float(inside.rates.mean[0]),
                    "unknowns_at": solved.at[0].tolist(),
                    "unknowns_by_rate": solved.by[0].tolist(),
                    "unknowns_cov": solved.cov[0].tolist(),
                    "plated_nm": float(cols.chrome[0]), "is_plated": bool(cols.is_plated[0]),
                    "by_value": bool(cols.by_value[0]),
                },
                value=float(km[0]),
                unmeasured=("plated_nm",) if int(cols.unmeasured[0]) & CHROME else (),
            )
        )  # fmt: skip
    steps.append(
        Step(
            what="chance that the limit is passed by the end of the run ahead",
            formula="P(a·h(E) + r·E ≥ limit) at E = used + ahead",
            source=BAYES,
            inputs={
                "ahead_km": {
                    name: float(cols.ahead_km[0, n]) for n, name in enumerate(cols.classes)
                },
                "factors": {name: prior.factor(strip_class(name)) for name in cols.classes},
            },
            value=float(found.chance[0]),
        )
    )
    return steps


def _line(inside: Inside, cols: Columns) -> list[Step]:
    """The plain line through its own readings, beside the forecast: it decides nothing."""
    valued = ~inside.made.is_verdict
    km, depth = inside.made.length[valued], cols.depth[valued]
    if len(km) < 2 or float(np.sum(km * km)) <= 0:
        return []
    fit = least_squares(km[:, None], depth)
    return [
        Step(
            what="plain line through its own readings, for comparison",
            formula="depth = rate·length from the reading after the cut, least squares",
            source="least squares; shown beside the forecast, decides nothing",
            inputs={"length_km": km.tolist(), "depth_nm": depth.tolist()},
            value={"rate_nm_per_km": float(fit.coefficients[0]), "u": float(fit.errors[0])},
        )
    ]

"""What is unsure of the learned strip factors, in a length of strip that is still to run.

The errors of the factors and of the mean rate hang together: a shop that takes its strip for harder
takes its rolls for slower. They share one part, so far as learning found it: the error of ln factor
c is g_c·t + a part of its own, that of the mean ln rate is −h·t + its own, t one standard normal
(``Prior.factor_shared`` and ``Prior.rate_shared``).
"""

from __future__ import annotations

import numpy as np

from tooling.engineering.wear.columns import Columns
from tooling.engineering.wear.latent import equivalent
from tooling.engineering.wear.normal import Floats
from tooling.engineering.wear.prior import Prior


def newest_run(cols: Columns) -> Floats:
    """Km of every class up to the newest reading since the cut (n × classes); none without one."""
    newest = np.zeros_like(cols.run_km)
    has = cols.first[1:] > cols.first[:-1]
    newest[has] = cols.read_run_km[cols.first[1:][has] - 1]
    return newest


def unsure_onward(cols: Columns, prior: Prior, own: Floats, run_km: Floats | None) -> Floats:
    """Variance of v / rate, in km², after these further km of every class (n × classes); of one km
    of cold rolled strip where none are given.

    ``own`` is how much of ln rate the point's own readings tell; the error of the mean rate alone
    stands in its pool. Of an equivalent length L with L_c of class c, after shares s_c of what ran
    up to the newest reading, the rate is off by (1 − own)·δ − own·Σ s_c·e_c and v / rate by
    Σ (L_c − own·L·s_c)·e_c + (1 − own)·L·δ.
    """
    past, length = newest_run(cols), np.ones(cols.count)
    if run_km is None:
        run_km = np.zeros_like(past)
    else:
        length = equivalent(run_km, cols.classes, prior)
    told = own * length / np.maximum(equivalent(past, cols.classes, prior), 1e-9)
    shared, square = np.zeros(cols.count), np.zeros(cols.count)
    for number, name in enumerate(cols.classes):
        each = prior.factor(name) * (run_km[:, number] - told * past[:, number])
        shared += each * prior.shared(name)
        square += each**2 * (prior.factor_spread(name) ** 2 - prior.shared(name) ** 2)
    rate = (1 - own) * length * prior.rate_shared
    return np.maximum(square + shared**2 - 2 * rate * shared, 0)


def one_km_onward(cols: Columns, prior: Prior) -> Floats:
    """One equivalent km of the run ahead, else of strip like that which was read: km of every class
    (n × classes); nothing where there is neither."""
    past = newest_run(cols)
    run = np.where(cols.ahead_km.sum(axis=1, keepdims=True) > 0, cols.ahead_km, past)
    mix: Floats = run / np.maximum(equivalent(run, cols.classes, prior), 1e-9)[:, None]
    return mix


def factors_unsure(cols: Columns, prior: Prior, own: Floats | float = 1.0) -> Floats:
    """Variance of ln rate on cold rolled strip from the factors of the strip up to the newest
    reading, where its own readings tell so much of the rate."""
    return unsure_onward(cols, prior, np.full(cols.count, own), None)

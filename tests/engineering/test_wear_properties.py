"""What must hold of wear whatever the numbers: strip never mends; units and order do nothing."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tooling.engineering.wear import (
    NM_PER_KM,
    History,
    PointSpec,
    Pool,
    Prior,
    ReadingAt,
    columns,
    forecast,
)

pytestmark = pytest.mark.one_database

NEW = 150_000_000
POOL = Pool(log_rate=log(150), log_rate_sd=0.5, bedding_nm=1_000, bedding_sd_nm=800, readings=9)
PRIOR = Prior(everything=POOL)
KINDS = st.sampled_from(["cold rolled", "galvanised", "stainless", "paper"])
DEPTHS = st.floats(-20_000, 300_000)


@st.composite
def histories(draw: st.DrawFn) -> History:
    """A point with up to five readings of any sense, values and verdicts."""
    kms = sorted(draw(st.lists(st.integers(1, 3_000), max_size=5)))
    kind = draw(KINDS)
    rows = [ReadingAt(value_nm=NEW, u_nm=draw(st.floats(100, 20_000)))]
    for km in kms:
        run = {kind: km * NM_PER_KM}
        if draw(st.integers(0, 4)):
            rows.append(ReadingAt(run, NEW - 2 * draw(DEPTHS), draw(st.floats(100, 20_000))))
        else:
            rows.append(ReadingAt(run, verdict=draw(st.sampled_from(["fits", "light", "fails"]))))
    spec = PointSpec(
        depth_limit_nm=draw(st.integers(5_000, 400_000)),
        chrome_nm=draw(st.sampled_from([None, None, 0, 19_000])),
    )
    now = (kms[-1] if kms else 0) + draw(st.integers(0, 500))
    return History(spec, tuple(rows), {kind: now * NM_PER_KM}, {"cold rolled": 50 * NM_PER_KM})


@settings(max_examples=60, deadline=None)
@given(histories())
def test_every_figure_is_finite_and_in_its_range(history) -> None:
    found = forecast(columns([history]), PRIOR)
    for name in ("half_km", "sure_km", "late_km", "chance", "through", "depth", "depth_u",
                 "rate", "next_low", "next_high", "gain"):  # fmt: skip
        assert np.all(np.isfinite(getattr(found, name))), name
    assert 0 <= found.sure_km[0] <= found.half_km[0] <= found.late_km[0]
    assert 0 <= found.through[0] <= found.chance[0] + 1e-6 <= 1 + 2e-6
    assert 0 <= found.gain[0] <= 1
    assert found.rate_low[0] <= found.rate[0] <= found.rate_high[0]
    assert found.next_low[0] < found.next_high[0]
    assert np.all((found.weight > 0) & (found.weight <= 1))


@settings(max_examples=40, deadline=None)
@given(histories(), st.integers(1, 2_000))
def test_more_strip_leaves_no_more_length_and_no_less_depth(history, km) -> None:
    """What is more likely passed than not may be a little less surely passed after more strip, as
    the late wear of that strip is less sure: 2.05 points were found, three are allowed."""
    further = {name: nm + km * NM_PER_KM for name, nm in history.run_nm.items()}
    now, later = (
        forecast(columns([each]), PRIOR) for each in (history, replace(history, run_nm=further))
    )
    assert later.half_km[0] <= now.half_km[0] + 1e-3 * (1 + now.half_km[0])
    assert later.sure_km[0] <= now.sure_km[0] + 1e-3 * (1 + now.sure_km[0])
    assert later.through[0] >= min(now.through[0], 0.5) - 1e-3
    assert later.through[0] >= now.through[0] - 0.03


@settings(max_examples=30, deadline=None)
@given(histories(), st.sampled_from([25.4, 1 / 25.4]))
def test_depths_in_another_unit_leave_the_same_length(history, by) -> None:
    """As if every depth and every diameter had been written in inches for millimetres."""
    spec = history.spec
    grown = replace(
        history,
        spec=replace(
            spec,
            depth_limit_nm=spec.depth_limit_nm * by,
            chrome_nm=spec.chrome_nm and spec.chrome_nm * by,
            template_nm=spec.template_nm * by,
        ),
        readings=tuple(
            replace(
                each,
                value_nm=None if each.value_nm is None else each.value_nm * by,
                u_nm=each.u_nm * by,
            )
            for each in history.readings
        ),
    )
    pool = replace(
        POOL, log_rate=POOL.log_rate + log(by), bedding_nm=POOL.bedding_nm * by,
        bedding_sd_nm=POOL.bedding_sd_nm * by,
    )  # fmt: skip
    other = replace(PRIOR, everything=pool, scatter_nm=PRIOR.scatter_nm * by)
    if spec.chrome_nm == 0:
        return
    one, two = forecast(columns([history]), PRIOR), forecast(columns([grown]), other)
    assert two.half_km[0] == pytest.approx(one.half_km[0], rel=5e-3, abs=0.01)
    assert two.depth[0] == pytest.approx(one.depth[0] * by, rel=1e-3, abs=5)


@settings(max_examples=25, deadline=None)
@given(st.lists(histories(), min_size=1, max_size=6), st.randoms(use_true_random=False))
def test_order_changes_no_bit(some, dice) -> None:
    order = list(range(len(some)))
    dice.shuffle(order)
    mixed = [
        replace(some[n], readings=tuple(dice.sample(some[n].readings, len(some[n].readings))))
        for n in order
    ]
    one, two = forecast(columns(some), PRIOR), forecast(columns(mixed), PRIOR)
    for name in ("half_km", "sure_km", "chance", "depth", "next_low", "flags", "look", "says"):
        np.testing.assert_array_equal(getattr(one, name)[order], getattr(two, name))

"""Packs of leaves: the published combinations, the window never left, brute force agreeing."""

from __future__ import annotations

from itertools import combinations
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.engineering.checks import inch, table
from tooling.engineering.feelers import packs, seen_between

UNIT = {"in": 25_400_000, "mm": 1_000_000}
SETS = {
    row["set"]: [inch(each) if row["unit"] == "in" else round(float(each) * 1_000_000)
                 for each in row["leaves"]]
    for row in table("feeler_leaves", "Leaf sets")
}  # fmt: skip


@pytest.mark.parametrize("row", table("feeler_leaves", "Stacking examples"), ids=str)
def test_an_exact_gap_takes_no_more_leaves_than_the_listed_packs(row) -> None:
    """The list gives every pack of fewest leaves for a gap that must be met exactly."""
    leaves = SETS[row["set"]]
    gap = inch(str(row["target_in"]))
    found = packs(gap_nm=gap, below_nm=0, above_nm=inch("0.001"), leaves_nm=leaves)
    listed = [tuple(sorted(inch(str(each)) for each in pack)) for pack in row["fewest_leaf_stacks"]]
    assert found.go is not None
    assert found.go.leaves_nm in listed


def test_a_gap_between_two_leaves_is_held_by_them() -> None:
    """By hand: 0.0105 in ± 0.0005 in with the 26-leaf set is GO 0.010, NO-GO 0.011."""
    found = packs(
        gap_nm=inch("0.0105"), below_nm=inch("0.0005"), above_nm=inch("0.0005"),
        leaves_nm=SETS["inch, 26 leaves, 0.0015 to 0.025"],
    )  # fmt: skip
    assert found.go is not None
    assert found.no_go is not None
    assert (found.go.leaves_nm, found.no_go.leaves_nm) == ((inch("0.010"),), (inch("0.011"),))


def test_beyond_three_leaves_something_else_is_used() -> None:
    """By hand: the three thickest of the metric 20 are 1.00 + 0.95 + 0.90 = 2.85 mm."""
    leaves = SETS["metric, 20 leaves, 0.05 to 1.00"]
    assert packs(
        gap_nm=2_800_000, below_nm=50_000, above_nm=50_000, leaves_nm=leaves
    ).method == "feelers"  # fmt: skip
    assert packs(
        gap_nm=2_850_000, below_nm=50_000, above_nm=50_000, leaves_nm=leaves
    ).method == "other"  # fmt: skip


def test_a_set_without_leaves_has_no_pack() -> None:
    assert packs(gap_nm=100_000, below_nm=10_000, above_nm=10_000, leaves_nm=[]).go is None


@given(
    gap=st.integers(20_000, 2_000_000),
    window=st.integers(1, 19_000),
    leaves=st.lists(st.integers(10_000, 700_000), unique=True, max_size=7),
)
def test_what_is_found_is_the_best_of_all(gap, window, leaves) -> None:
    """Property and brute force: inside the window, fewest leaves, then the widest."""
    found = packs(gap_nm=gap, below_nm=window, above_nm=window, leaves_nm=leaves)
    every = [c for n in (1, 2, 3) for c in combinations(sorted(leaves), n)]
    goes = [c for c in every if gap - window <= sum(c) <= gap]
    no_goes = [c for c in every if gap < sum(c) <= gap + window]
    assert (found.method == "feelers") == bool(goes and no_goes)
    if found.go and found.no_go:
        assert (len(found.go.leaves_nm), found.go.total_nm) == min((len(c), sum(c)) for c in goes)
        assert (len(found.no_go.leaves_nm), -found.no_go.total_nm) == min(
            (len(c), -sum(c)) for c in no_goes
        )


@pytest.mark.parametrize(
    "wrong",
    [
        {"gap_nm": 0}, {"below_nm": -1}, {"above_nm": 0}, {"below_nm": 100_000},
        {"leaves_nm": [0]}, {"leaves_nm": [50_000, 50_000]},
    ],
)  # fmt: skip
def test_nonsense_is_refused(wrong) -> None:
    good = {"gap_nm": 100_000, "below_nm": 10_000, "above_nm": 10_000, "leaves_nm": [100_000]}
    with pytest.raises(ValueError, match=r"gap|leaf"):
        packs(**{**good, **wrong})


def test_a_gap_between_two_leaves_is_anywhere_between() -> None:
    """0.010 in enters, 0.011 in does not: 0.0105 in, u = 0.00029 in (the check file's notes)."""
    seen = seen_between(enters_nm=inch("0.010"), does_not_nm=inch("0.011"))
    assert seen.middle_nm == inch("0.0105")
    assert seen.uncertainty_nm == pytest.approx(0.001 * 25_400_000 / (2 * sqrt(3)))
    assert seen.uncertainty_nm / 25_400_000 == pytest.approx(0.00029, abs=5e-6)
    with pytest.raises(ValueError, match="thicker"):
        seen_between(enters_nm=5, does_not_nm=5)

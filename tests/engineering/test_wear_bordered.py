"""Block elimination against NumPy's dense solutions of the same matrix."""

from __future__ import annotations

import numpy as np
import pytest

from tooling.engineering.wear import History, PointSpec, columns
from tooling.engineering.wear.bordered import Bordered
from tooling.engineering.wear.earlier import counting, piece_share, siblings
from tooling.engineering.wear.prior import USUAL_PIECE_SHARE


@pytest.mark.parametrize("rows", [0, 1, 2, 7, 60])
@pytest.mark.parametrize("border", [1, 2, 5])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_it_solves_and_inverts_as_the_dense_matrix(rows: int, border: int, seed: int) -> None:
    rng = np.random.default_rng([seed, rows, border])
    whole = rows + border
    root = rng.normal(size=(whole, border))
    dense = root @ root.T
    dense[:rows, :rows] = np.diag(np.diag(dense)[:rows] * border + 1)
    dense += np.diag(rng.uniform(1, 3, whole) + np.abs(dense).sum(axis=1))
    hold, right = rng.uniform(0.1, 2, whole), rng.normal(size=whole)
    own, link = np.diag(dense)[:rows], dense[:rows, rows:]
    held = Bordered(own, link, dense[rows:, rows:]).plus(hold)
    dense = dense + np.diag(hold)
    covariance = np.linalg.inv(dense)
    assert np.allclose(held.solve(right), np.linalg.solve(dense, right), rtol=1e-9, atol=1e-12)
    assert np.allclose(held.variances(), np.diag(covariance), rtol=1e-9)
    assert np.allclose(held.rest_covariance, covariance[rows:, rows:], rtol=1e-9, atol=1e-12)
    if rows:
        weights = rng.uniform(0, 1, rows)
        variance, with_rest = held.of_mean(weights)
        assert variance == pytest.approx(weights @ covariance[:rows, :rows] @ weights)
        assert np.allclose(with_rest, weights @ covariance[:rows, rows:], atol=1e-12)


def test_lives_of_one_piece_are_paired_and_count_as_it_keeps_its_rate() -> None:
    """By hand: three lives of a, two of b at one end, one at the other, two without a key. Where
    it keeps a half, three lives count 3 / (1 + 2·0.5) = 1.5 pieces, two 2 / 1.5."""
    keys = ("a", "b", "a", "", "b", "a", "b", "")
    ends = ("", "inboard", "", "", "inboard", "", "outboard", "")
    histories = [
        History(PointSpec(key=key, end=end, new_nm=100_000_000))  # type: ignore[arg-type]
        for key, end in zip(keys, ends, strict=True)
    ]
    same = siblings(columns(histories))
    assert same.lives.tolist() == [3, 2, 3, 1, 2, 3, 1, 1]
    pairs = {*zip(same.one.tolist(), same.other.tolist(), strict=True)}
    assert pairs == {(0, 2), (0, 5), (2, 5), (1, 4)}
    counts = counting(same, 0.5)
    assert counts.tolist() == pytest.approx([0.5, 2 / 3, 0.5, 1, 2 / 3, 0.5, 1, 1])
    none = siblings(columns(histories[:2]))
    assert none.one.tolist() == none.other.tolist() == []
    assert counting(none, 0.5).tolist() == [1, 1]
    nothing = np.zeros(2)
    assert piece_share(none, nothing, nothing, np.ones(2)) == pytest.approx(USUAL_PIECE_SHARE)

"""Substitutes are chosen over the whole kit at once, exactly, and always the same way."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tooling.engineering.assignment import COST_MOST, assign
from tooling.engineering.substitutes import (
    Candidate,
    LackingPosition,
    choose_substitutes,
    cost_of,
)

pytestmark = pytest.mark.one_database

Costs = dict[tuple[int, int], tuple[int, ...]]


def by_brute_force(rows: int, pairs: Costs) -> list[int | None]:
    """Every way to fill, compared by (unfilled, costs …, columns in the rows' order)."""
    options = [
        [column for row, column in sorted(pairs) if row == at] + [None] for at in range(rows)
    ]
    best: tuple[tuple[object, ...], list[int | None]] | None = None
    for way in product(*options):
        used = [column for column in way if column is not None]
        if len(set(used)) < len(used):
            continue
        costs = [pairs[row, column] for row, column in enumerate(way) if column is not None]
        sums = tuple(sum(level) for level in zip(*costs, strict=True)) or (0, 0)
        rank = (rows - len(used), *sums, *(99 if c is None else c for c in way))
        if best is None or rank < best[0]:
            best = rank, list(way)
    assert best is not None
    return best[1]


small_kits = st.integers(1, 4).flatmap(
    lambda rows: st.tuples(
        st.just(rows),
        st.dictionaries(
            st.tuples(st.integers(0, rows - 1), st.integers(0, 4)),
            st.tuples(st.integers(0, 3), st.integers(0, 2)),
            max_size=14,
        ),
    )
)


@settings(max_examples=400, deadline=None)
@given(small_kits)
def test_the_assignment_equals_brute_force_ties_included(kit: tuple[int, Costs]) -> None:
    rows, pairs = kit
    assert assign(rows, 5, pairs, 2) == by_brute_force(rows, pairs)


wide_costs = st.integers(1, 3).flatmap(
    lambda rows: st.tuples(
        st.just(rows),
        st.dictionaries(
            st.tuples(st.integers(0, rows - 1), st.integers(0, 4)),
            st.tuples(st.sampled_from([0, 1, COST_MOST - 1, COST_MOST]), st.integers(0, COST_MOST)),
            max_size=12,
        ),
    )
)


@settings(max_examples=200, deadline=None)
@given(wide_costs)
def test_costs_a_nanometre_apart_at_the_far_end_of_the_range_are_told_apart(
    kit: tuple[int, Costs],
) -> None:
    rows, pairs = kit
    assert assign(rows, 5, pairs, 2) == by_brute_force(rows, pairs)


def test_nothing_lacking_needs_nothing() -> None:
    assert choose_substitutes([], []) == ()


def test_one_position_takes_the_piece_nearest_to_its_ratio() -> None:
    position = LackingPosition(7, "top", Fraction(3, 2), partner_nm=100_000_000)
    chosen = choose_substitutes(
        [position],
        [Candidate(7, "R000001A", 150_010_000), Candidate(7, "R000002B", 149_995_000)],
    )
    assert [(c.position, c.piece, c.ratio_deviation_nm) for c in chosen] == [(7, "R000002B", 5000)]


def test_a_position_without_candidates_stays_empty() -> None:
    chosen = choose_substitutes([LackingPosition(1), LackingPosition(2)], [Candidate(2, "A")])
    assert [(choice.position, choice.piece) for choice in chosen] == [(2, "A")]


def test_the_best_piece_of_one_position_is_given_up_to_fill_two() -> None:
    first = LackingPosition(1, "bottom", partner_nm=100)
    second = LackingPosition(2, "bottom", partner_nm=100)
    chosen = choose_substitutes(
        [first, second],
        [Candidate(1, "A", 100), Candidate(1, "B", 900), Candidate(2, "A", 100)],
    )
    assert [(choice.position, choice.piece) for choice in chosen] == [(1, "B"), (2, "A")]


def test_a_nanometre_of_ratio_outweighs_any_step_and_any_walking() -> None:
    position = LackingPosition(
        1, "bottom", partner_nm=100, previous_nm=500, step_from_previous_nm=0
    )
    near = Candidate(1, "B", 101, remarks=9, walking=9)
    assert cost_of(position, near) == (1, 399, 9, 9)
    assert cost_of(position, Candidate(1, "A", 102)) == (2, 398, 0, 0)
    chosen = choose_substitutes([position], [Candidate(1, "A", 102), near])
    assert chosen[0].piece == "B"


def test_steps_on_both_sides_count() -> None:
    # 152.4 mm before, 153.4 after, drawn 0.5 mm each way; a piece of 152.8 is 0.1 off twice.
    position = LackingPosition(
        1, previous_nm=152_400_000, step_from_previous_nm=500_000,
        next_nm=153_400_000, step_to_next_nm=500_000,
    )  # fmt: skip
    assert cost_of(position, Candidate(1, "A", 152_800_000)) == (0, 200_000, 0, 0)


def test_a_piece_without_drive_diameter_costs_only_its_handling() -> None:
    position = LackingPosition(1, "top", partner_nm=100, previous_nm=5, step_from_previous_nm=1)
    assert cost_of(position, Candidate(1, "S", None, 2, 3)) == (0, 0, 2, 3)


def test_a_side_roll_has_no_ratio() -> None:
    position = LackingPosition(1, "side", partner_nm=100)
    assert cost_of(position, Candidate(1, "D", 42)) == (0, 0, 0, 0)


def test_ties_go_by_position_to_the_lowest_code_in_whatever_order_they_come() -> None:
    positions = [LackingPosition(2), LackingPosition(1)]
    candidates = [Candidate(p, code) for p in (1, 2) for code in ("C", "B", "A")]
    expected = [(2, "A"), (1, "B")]
    for order in (candidates, candidates[::-1]):
        chosen = choose_substitutes(positions, order)
        assert [(choice.position, choice.piece) for choice in chosen] == expected


def test_two_hundred_and_fifty_positions_are_filled_each_by_its_own_piece() -> None:
    # Diameters 1 mm apart, every piece allowed everywhere: only the identity has no deviation.
    positions = [LackingPosition(at, partner_nm=(at + 1) * 1_000_000) for at in range(250)]
    candidates = [
        Candidate(at, f"R{piece:06}", (piece + 1) * 1_000_000)
        for at in range(250)
        for piece in range(250)
    ]
    chosen = choose_substitutes(positions, candidates)
    assert [choice.piece for choice in chosen] == [f"R{at:06}" for at in range(250)]


def test_two_hundred_and_fifty_equal_pieces_go_in_the_order_of_their_codes() -> None:
    positions = [LackingPosition(at) for at in range(250)]
    candidates = [Candidate(at, f"R{p:06}") for at in range(250) for p in range(250)]
    chosen = choose_substitutes(positions, candidates)
    assert [choice.piece for choice in chosen] == [f"R{at:06}" for at in range(250)]


def test_the_choice_tells_its_deviations_as_a_step() -> None:
    chosen = choose_substitutes([LackingPosition(1, partner_nm=100)], [Candidate(1, "A", 103)])
    assert chosen[0].step.inputs["ratio_deviation_nm"] == 3
    assert chosen[0].step.value == "A"


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="given twice"):
        choose_substitutes([LackingPosition(1), LackingPosition(1)], [])
    with pytest.raises(ValueError, match="of no position"):
        choose_substitutes([LackingPosition(1)], [Candidate(2, "A")])
    with pytest.raises(ValueError, match="same piece twice"):
        choose_substitutes([LackingPosition(1)], [Candidate(1, "A"), Candidate(1, "A")])
    with pytest.raises(ValueError, match="outside the problem"):
        assign(1, 1, {(1, 0): (0,)}, 1)
    with pytest.raises(ValueError, match="costs from 0"):
        assign(1, 1, {(0, 0): (-1,)}, 1)
    with pytest.raises(ValueError, match="more than nothing"):
        LackingPosition(1, ratio=Fraction(0))
    with pytest.raises(ValueError, match="not negative"):
        Candidate(1, "A", remarks=-1)

"""The wall at the key corner: exact geometry, rounded down, and its inverse."""

import math
from decimal import Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tooling.engineering.keys import (
    key_for_shaft,
    least_root_diameter,
    require_wall,
    wall_at_key_corner,
)
from tooling.engineering.lengths import NM_PER_IN, NM_PER_MM
from tooling.errors import ToolingError

bores = st.integers(20 * NM_PER_MM, 150 * NM_PER_MM)
depths = st.integers(0, 15 * NM_PER_MM)
widths = st.integers(0, 20 * NM_PER_MM)
roots = st.integers(1, 400 * NM_PER_MM)
walls = st.integers(0, 50 * NM_PER_MM)


def refusal(call, *arguments):
    with pytest.raises(ToolingError) as caught:
        call(*arguments)
    return caught.value


def test_the_wall_of_a_triangle_with_whole_sides_by_hand():
    # bore/2 + depth = 36 + 4 = 40, width/2 = 9: √(40² + 9²) = 41, so 50 − 41 = 9 and 50 − 40 = 10
    wall = wall_at_key_corner(100 * NM_PER_MM, 72 * NM_PER_MM, 4 * NM_PER_MM, 18 * NM_PER_MM)
    assert (wall.corner_nm, wall.plain_nm) == (9 * NM_PER_MM, 10 * NM_PER_MM)


def test_the_wall_of_a_common_inch_roll_by_hand():
    # Y = (2.5 − √(2.5² − 0.625²))/2 = 0.0397, T − D = 0.3125 − 0.0397 + 0.005 = 0.2778;
    # √(1.5278² + 0.3125²) = 1.5594, 2 − 1.5594 = 0.4406 in; plain 2 − 1.5278 = 0.4722 in
    key = key_for_shaft(round(2.5 * NM_PER_IN), "ANSI B17.1")
    wall = wall_at_key_corner(4 * NM_PER_IN, key.shaft_nm, key.hub_depth_nm, key.width_nm)
    assert wall.corner_nm / NM_PER_IN == pytest.approx(0.4406, abs=0.0001)
    assert wall.plain_nm / NM_PER_IN == pytest.approx(0.4722, abs=0.0001)


@given(roots, bores, depths, widths)
def test_the_wall_is_the_formula_rounded_down(root, bore, depth, width):
    wall = wall_at_key_corner(root, bore, depth, width)
    with localcontext(prec=60):
        corner = (
            Decimal(root) / 2
            - ((Decimal(bore) / 2 + depth) ** 2 + (Decimal(width) / 2) ** 2).sqrt()
        )
        assert wall.corner_nm == math.floor(corner)
    assert wall.plain_nm == math.floor(Decimal(root) / 2 - Decimal(bore) / 2 - depth)


@given(roots, bores, depths, widths)
def test_the_corner_never_has_more_wall_than_the_middle(root, bore, depth, width):
    wall = wall_at_key_corner(root, bore, depth, width)
    assert wall.corner_nm <= wall.plain_nm


@given(bores, depths, widths, walls)
def test_the_least_root_diameter_leaves_the_wall_and_a_nanometre_less_does_not(
    bore, depth, width, wished
):
    root = least_root_diameter(bore, depth, width, wished).root_diameter_nm
    assert wall_at_key_corner(root, bore, depth, width).corner_nm >= wished
    assert wall_at_key_corner(root - 1, bore, depth, width).corner_nm < wished


@given(roots, bores, depths, widths, st.integers(1, NM_PER_MM))
def test_a_deeper_or_wider_keyway_or_a_recut_never_leaves_more_wall(root, bore, depth, width, more):
    before = wall_at_key_corner(root, bore, depth, width).corner_nm
    assert wall_at_key_corner(root, bore, depth + more, width).corner_nm <= before
    assert wall_at_key_corner(root, bore, depth, min(width + more, bore)).corner_nm <= before
    assert wall_at_key_corner(max(root - 2 * more, 1), bore, depth, width).corner_nm <= before


@given(roots, bores)
def test_without_a_keyway_both_walls_are_the_wall_over_the_bore(root, bore):
    wall = wall_at_key_corner(root, bore, 0, 0)
    assert wall.corner_nm == wall.plain_nm == (root - bore) // 2


def test_a_wall_says_when_it_is_thin_and_when_there_is_none():
    wall = wall_at_key_corner(100 * NM_PER_MM, 72 * NM_PER_MM, 4 * NM_PER_MM, 18 * NM_PER_MM)
    gone = wall_at_key_corner(82 * NM_PER_MM, 72 * NM_PER_MM, 4 * NM_PER_MM, 18 * NM_PER_MM)
    assert [wall.state(9 * NM_PER_MM), wall.state(9 * NM_PER_MM + 1)] == ["ok", "thin"]
    assert (gone.corner_nm, gone.state(0)) == (0, "none")


def test_a_roll_without_a_wall_is_refused():
    # the middle still has 1 mm, the corner has nothing: 82/2 − 41 = 0
    gone = wall_at_key_corner(82 * NM_PER_MM, 72 * NM_PER_MM, 4 * NM_PER_MM, 18 * NM_PER_MM)
    assert gone.plain_nm == NM_PER_MM
    assert refusal(require_wall, gone).code == "no_wall_over_key"


def test_a_roll_with_a_wall_is_let_through():
    wall = wall_at_key_corner(100 * NM_PER_MM, 72 * NM_PER_MM, 4 * NM_PER_MM, 18 * NM_PER_MM)
    assert require_wall(wall) is wall


def test_the_steps_name_inputs_formula_and_rounding():
    corner, plain = wall_at_key_corner(100, 60, 5, 10).how
    assert corner.inputs["key_width_nm"] == 10
    assert "√" in corner.formula
    assert plain.rounding == "down to 1 nm"


@pytest.mark.parametrize(
    ("sizes", "code"),
    [
        ((0, 60, 5, 10), "negative_length"),
        ((100, 0, 5, 10), "negative_length"),
        ((100, 60, -1, 10), "negative_length"),
        ((100, 60, 5, -1), "negative_length"),
        ((100, 60, 5, 61), "key_wider_than_bore"),
    ],
)
def test_impossible_sizes_are_refused(sizes, code):
    assert refusal(wall_at_key_corner, *sizes).code == code


def test_a_negative_wish_is_refused():
    assert refusal(least_root_diameter, 60, 5, 10, -1).code == "negative_length"

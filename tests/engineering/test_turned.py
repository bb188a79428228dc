"""A stack turned for the other hand."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tooling.engineering.turned import Stood, from_shoulder

STACK = [
    Stood(1, 1, "inboard"),
    Stood(2, 2, "", "outboard"),
    Stood(3, 3, "middle"),
    Stood(4, 4, "", "inboard"),
    Stood(5, 5, "outboard"),
]


def test_as_drawn_it_stands_in_its_order() -> None:
    assert [e.key for e in from_shoulder(STACK[::-1], is_turned=False)] == [1, 2, 3, 4, 5]


def test_turned_the_rolls_are_mirrored_between_the_fills() -> None:
    turned = from_shoulder(STACK, is_turned=True)
    assert [each.key for each in turned] == [1, 4, 3, 2, 5]
    assert [each.faces for each in turned] == ["", "outboard", "", "inboard", ""]


def test_an_empty_shaft_stays_empty() -> None:
    assert from_shoulder([], is_turned=True) == ()


def test_a_fill_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="no fill"):
        Stood(1, 1, "upper")  # type: ignore[arg-type]


@settings(max_examples=40)
@given(st.lists(st.sampled_from(["inboard", "outboard"]), max_size=8))
def test_turned_twice_a_stack_of_rolls_is_as_it_was(faces: list[str]) -> None:
    stack = [Stood(n, n, "", face) for n, face in enumerate(faces)]  # type: ignore[arg-type]
    once = from_shoulder(stack, is_turned=True)
    again = [Stood(e.key, n, e.fill, e.faces) for n, e in enumerate(once)]
    twice = from_shoulder(again, is_turned=True)
    assert [(e.key, e.faces) for e in twice] == [(e.key, e.faces) for e in stack]

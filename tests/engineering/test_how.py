"""A step keeps what went into a figure and cannot be changed afterwards."""

import pytest

from tooling.engineering.how import Step


def a_step(**changes: object) -> Step:
    words = {
        "what": "plain wall",
        "formula": "D_root/2 − (bore/2 + hub depth)",
        "source": "geometry",
        "inputs": {"root_diameter_nm": 10, "bore_nm": 4},
        "value": 3,
    }
    return Step(**{**words, **changes})  # type: ignore[arg-type]


def test_a_step_in_json_has_the_five_contracted_keys_in_order():
    assert list(a_step().as_dict()) == ["what", "formula", "source", "inputs", "value"]


def test_unmeasured_inputs_and_rounding_are_told_when_there_are_any():
    told = a_step(unmeasured=("bore_nm",), rounding="down to 1 nm").as_dict()
    assert told["unmeasured"] == ["bore_nm"]
    assert told["rounding"] == "down to 1 nm"


def test_a_step_refuses_an_unmeasured_name_that_is_no_input():
    with pytest.raises(ValueError, match="shaft_nm"):
        a_step(unmeasured=("shaft_nm",))


def test_inputs_are_a_copy_and_cannot_be_changed():
    given = {"bore_nm": 4}
    step = a_step(inputs=given)
    given["bore_nm"] = 5
    assert step.inputs["bore_nm"] == 4
    with pytest.raises(TypeError):
        step.inputs["bore_nm"] = 6  # type: ignore[index]

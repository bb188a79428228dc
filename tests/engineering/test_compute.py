"""The named computations: what they answer, and that both sides are held to their schemas."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from tests.engineering.computing import (
    ALL_GOOD,
    GOOD,
    refused,
)
from tooling.engineering.compute import COMPUTATIONS, compute
from tooling.engineering.compute.answers import Answer, Computation, run
from tooling.errors import ToolingError

pytestmark = pytest.mark.one_database


def test_the_names_are_those_of_the_contract_that_exist_so_far() -> None:
    assert set(COMPUTATIONS) == {
        "key", "fit", "gap", "feelers", "speeds", "strip", "lift", "check-code", "order",
        "stacks", "regrind", "timing", "wear",
    }  # fmt: skip


@pytest.mark.parametrize("name", sorted(COMPUTATIONS))
def test_both_schemas_are_schemas(name: str) -> None:
    schemas = COMPUTATIONS[name].schemas()
    assert set(schemas) == {"input", "output"}
    for schema in schemas.values():
        Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize(("name", "given"), ALL_GOOD)
def test_every_answer_is_plain_json_of_the_contracted_shape(
    name: str, given: dict[str, Any]
) -> None:
    told = json.loads(json.dumps(compute(name, given), allow_nan=False))
    assert list(told) == ["status", "answer", "bound", "how"]
    Draft202012Validator(COMPUTATIONS[name].schemas()["output"]).validate(told)


@pytest.mark.parametrize(("name", "given"), ALL_GOOD)
def test_every_answer_says_how(name: str, given: dict[str, Any]) -> None:
    expected = {"what", "formula", "source", "inputs", "value"}
    how = compute(name, given)["how"]
    silent = ({"passes": []}, {"points": []}, {"mass_kg": 22.9}, GOOD["lift"][2], GOOD["stacks"][1],
              *GOOD["regrind"][2:4])  # fmt: skip
    assert bool(how) is (given not in silent)
    assert all(expected <= set(step) for step in how)


@pytest.mark.parametrize(("name", "given"), ALL_GOOD)
def test_an_unknown_property_is_refused_with_its_place(name: str, given: dict[str, Any]) -> None:
    error = refused(name, given | {"colour": "blue"})
    assert (error.code, error.values["path"]) == ("invalid_input", "$")


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


def places(content: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) of nested JSON."""
    keys = content.keys() if isinstance(content, dict) else range(len(content))
    here = [(content, key) for key in keys]
    inner = [content[key] for key in keys if isinstance(content[key], (dict, list))]
    return here + [place for each in inner for place in places(each)]


def code_or_status(name: str, given: Any) -> str:
    """The status of a valid answer, or the code of a stated problem."""
    try:
        answer = compute(name, given)
    except ToolingError as error:
        return error.code
    return str(answer["status"])


extreme_numbers = st.sampled_from([0, 1, -1, 2**53, 10**11, -(10**11), 0.5, 1e-9, 1e308])


@given(st.sampled_from(ALL_GOOD), st.data())
def test_whatever_stands_in_a_field_is_answered_or_refused_never_broken(
    example: tuple[str, dict[str, Any]], data: st.DataObject
) -> None:
    name, good = example
    given = json.loads(json.dumps(good))
    container, key = data.draw(st.sampled_from(places(given)))
    container[key] = data.draw(json_values | extreme_numbers)
    assert code_or_status(name, given) in {
        "ok", "infeasible", "stopped", "invalid_input", "size_outside_table", "unknown_fit_class",
        "negative_length", "bore_smaller_than_shaft", "key_wider_than_bore", "not_a_code",
    }  # fmt: skip


@given(st.sampled_from(sorted(COMPUTATIONS)), json_values)
def test_any_other_json_is_refused_with_a_code(name: str, given: Any) -> None:
    assert refused(name, given).code == "invalid_input"


@pytest.mark.parametrize("given", [{"shaft_nm": 63.5}, {"shaft_nm": -1}, {"shaft_nm": "2.5"}])
def test_a_length_is_a_whole_positive_number_of_nanometres(given: dict[str, Any]) -> None:
    error = refused("key", {"standard": "ANSI B17.1"} | given)
    assert error.values["path"] == "$.shaft_nm"


def test_a_whole_number_written_with_a_point_is_whole() -> None:
    told = compute("key", {"shaft_nm": 63_500_000.0, "standard": "ANSI B17.1"})
    assert told == compute("key", {"shaft_nm": 63_500_000, "standard": "ANSI B17.1"})


def test_input_nested_without_end_is_refused() -> None:
    deep: Any = 1
    for _level in range(100_000):
        deep = [deep]
    assert refused("speeds", {"passes": deep}).code == "invalid_input"


def test_an_answer_that_breaks_its_schema_is_a_fault_of_ours() -> None:
    wrong = Computation("wrong", "", {}, {"type": "string"}, lambda given: Answer({}, ()))
    with pytest.raises(RuntimeError, match="wrong"):
        run(wrong, {})

"""A mapping can be kept as JSON, and one that cannot work is refused at birth."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tooling.errors import ToolingError
from tooling.spreadsheets.mapping import Mapping

FULL = Mapping(
    "pieces",
    columns={"mark": "Roll #", "drawing": "Dwg", "now_bore": "ID"},
    units={"now_bore": "in"},
    date_order="mdy",
    decimal_mark=",",
    fixed={"owner": "MERID"},
    fill_down=frozenset({"drawing"}),
    accept=frozenset({"now_bore"}),
    spread=frozenset({"mark"}),
    splits={"Where": "P{number} {word}"},
    copies="letters",
)


def test_a_mapping_comes_back_from_json_as_it_was() -> None:
    assert Mapping.from_dict(json.loads(json.dumps(FULL.to_dict()))) == FULL


def test_equal_mappings_give_equal_json() -> None:
    other = Mapping.from_dict(
        {**FULL.to_dict(), "columns": dict(reversed(list(FULL.columns.items())))}
    )
    assert json.dumps(other.to_dict()) == json.dumps(FULL.to_dict())


def test_an_unchosen_column_is_no_column() -> None:
    assert Mapping.from_dict({"kind": "pieces", "columns": {"mark": ""}}).columns == {}


@pytest.mark.parametrize(
    "data",
    [
        {"kind": "pieces", "columns": {"sku": "SKU"}},
        {"kind": "pieces", "columns": {"mark": "M"}, "units": {"mark": "mm"}},
        {"kind": "pieces", "units": {"now_bore": "furlong"}},
        {"kind": "pieces", "date_order": "dym"},
        {"kind": "pieces", "decimal_mark": ";"},
        {"kind": "pieces", "fill_down": "mark"},
        {"kind": "pieces", "spread": ["sku"]},
        {"kind": "pieces", "copies": "numbers"},
        {"kind": "owners", "copies": "letters"},
        {"kind": "pieces", "columns": {"mark": 3}},
        {"kind": "pieces", "columns": ["mark"]},
        {"columns": {}},
        [],
    ],
)
def test_a_mapping_that_cannot_work_is_refused(data: Any) -> None:
    with pytest.raises(ToolingError) as raised:
        Mapping.from_dict(data)
    assert raised.value.code == "bad_mapping"


def test_an_unknown_kind_is_refused_with_those_there_are() -> None:
    with pytest.raises(ToolingError) as raised:
        Mapping.from_dict({"kind": "gadgets"})
    assert raised.value.code == "unknown_kind"
    assert "pieces" in raised.value.message

"""Names stand as people count them: numbers inside them as numbers."""

from __future__ import annotations

from tooling.spreadsheets.formatting import natural


def test_numbers_inside_names_are_numbers() -> None:
    names = ["10B", "2B", "2A", "rack 10", "Rack 2", "", "R-007", "R-7-12", "R-7-3"]
    assert sorted(names, key=natural) == [
        "", "2A", "2B", "10B", "R-007", "R-7-3", "R-7-12", "Rack 2", "rack 10",
    ]  # fmt: skip
    assert natural("r-7") == natural("R-007")

"""Published values and hand arithmetic that lie beside the tests in ``fixtures/checks``."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

CHECKS = Path(__file__).resolve().parents[2] / "fixtures" / "checks"


def read_checks(name: str) -> dict[str, Any]:
    """One file of checks."""
    content: dict[str, Any] = json.loads((CHECKS / f"{name}.json").read_text(encoding="utf-8"))
    return content


def table(name: str, title: str) -> list[dict[str, Any]]:
    """The rows of one table; never empty."""
    rows: list[dict[str, Any]] = next(
        each["rows"] for each in read_checks(name)["tables"] if each["name"] == title
    )
    assert rows
    return rows


def worked(quantity: str) -> list[dict[str, Any]]:
    """The rows of the hand arithmetic about one quantity; never empty."""
    rows = [r for r in read_checks("roll_arithmetic")["rows"] if r["quantity"] == quantity]
    assert rows
    return rows


def inch(text: str | int | float) -> int:
    """Inches as whole nanometres."""
    value = Decimal(str(text)) * 25_400_000
    assert value == int(value)
    return int(value)

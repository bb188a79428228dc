"""Pieces that the schemas of the computations share."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

Json = dict[str, Any]
LONGEST_NM = 100_000_000_000
"""100 m: longer than anything on a mill, so a slip of units is caught."""


def length(about: str = "", *, least: int = 1) -> Json:
    """A length in whole nanometres."""
    told: Json = {"type": "integer", "minimum": least, "maximum": LONGEST_NM}
    return told | ({"description": about} if about else {})


def signed(about: str = "") -> Json:
    """A signed length in whole nanometres."""
    return length(about, least=-LONGEST_NM)


def number(about: str = "", *, least: float = 0, most: float = 1e6) -> Json:
    """A plain number within bounds."""
    told: Json = {"type": "number", "minimum": least, "maximum": most}
    return told | ({"description": about} if about else {})


def obj(required: list[str], **properties: Json) -> Json:
    """An object with these properties and no others."""
    return {
        "type": "object",
        "required": required,
        "properties": properties,
        "additionalProperties": False,
    }


def many(items: Json, *, most: int = 1000) -> Json:
    """A list."""
    return {"type": "array", "items": items, "maxItems": most}


def maybe(schema: Json) -> Json:
    """The schema, or null."""
    return {"anyOf": [schema, {"type": "null"}]}


TEXT: Json = {"type": "string", "maxLength": 200}
BOOLEAN: Json = {"type": "boolean"}
INTEGER: Json = {"type": "integer"}
NUMBER: Json = {"type": "number"}
COUNT: Json = {"type": "integer", "minimum": 1, "maximum": 1000}
RATIO: Json = {
    "description": "A positive ratio: a number, or text like 3/2 or 1.5.",
    "anyOf": [
        {"type": "number", "exclusiveMinimum": 0, "maximum": 1000},
        {"type": "string", "pattern": r"^(\d{1,6}(\.\d{1,9})?|\d{1,6}/[1-9]\d{0,5})$"},
    ],
}
LEVEL: Json = {"enum": ["ok", "warn", "no"]}
FINDING: Json = obj(
    ["check", "level", "code", "station", "pass", "values", "unmeasured", "refused", "text"],
    check=TEXT,
    level=LEVEL,
    code=TEXT,
    station=maybe(INTEGER),
    **{"pass": maybe(INTEGER)},
    values={"type": "object"},
    unmeasured={"type": "array", "items": {"type": "string"}},
    refused=BOOLEAN,
    text={"type": "string"},
)
FINDINGS: Json = {"type": "array", "items": FINDING}


def as_ratio(given: str | float) -> Fraction:
    """A ratio exactly as it was written."""
    return Fraction(str(given))

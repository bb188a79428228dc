"""An OpenAPI document as what a page lists: endpoints by noun, fields, an example body."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

Schema = Mapping[str, Any]
METHODS = ("get", "post", "put", "patch", "delete")
DEEPEST = 6


@dataclass(frozen=True)
class FieldLine:
    """One field of a body or one parameter."""

    name: str
    kind: str
    is_required: bool
    said: str


@dataclass(frozen=True)
class Endpoint:
    """One method of one address."""

    anchor: str
    method: str
    path: str
    said: str
    parameters: tuple[FieldLine, ...]
    takes: tuple[FieldLine, ...]
    gives: tuple[FieldLine, ...]
    gives_list: bool
    example: str
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Group:
    """The endpoints of one noun."""

    noun: str
    endpoints: tuple[Endpoint, ...]


def endpoints(document: Schema) -> list[Group]:
    """Every endpoint, by noun."""
    parts = document.get("components", {}).get("schemas", {})
    found = [
        _endpoint(path, method, item[method], parts)
        for path, item in document["paths"].items()
        for method in METHODS
        if method in item
    ]
    return [
        Group(noun, tuple(each))
        for noun, each in groupby(found, key=lambda one: one.path.split("/")[3])
    ]


def _endpoint(path: str, method: str, operation: Schema, parts: Schema) -> Endpoint:
    body = _content(operation.get("requestBody", {}))
    out, is_list = _result(operation["responses"], parts)
    return Endpoint(
        anchor=operation["operationId"],
        method=method.upper(),
        path=path,
        said=operation.get("description", ""),
        parameters=tuple(_parameter(each) for each in operation.get("parameters", ())),
        takes=_fields(body, parts),
        gives=_fields(out, parts),
        gives_list=is_list,
        example=json.dumps(_example(body, parts), indent=2) if body else "",
        answers=tuple(
            (code, answer.get("description", "")) for code, answer in operation["responses"].items()
        ),
    )


def _content(holder: Schema) -> Schema:
    """The schema of a body, of whatever kind it is sent as."""
    content = holder.get("content", {})
    return next((each["schema"] for each in content.values()), {})


def _result(responses: Schema, parts: Schema) -> tuple[Schema, bool]:
    """What a good answer holds, looked at through the envelope of a list."""
    good: Schema = next((each for code, each in responses.items() if code.startswith("2")), {})
    schema = _resolved(_content(good), parts)
    inner = schema.get("properties", {}).get("results", schema)
    if inner.get("type") == "array":
        return inner["items"], True
    return schema, False


def _resolved(schema: Schema, parts: Schema) -> Schema:
    """A schema with its reference followed."""
    if "allOf" in schema:
        return _resolved(schema["allOf"][0], parts)
    name = schema.get("$ref", "").rpartition("/")[2]
    return _resolved(parts[name], parts) if name else schema


def _fields(schema: Schema, parts: Schema) -> tuple[FieldLine, ...]:
    """The fields of a body, those that must be there first."""
    whole = _resolved(schema, parts)
    required = whole.get("required", ())
    lines = [
        FieldLine(name, _kind(field, parts), name in required, _said(field, parts))
        for name, field in whole.get("properties", {}).items()
    ]
    return tuple(sorted(lines, key=lambda line: not line.is_required))


def _parameter(parameter: Schema) -> FieldLine:
    return FieldLine(
        parameter["name"],
        _kind(parameter["schema"], {}),
        parameter.get("required", False),
        parameter.get("description", "") or _choices(parameter["schema"]),
    )


def _kind(schema: Schema, parts: Schema) -> str:
    """A type in one or two words."""
    whole = _resolved(schema, parts)
    if whole.get("type") == "array":
        return f"list of {_kind(whole['items'], parts)}"
    kind = whole.get("format") or whole.get("type", "")
    kind = "number" if kind == "double" else kind
    if whole.get("enum") or "oneOf" in whole:
        kind = "choice"
    return f"{kind} or null" if schema.get("nullable") else kind


def _said(schema: Schema, parts: Schema) -> str:
    """The field's own words, else what may be chosen."""
    whole = _resolved(schema, parts)
    own = schema.get("description", "")
    choices = _choices(whole) or _choices(_resolved(whole.get("oneOf", [{}])[0], parts))
    return choices or own.split("\n")[0]


def _choices(schema: Schema) -> str:
    return ", ".join(str(each) for each in schema.get("enum", ()) if each not in ("", None))


def _example(schema: Schema, parts: Schema, depth: int = 0) -> Any:
    """A body that shows the shape: what is required, and one length."""
    whole = _resolved(schema, parts)
    if "example" in whole or "default" in whole:
        return whole.get("example", whole.get("default"))
    if whole.get("enum"):
        return whole["enum"][0]
    if "oneOf" in whole:
        return _example(whole["oneOf"][0], parts, depth)
    if whole.get("type") == "array":
        return [_example(whole["items"], parts, depth + 1)] if depth < DEEPEST else []
    if whole.get("type") == "object":
        return _example_object(whole, parts, depth)
    return _SAMPLES.get(whole.get("format", ""), _SAMPLES.get(whole.get("type", ""), ""))


def _example_object(whole: Schema, parts: Schema, depth: int) -> dict[str, Any]:
    fields = whole.get("properties", {})
    wanted = list(whole.get("required", ()))
    wanted += [name for name in fields if name.endswith("_mm") and name not in wanted][:1]
    if not wanted:
        wanted = list(fields)[:2]
    return {
        name: "63.5" if name.endswith("_mm") else _example(fields[name], parts, depth + 1)
        for name in wanted
        if name in fields
    }


_SAMPLES: dict[str, Any] = {
    "string": "…",
    "integer": 1,
    "number": 1.5,
    "double": 1.5,
    "boolean": True,
    "date": "2026-03-02",
    "date-time": "2026-03-02T07:30:00Z",
    "uuid": "5f0c7c1e-6f2b-4a39-9d4e-0d7f0a3b9c11",
}

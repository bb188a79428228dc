"""What a computation is, and how its input and output are held to their schemas."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from django.utils.translation import gettext_lazy as _
from jsonschema import Draft202012Validator
from jsonschema.exceptions import best_match

from tooling.engineering.findings import Finding
from tooling.engineering.how import Step
from tooling.engineering.lengths import exact_mm
from tooling.errors import ToolingError

Status = Literal["ok", "infeasible", "stopped"]
Json = dict[str, Any]
DIALECT = "https://json-schema.org/draft/2020-12/schema"

STEP_SCHEMA: Json = {
    "type": "object",
    "required": ["what", "formula", "source", "inputs", "value"],
    "properties": {
        "what": {"type": "string"},
        "formula": {"type": "string"},
        "source": {"type": "string"},
        "inputs": {"type": "object"},
        "value": {},
        "unmeasured": {"type": "array", "items": {"type": "string"}},
        "rounding": {"type": "string"},
    },
    "additionalProperties": False,
}


@dataclass(frozen=True)
class Answer:
    """What a computation found. ``bound`` is None where nothing is optimised."""

    answer: Json
    how: tuple[Step, ...]
    status: Status = "ok"
    bound: Any = None

    def as_dict(self) -> Json:
        return {
            "status": self.status,
            "answer": self.answer,
            "bound": self.bound,
            "how": [step.as_dict() for step in self.how],
        }


@dataclass(frozen=True)
class Computation:
    """A named computation with the schemas of its input and of its ``answer``."""

    name: str
    what: str
    input_schema: Mapping[str, Any]
    answer_schema: Mapping[str, Any]
    solve: Callable[[Json], Answer]

    def schemas(self) -> Json:
        """JSON Schemas of input and output, as ``--schema`` prints them."""
        return {
            "input": {"$schema": DIALECT, "title": self.name, "description": self.what}
            | dict(self.input_schema),
            "output": {
                "$schema": DIALECT,
                "title": f"{self.name}: answer",
                "type": "object",
                "required": ["status", "answer", "bound", "how"],
                "properties": {
                    "status": {"enum": ["ok", "infeasible", "stopped"]},
                    "answer": dict(self.answer_schema),
                    "bound": {},
                    "how": {"type": "array", "items": STEP_SCHEMA},
                },
                "additionalProperties": False,
            },
        }


def run(computation: Computation, given: Any) -> Json:
    """The computation's answer, both sides held to their schemas.

    Raises ToolingError ``invalid_input`` where the input breaks its schema or cannot be, the
    computation's own ToolingErrors, and RuntimeError where the output breaks its schema (a fault
    of ours).
    """
    schemas = computation.schemas()
    try:
        given = _whole(given)
    except RecursionError as error:
        raise _invalid("$", "it is nested too deeply") from error
    problem = best_match(Draft202012Validator(schemas["input"]).iter_errors(given))
    if problem is not None:
        raise _invalid(problem.json_path, _shortened(problem.message))
    try:
        told = computation.solve(given).as_dict()
    except (ValueError, ArithmeticError) as error:
        raise _invalid("$", str(error)) from error
    fault = best_match(Draft202012Validator(schemas["output"]).iter_errors(told))
    if fault is not None:
        raise RuntimeError(f"{computation.name}: {fault.json_path}: {fault.message}")
    return told


def _whole(given: Any) -> Any:
    """The input with 1.0 as 1: JSON Schema takes both as integers, the arithmetic only one."""
    if isinstance(given, dict):
        return {name: _whole(value) for name, value in given.items()}
    if isinstance(given, list):
        return [_whole(value) for value in given]
    return int(given) if isinstance(given, float) and given.is_integer() else given


def _invalid(path: str, reason: str) -> ToolingError:
    return ToolingError(
        "invalid_input",
        _("The input is not usable at {path}: {reason}. Compare it with --schema."),
        path=path,
        reason=reason,
    )


def _shortened(text: str) -> str:
    return text if len(text) <= 300 else text[:299] + "…"


def told_findings(findings: Iterable[Finding]) -> list[Json]:
    """Findings as JSON with their sentence in mm."""
    return [
        {**finding.as_dict(), "text": finding.text(lambda nm: f"{exact_mm(nm)} mm")}
        for finding in findings
    ]

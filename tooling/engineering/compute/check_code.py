"""``compute check-code``: read a label code, or make the code of a serial number."""

from __future__ import annotations

from typing import Any

from tooling.engineering.codes import KINDS, SERIALS, make_code, read_code
from tooling.engineering.compute.answers import Answer, Computation
from tooling.engineering.compute.schemas import TEXT, maybe, obj
from tooling.engineering.how import Step

STANDARD = "ISO/IEC 7064, MOD 37-2"
FORMULA = "check character over kind letter and six characters; *, I and O are not issued"

INPUT: dict[str, Any] = {
    "oneOf": [
        obj(["code"], code=TEXT),
        obj(
            ["kind", "serial"],
            kind={"enum": list(KINDS)},
            serial={"type": "integer", "minimum": 0, "maximum": SERIALS - 1},
        ),
    ]
}
ANSWER = obj(
    ["code", "kind", "kind_name", "serial"],
    code=maybe(TEXT),
    kind={"enum": list(KINDS)},
    kind_name=TEXT,
    serial={"type": "integer"},
)


def solve(given: dict[str, Any]) -> Answer:
    """A code read back to kind and serial, or the code of a serial (infeasible: not issued)."""
    if "code" in given:
        read = read_code(given["code"])
        return _answer(read.text, read.kind, read.serial, given)
    code = make_code(given["kind"], int(given["serial"]))
    return _answer(code, given["kind"], int(given["serial"]), given)


def _answer(code: str | None, kind: str, serial: int, given: dict[str, Any]) -> Answer:
    step = Step("label code", FORMULA, STANDARD, given, code)
    told = {"code": code, "kind": kind, "kind_name": KINDS[kind], "serial": serial}
    return Answer(told, (step,), status="ok" if code else "infeasible")


COMPUTATION = Computation(
    "check-code",
    "Checks a label code (folded as when typed), or makes the code of a kind and serial. Status "
    "infeasible: this number is not issued.",
    INPUT,
    ANSWER,
    solve,
)

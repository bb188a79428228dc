"""One line of a check list: ok, warn or no, with the numbers that decided it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal, TypedDict

from tooling.engineering.how import Step

Level = Literal["ok", "warn", "no"]
_SEVERITY: Mapping[Level, int] = MappingProxyType({"ok": 0, "warn": 1, "no": 2})


class Spot(TypedDict):
    """Where along the mill a finding belongs."""

    station: int
    pass_number: int


@dataclass(frozen=True)
class Finding:
    """What one check found.

    ``check`` names the check, ``code`` the outcome (both stable, for programs). ``template`` is a
    sentence with ``{slots}``; a value whose name ends in ``_nm`` fills the slot without that
    ending, in the reader's unit. ``unmeasured`` names what nobody has measured. ``refused`` marks
    a plain impossibility: no reason lets a person go on. Raises ValueError for a refusal that is
    not a "no" and for two values that would fill the same slot.
    """

    check: str
    level: Level
    code: str
    template: Any
    values: Mapping[str, Any]
    station: int | None = None
    pass_number: int | None = None
    unmeasured: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()
    refused: bool = False

    def __post_init__(self) -> None:
        if self.refused and self.level != "no":
            raise ValueError(f"{self.code}: only a “no” can be refused")
        if len({name.removesuffix("_nm") for name in self.values}) < len(self.values):
            raise ValueError(f"{self.code}: two values fill the same slot")
        object.__setattr__(self, "values", MappingProxyType(dict(self.values)))

    def text(self, show_length: Callable[[int], str]) -> str:
        """The sentence in the active language, lengths by ``show_length(nm)``, None as a dash."""
        slots = {name.removesuffix("_nm"): value for name, value in self.values.items()}
        for name, value in self.values.items():
            if value is None:
                slots[name.removesuffix("_nm")] = "–"
            elif name.endswith("_nm"):
                slots[name.removesuffix("_nm")] = show_length(value)
        return str(self.template).format(**slots)

    def as_dict(self) -> dict[str, object]:
        """Plain JSON without the sentence, whose unit and language the reader chooses."""
        return {
            "check": self.check,
            "level": self.level,
            "code": self.code,
            "station": self.station,
            "pass": self.pass_number,
            "values": dict(self.values),
            "unmeasured": list(self.unmeasured),
            "refused": self.refused,
        }


def worst(findings: Iterable[Finding]) -> Level:
    """The gravest level among the findings; ok when there are none."""
    return max((finding.level for finding in findings), key=_SEVERITY.__getitem__, default="ok")


def steps_of(findings: Iterable[Finding]) -> tuple[Step, ...]:
    """Every step behind the findings, in their order."""
    return tuple(step for finding in findings for step in finding.steps)

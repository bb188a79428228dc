"""The steps behind a computed figure, so that every answer can be asked "how?"."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True)
class Step:
    """One computed figure with its formula, where the formula comes from, and what went in.

    ``what`` names the figure, ``formula`` is written as a person would write it, ``source`` names
    the standard or book. ``inputs`` and ``value`` are plain JSON values; a key carries its unit
    (``bore_nm``, ``ratio``). ``unmeasured`` lists the keys of ``inputs`` that nobody has measured
    (drawn or assumed values); ``rounding`` says how ``value`` was rounded, where it was.
    Raises ValueError when ``unmeasured`` names something that is no input.
    """

    what: str
    formula: str
    source: str
    inputs: Mapping[str, object]
    value: object
    unmeasured: tuple[str, ...] = field(default=())
    rounding: str = ""

    def __post_init__(self) -> None:
        strangers = [name for name in self.unmeasured if name not in self.inputs]
        if strangers:
            raise ValueError(f"{self.what}: not among the inputs: {', '.join(strangers)}")
        object.__setattr__(self, "inputs", MappingProxyType(dict(self.inputs)))

    def as_dict(self) -> dict[str, object]:
        """Plain JSON: always what, formula, source, inputs, value; the rest only where said."""
        answer: dict[str, object] = {
            "what": self.what,
            "formula": self.formula,
            "source": self.source,
            "inputs": dict(self.inputs),
            "value": self.value,
        }
        if self.unmeasured:
            answer["unmeasured"] = list(self.unmeasured)
        if self.rounding:
            answer["rounding"] = self.rounding
        return answer

"""What a sheet of one kind may hold, said once: its fields with their trade words and limits."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Any


class FieldType(StrEnum):
    """What a cell becomes. Blank cells become None whatever the type."""

    TEXT = "text"  # str
    CODE = "code"  # str in one line: codes, numbers, marks, revisions
    LENGTH = "length"  # int, nanometres
    STRIP_LENGTH = "strip length"  # int, nanometres; written in m, km or ft
    MASS = "mass"  # int, grams
    DATE = "date"  # datetime.date
    TIME = "time"  # datetime.time
    INTEGER = "integer"  # int
    NUMBERS = "numbers"  # tuple[int, ...]: "3", "1-16", "1, 3, 5"
    NUMBER = "number"  # Decimal
    RATIO = "ratio"  # Decimal with at most six places
    CHOICE = "choice"  # str, one of the field's choices
    YES_NO = "yes/no"  # bool
    UNIT = "unit"  # "mm" or "in": how the lengths of this row are written


UNITS_OF = MappingProxyType(
    {
        FieldType.LENGTH: ("mm", "in"),
        FieldType.STRIP_LENGTH: ("m", "km", "ft"),
        FieldType.MASS: ("kg", "g", "lb"),
    }
)
NM_PER_MM = 1_000_000


@dataclass(frozen=True)
class Field:
    """One column. ``least`` and ``most`` are in mm, m, kg or plain numbers, by type.

    ``of`` names the fields of the thing that this field describes when several rows repeat it
    (a mill's hand on each of its shafts' rows): rows that contradict each other are a problem.
    ``usual`` (mm) is the range outside which a length written without a unit is asked about.
    """

    name: str
    label: str
    words: tuple[str, ...] = ()
    type: FieldType = FieldType.TEXT
    required: bool = False
    choices: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    least: float | None = None
    most: float | None = None
    usual: tuple[float, float] | None = None
    of: tuple[str, ...] = ()
    longest: int = 400
    example: str = ""
    note: str = ""

    @property
    def units(self) -> tuple[str, ...]:
        """The units in which the field may be written; empty when it has none."""
        return UNITS_OF.get(self.type, ())


@dataclass(frozen=True)
class Kind:
    """One kind of sheet. A row's key is the first of ``keys`` whose fields it all fills.

    ``keys_optional`` names key fields that may be blank and still count (a copy letter).
    ``any_of``: groups of fields of which a row must fill at least one.
    ``ordered``: pairs of fields of which the first may not exceed the second.
    ``letters``: the field that tells records with one key apart and may be given letters A, B …
    ``expand`` turns the values of one written row into those of several ("stations 1-16").
    """

    name: str
    label: str
    fields: tuple[Field, ...]
    keys: tuple[tuple[str, ...], ...]
    keys_optional: frozenset[str] = frozenset()
    any_of: tuple[tuple[str, ...], ...] = ()
    ordered: tuple[tuple[str, str], ...] = ()
    expand: Callable[[dict[str, Any]], list[dict[str, Any]]] | None = None
    letters: str = ""
    words: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        names = [each.name for each in self.fields]
        if len(set(names)) != len(names):
            raise ValueError(f"kind {self.name} names a field twice")
        named = {n for group in (*self.keys, *self.any_of, *self.ordered) for n in group}
        if not named <= set(names):
            raise ValueError(f"kind {self.name} has no field {named - set(names)}")

    def field(self, name: str) -> Field:
        """The field of this name. Raises KeyError."""
        return self.by_name[name]

    @property
    def by_name(self) -> dict[str, Field]:
        return {each.name: each for each in self.fields}

    @property
    def unit_field(self) -> str | None:
        """The field that says row by row in which unit lengths are written, if any."""
        return next((each.name for each in self.fields if each.type is FieldType.UNIT), None)

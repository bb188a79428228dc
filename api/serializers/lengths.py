"""Lengths on the wire: out as exact decimal strings in mm, in as ``…_mm`` or ``…_in``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from tooling.engineering.lengths import (
    NM_PER_MM,
    Unit,
    exact_mm,
    format_strip_length,
    parse_length,
)
from tooling.errors import ToolingError
from tooling.models import DIMENSIONS
from tooling.queries.piece_page import HAVE_LEAST, SIZES
from tooling.spreadsheets.kinds.words import USUAL_MM

LABELS = dict(SIZES)
_DECIMAL = {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$", "example": "63.5"}


@extend_schema_field(_DECIMAL)
class LengthMm(serializers.Field[Any, Any, str, Any]):
    """A length in mm as an exact decimal string; the row keeps it in nm."""

    def __init__(self, source: str | None = None, **more: Any) -> None:
        super().__init__(source=source, read_only=True, allow_null=True, **more)

    def to_representation(self, value: int) -> str:
        return exact_mm(value)


@extend_schema_field({**_DECIMAL, "example": "12500"})
class StripLengthM(serializers.Field[Any, Any, str, Any]):
    """A length of strip in m as an exact decimal string."""

    def __init__(self, source: str | None = None, **more: Any) -> None:
        super().__init__(source=source, read_only=True, allow_null=True, **more)

    def to_representation(self, value: int) -> str:
        return format_strip_length(value, "m")


@dataclass(frozen=True)
class AskedLength:
    """A length that a body may hold: its name without unit, the service's name, its words."""

    name: str
    to: str
    label: Any
    usual_mm: tuple[float, float] | None = None
    signed: bool = False
    required: bool = False
    can_be_empty: bool = True


def plain(
    *names: str,
    required: Iterable[str] = (),
    signed: Iterable[str] = (),
    never_empty: Iterable[str] = (),
) -> list[AskedLength]:
    """Lengths whose service calls them as they are called outside, with ``_nm``."""
    return [
        AskedLength(
            name,
            f"{name}_nm",
            name.replace("_", " ").capitalize(),
            signed=name in signed,
            required=name in required,
            can_be_empty=name not in never_empty,
        )
        for name in names
    ]


def dimensions(prefix: str = "") -> list[AskedLength]:
    """The eight dimensions of a drawing or a piece."""
    return [
        AskedLength(
            name,
            f"{prefix}{name}_nm",
            LABELS[name],
            usual_mm=USUAL_MM[name],
            signed=name == "guide_offset",
        )
        for name in DIMENSIONS
    ]


def least_dimensions() -> list[AskedLength]:
    """The least allowed of those dimensions that have one."""
    return [
        AskedLength(f"least_{name}", f"least_{name}_nm", LABELS[name], usual_mm=USUAL_MM[name])
        for name in HAVE_LEAST
    ]


class ActionIn(serializers.Serializer[Any]):
    """A body. A field that nobody knows is refused, so that a slip is not passed over."""

    lengths: ClassVar[list[AskedLength]] = []

    def get_fields(self) -> dict[str, Any]:
        fields = super().get_fields()
        for asked in self.lengths:
            for unit in ("mm", "in"):
                fields[f"{asked.name}_{unit}"] = serializers.CharField(
                    required=False,
                    allow_null=asked.can_be_empty,
                    max_length=40,
                    help_text=f"In {unit}; give one of the two." if unit == "in" else "In mm.",
                )
        return fields

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if isinstance(data, Mapping):
            unknown = sorted(str(name) for name in set(data) - set(self.fields))
            if unknown:
                raise serializers.ValidationError(
                    {name[:60]: [str(_("There is no such field."))] for name in unknown[:10]}
                )
        values: dict[str, Any] = super().to_internal_value(data)
        for asked in self.lengths:
            _take(asked, values)
        return values


def _take(asked: AskedLength, values: dict[str, Any]) -> None:
    """Put the length, in nm, where its two spellings were."""
    names: dict[Unit, str] = {"mm": f"{asked.name}_mm", "in": f"{asked.name}_in"}
    there: dict[Unit, Any] = {u: values.pop(n) for u, n in names.items() if n in values}
    said = {unit: text for unit, text in there.items() if text is not None}
    if len(said) > 1:
        raise ToolingError(
            "ambiguous_length",
            _("{field} is given in mm and in inches. Send one of the two."),
            field=asked.label,
            in_field=names["mm"],
        )
    if asked.required and not said:
        raise serializers.ValidationError({names["mm"]: [str(_("This field is required."))]})
    for unit, text in said.items():
        values[asked.to] = read_length(asked, text, unit)
    if there and not said:
        values[asked.to] = None


def read_length(asked: AskedLength, text: str, unit: Unit) -> int:
    """What was sent, in nm. Raises as ``parse_length``; ``ambiguous_length`` for a unit that is
    not the field's."""
    usual = asked.usual_mm
    expected = (round(usual[0] * NM_PER_MM), round(usual[1] * NM_PER_MM)) if usual else None
    read = parse_length(
        text, unit=unit, field=str(asked.label), expected_nm=expected, signed=asked.signed
    )
    if read.unit_written != unit:
        raise ToolingError(
            "ambiguous_length",
            _("{field} “{text}” names another unit than its field, which is in {unit}."),
            field=asked.label,
            text=text,
            unit=unit,
        )
    return read.nm

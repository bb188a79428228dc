"""What somebody typed into the search, understood as the trade says it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from tooling.engineering import codes
from tooling.engineering.lengths import Unit, parse_length
from tooling.errors import ToolingError
from tooling.models import DrawingKind

DIMENSION_WORDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "bore": ("bore", "id"),
        "face_width": ("face width", "width", "face", "length"),
        "drive_diameter": ("drive diameter", "drive dia", "pitch diameter", "pitch dia", "pd"),
        "root_diameter": ("root diameter", "root dia", "root", "throat"),
        "outside_diameter": ("outside diameter", "outside dia", "od", "flange diameter"),
    }
)
"""The dimensions that pieces can be searched by, with what people call them."""

KIND_WORDS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        DrawingKind.ROLL: ("roll", "rolls"),
        DrawingKind.SIDE_ROLL: ("side roll", "side rolls"),
        DrawingKind.SPACER: ("spacer", "spacers", "collar", "collars"),
        DrawingKind.SHIM: ("shim", "shims"),
        DrawingKind.SLEEVE: ("sleeve", "sleeves"),
        DrawingKind.LINE_TOOLING: ("line tooling",),
        DrawingKind.HARDWARE: ("hardware",),
    }
)

SAME_PLACE_WORDS: Mapping[str, str] = MappingProxyType(
    {"stand": "station", "raft": "plate", "spindle": "shaft", "arbor": "shaft", "arbour": "shaft"}
)
"""Words of the trade for what this shop's pages call otherwise."""

KNOWN_BY_WIDTH = (DrawingKind.SPACER, DrawingKind.SHIM, DrawingKind.SLEEVE)
"""Kinds that a bare number after their word gives the width of: ``collar 25``."""

TOLERANCE_NM = 50_000
"""Sizes within 0.05 mm of the one asked for count as that size."""

_BY_LENGTH = sorted(
    ((word, name) for name, words in DIMENSION_WORDS.items() for word in words),
    key=lambda pair: -len(pair[0]),
)
_KIND_BY_LENGTH = sorted(
    ((word, kind) for kind, words in KIND_WORDS.items() for word in words),
    key=lambda pair: -len(pair[0]),
)
_CROSS = re.compile(r"^(.+?)\s*[x×]\s*(.+)$", re.I)


@dataclass(frozen=True)
class Understood:
    """The parts of a search. ``rest`` is what is left to be a code, mark, number or name."""

    rest: str = ""
    kind: str = ""
    sizes: dict[str, tuple[int, int]] = field(default_factory=dict)
    code_prefix: str = ""
    other_names: tuple[str, ...] = ()


def understand(text: str, *, unit: Unit = "mm") -> Understood:
    """Take a search apart: ``collar 70 x 25``, ``pitch diameter 142.3``, ``1472-07``, ``raft 3``.

    Never raises: what is no size stays words.
    """
    rest = " ".join(text.split())[:80]
    kind, rest = _take_kind(rest)
    sizes, rest = _take_sizes(rest, unit, kind in KNOWN_BY_WIDTH)
    return Understood(rest, kind, sizes, _code_prefix(rest), _other_names(rest))


def _take_kind(text: str) -> tuple[str, str]:
    """A kind's word at the beginning, when something follows it or it stands alone."""
    low = text.lower()
    for word, kind in _KIND_BY_LENGTH:
        if low == word or low.startswith(word + " "):
            return str(kind), text[len(word) :].strip()
    return "", text


def _take_sizes(text: str, unit: Unit, by_width: bool) -> tuple[dict[str, tuple[int, int]], str]:
    low = text.lower()
    for word, name in _BY_LENGTH:
        if low.startswith(word + " "):
            window = _window(text[len(word) :].strip(), unit)
            return ({name: window}, "") if window else ({}, text)
    crossed = _CROSS.match(text)
    if crossed:
        bore, width = (_window(part.strip(), unit) for part in crossed.groups())
        if bore and width:
            return {"bore": bore, "face_width": width}, ""
    window = _window(text, unit) if by_width and text else None
    return ({"face_width": window}, "") if window else ({}, text)


def _window(text: str, unit: Unit) -> tuple[int, int] | None:
    try:
        nm = parse_length(text, unit=unit).nm
    except ToolingError:
        return None
    return nm - TOLERANCE_NM, nm + TOLERANCE_NM


def _code_prefix(text: str) -> str:
    """The beginning of a label code, folded, when the text can be one."""
    folded = codes.fold(text)
    is_code = 2 <= len(folded) <= codes.CODE_LENGTH and folded[0] in codes.KINDS
    return folded if is_code and set(folded[1:]) <= set(codes.ALPHABET) else ""


def _other_names(text: str) -> tuple[str, ...]:
    """The same words with the trade's exchanged for ours, where that changes anything."""
    words = text.split()
    ours = " ".join(SAME_PLACE_WORDS.get(word.lower(), word) for word in words)
    return (ours,) if ours != text and ours else ()

"""The kinds of label stock as a person chooses them: grouped, the size first, the name last."""

from __future__ import annotations

from functools import cache
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.paper.label_sizes import A4, LETTER, MM_PER_IN, SIZES, LabelSize

PLAINEST = "a4-24"
"""What is offered to somebody who never printed."""

GROUPS: tuple[tuple[str, Any], ...] = (
    ("a4", gettext_lazy("A4 sheets")),
    ("letter", gettext_lazy("Letter sheets")),
    ("mm", gettext_lazy("Single labels")),
    ("in", gettext_lazy("Single labels in inches")),
)


def stock_groups() -> list[tuple[Any, list[tuple[str, str]]]]:
    """Group word → names of sizes with what is said of them, small ones first."""
    return [(word, [(size.name, _said(size)) for size in _of(key)]) for key, word in GROUPS]


@cache
def _of(key: str) -> tuple[LabelSize, ...]:
    found = [size for size in SIZES.values() if _group(size) == key]
    return tuple(sorted(found, key=lambda size: size.width_mm * size.height_mm))


def _group(size: LabelSize) -> str:
    sheets = {A4: "a4", LETTER: "letter"}
    if size.per_page > 1 and size.page_mm in sheets:
        return sheets[size.page_mm]
    return "in" if size.name.endswith("in") else "mm"


def _said(size: LabelSize) -> str:
    across, down, unit = size.width_mm, size.height_mm, "mm"
    if _group(size) in ("letter", "in"):
        across, down, unit = across / MM_PER_IN, down / MM_PER_IN, "in"
    said = f"{across:.4g} × {down:.4g} {unit}"
    if size.per_page > 1:
        said += ", " + _("{count} on a sheet").format(count=size.per_page)
    return f"{said} · {size.name}"

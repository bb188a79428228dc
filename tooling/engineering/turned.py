"""A stack turned for a mill of the other hand: mirrored between the shoulder and the far end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

Fill = Literal["", "inboard", "middle", "outboard"]
Faces = Literal["", "inboard", "outboard"]
_OTHER: dict[str, Faces] = {"inboard": "outboard", "outboard": "inboard", "": ""}


@dataclass(frozen=True)
class Stood:
    """One thing of a stack: its ``key``, where it stands as drawn (``order``, counted from the
    shoulder), the ``fill`` it belongs to (empty: the set calls for it), and which way its mark
    ``faces``. Raises ValueError for a fill that is none."""

    key: int
    order: int
    fill: Fill = ""
    faces: Faces = ""

    def __post_init__(self) -> None:
        if self.fill not in get_args(Fill):
            raise ValueError(f"{self.fill} is no fill of a shaft")


def from_shoulder(stack: Sequence[Stood], *, is_turned: bool) -> tuple[Stood, ...]:
    """The stack as it goes on, the first at the shoulder.

    Turned, what the set calls for and what stands between it is mirrored and its marks face the
    other way; the fills against the shoulder and at the far end were chosen for this mill and
    stay where they are. ``order`` stays the number it has in the kit. Source: geometry.
    """
    rows = sorted(stack, key=lambda each: each.order)
    if not is_turned:
        return tuple(rows)
    at_shoulder = [each for each in rows if each.fill == "inboard"]
    at_end = [each for each in rows if each.fill == "outboard"]
    between = [each for each in rows if each.fill in ("", "middle")]
    turned = [
        Stood(each.key, each.order, each.fill, _OTHER[each.faces]) for each in reversed(between)
    ]
    return (*at_shoulder, *turned, *at_end)

"""The nine states of a piece for a kit: a shape and a word each, in the order of concern.

Shapes stand in a square of 24 units and are areas to be filled with the even-odd rule. Pages draw
the same shapes from the symbols of ``templates/parts/state_symbols.html``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

from django.utils.functional import Promise
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from tooling.pictures.shapes import Step, arc_points, box, circle, polygon

STATE_WORDS: Mapping[str, str | Promise] = MappingProxyType(
    {
        "missing": _("missing"),
        "does_not_fit": _("does not fit"),
        "worn": _("worn"),
        "held": _("held"),
        "taken": _("taken"),
        "out": _("out"),
        "may_not_last": _("may not last"),
        "to_fetch": _("to fetch"),
        "here": _("here"),
    }
)
"""Each state's word, the gravest first, in the order of ``queries.kit_views.GRAVEST_FIRST``."""

TROUBLE = frozenset(STATE_WORDS) - {"here", "to_fetch"}
"""The states that stop a kit or need a person's thought."""

_GRAVITY = {state: rank for rank, state in enumerate(STATE_WORDS)}
_SIDE = 24.0


def gravest(states: Iterable[str]) -> str:
    """The state that a station or shaft shows: the gravest of its pieces; without pieces empty."""
    return min(states, key=_GRAVITY.__getitem__, default="")


def grave_first(state: str) -> int:
    """Sorts states the gravest first."""
    return _GRAVITY[state]


def summarise(states: Sequence[str]) -> str:
    """States in words, the gravest first: ``1 missing, 4 here``; without pieces *idle*."""
    counts = Counter(states)
    parts = [f"{counts[state]} {word}" for state, word in STATE_WORDS.items() if counts[state]]
    return ", ".join(parts) or _now("idle")


def _notched(radius: float, from_deg: float, bite: tuple[float, float]) -> tuple[Step, ...]:
    """A disc with a bite at the upper right, as wear takes it; alike on both sides of 45°."""
    return polygon(*arc_points(12, 12, radius, from_deg, 270 - from_deg, 40), bite)


_CROSS = polygon(
    (12, 9), (19, 2), (22, 5), (15, 12), (22, 19), (19, 22),
    (12, 15), (5, 22), (2, 19), (9, 12), (2, 5), (5, 2),
)  # fmt: skip
_ARROW = polygon(
    (2.5, 10.3), (13.9, 10.3), (9.4, 5.8), (11.7, 3.5), (20.2, 12),
    (11.7, 20.5), (9.4, 18.2), (13.9, 13.7), (2.5, 13.7),
)  # fmt: skip

MARKS: Mapping[str, tuple[tuple[Step, ...], ...]] = MappingProxyType(
    {
        "here": (circle(12, 12, 9.5),),
        "to_fetch": (circle(12, 12, 9.5) + circle(12, 12, 6.5),),
        "missing": (_CROSS,),
        "worn": (_notched(9.5, -21, (13.8, 10.2)),),
        "may_not_last": (_notched(9.5, -21, (13.8, 10.2)) + _notched(7, -3.4, (10.5, 13.5)),),
        "held": (circle(12, 12, 9.5) + box(5.5, 10, 13, 4),),
        "out": (_ARROW,),
        "taken": (
            circle(8.3, 12, 6.8) + circle(8.3, 12, 4.2),
            circle(15.7, 12, 6.8) + circle(15.7, 12, 4.2),
        ),
        "does_not_fit": (box(3, 3, 18, 18) + box(6, 6, 12, 12),),
    }
)
"""Areas of each mark, each to be filled on its own."""


def placed(state: str, x: float, y: float, size: float) -> tuple[tuple[Step, ...], ...]:
    """A state's areas in a square of this side whose middle is x, y."""
    scale = size / _SIDE
    left, top = x - size / 2, y - size / 2
    return tuple(
        tuple((letter, _moved(numbers, left, top, scale)) for letter, numbers in area)
        for area in MARKS[state]
    )


def _moved(numbers: tuple[float, ...], left: float, top: float, scale: float) -> tuple[float, ...]:
    offsets = (left, top)
    return tuple(offsets[index % 2] + number * scale for index, number in enumerate(numbers))

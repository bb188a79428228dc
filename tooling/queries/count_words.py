"""How counts are said: what a count is of, and the four figures."""

from __future__ import annotations

from dataclasses import dataclass

from tooling.models import Count


@dataclass(frozen=True, slots=True)
class Figures:
    """Marked pieces count one each, bins by how many are in them.

    ``expected`` is what should be there as the movements say now: ``found`` and ``missing`` add up
    to it. ``extra`` is what was found beyond.
    """

    expected: int = 0
    found: int = 0
    missing: int = 0
    extra: int = 0

    def __add__(self, other: Figures) -> Figures:
        return Figures(
            self.expected + other.expected,
            self.found + other.found,
            self.missing + other.missing,
            self.extra + other.extra,
        )

    @property
    def accuracy(self) -> float | None:
        """Share of the expected that was found, 0 to 1; None where nothing was expected."""
        return self.found / self.expected if self.expected else None


def subject_of(count: Count) -> str:
    """What is counted, as people call it. Needs place, copy with set, and owner loaded."""
    if count.place is not None:
        return count.place.path_name or count.place.name
    if count.set_copy is not None:
        return f"{count.set_copy.tool_set.number}-{count.set_copy.letter}"
    return count.owner.name if count.owner else ""


def kind_of(count: Count) -> str:
    """``place``, ``copy`` or ``owner``."""
    return "place" if count.place_id else "copy" if count.set_copy_id else "owner"

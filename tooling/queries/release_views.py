"""What the release of an order is judged by. Frozen; made by ``regrind_release``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from tooling.engineering.how import Step


@dataclass(frozen=True)
class Check:
    """One check: ``no`` keeps the order from being released, unless an engineer may sign a reason
    (``may_sign``). ``piece``, ``mark``: of the piece that it is about, where it is one."""

    code: str
    level: str
    said: str
    may_sign: bool = False
    piece: str = ""
    mark: str = ""
    pass_number: int | None = None
    how: tuple[Step, ...] = ()


GRAVEST = (
    *("still_out", "owner_approval_missing", "below_least_diameter", "below_least_width"),
    *("unread_after_cut", "unread_over_chrome", "diameter_off", "size_off", "mark_missing"),
)
"""In the order in which refusals are told; what is impossible on a mill comes after, then what an
engineer may sign for."""


def _gravity(check: Check) -> tuple[bool, int]:
    rank = GRAVEST.index(check.code) if check.code in GRAVEST else len(GRAVEST)
    return check.may_sign, rank


@dataclass(frozen=True)
class Grouped:
    """The same thing said of several pieces, in one sentence."""

    code: str
    said: str


MOST_NAMED = 8
TOGETHER = {
    "still_out": _("These did not come back yet: {pieces}."),
    "unread_after_cut": _("These were not measured since the work: {pieces}."),
    "unread_over_chrome": _("These were plated and are to be measured over the chrome: {pieces}."),
    "mark_missing": _("Of these nobody has said that the mark is back: {pieces}."),
}


def grouped(checks: Sequence[Check]) -> tuple[Grouped, ...]:
    """Checks with what many pieces share said once."""
    found: list[Grouped] = []
    for code in dict.fromkeys(each.code for each in checks):
        same = [each for each in checks if each.code == code]
        if code in TOGETHER and len(same) > 1:
            found.append(Grouped(code, str(TOGETHER[code]).format(pieces=_names(same))))
        else:
            found += [Grouped(code, each.said) for each in same]
    return tuple(found)


def _names(checks: Sequence[Check]) -> str:
    """The pieces of these checks by their marks, with the code where two have one mark; of many
    the first few, and how many more."""
    marks, more = Counter(each.mark for each in checks), len(checks) - MOST_NAMED
    said = ", ".join(
        each.piece if not each.mark
        else each.mark if marks[each.mark] == 1
        else f"{each.mark} ({each.piece})"
        for each in checks[:MOST_NAMED]
    )  # fmt: skip
    if more <= 0:
        return said
    return gettext("{pieces} and {n} more").format(pieces=said, n=more)


@dataclass(frozen=True)
class DriveRow:
    """The drive diameters of one pass as they were before the work and as they are, or are to be,
    after it. ``top_is_ordered``: its roll is on the order."""

    pass_number: int
    station: int | None
    ratio: str
    top_before_nm: int | None
    top_nm: int | None
    bottom_before_nm: int | None
    bottom_nm: int | None
    top_is_ordered: bool
    bottom_is_ordered: bool


@dataclass(frozen=True)
class FillChange:
    """A faced piece changes the fills of its shaft; ``kits`` have spacers there now. nm, signed:
    what is to be added."""

    piece: str
    mark: str
    set_number: str
    pass_number: int
    shaft: str
    inboard_nm: int
    outboard_nm: int
    is_exact: bool
    kits: tuple[str, ...]
    unit: str


@dataclass(frozen=True)
class SetJudged:
    """One copy of a set, or one open kit, on one mill. Without a mill only its speeds are
    judged, at a ratio of 1."""

    set_number: str
    set_name: str
    who: str
    kit: str
    mill_number: str
    mill_name: str
    unit: str
    checks: tuple[Check, ...]
    rows: tuple[DriveRow, ...]

    @property
    def bad(self) -> tuple[Check, ...]:
        return tuple(each for each in self.checks if each.level == "no")

    @property
    def warned(self) -> tuple[Check, ...]:
        return tuple(each for each in self.checks if each.level == "warn")

    @property
    def level(self) -> str:
        return "no" if self.bad else "warn" if self.warned else "ok"


@dataclass(frozen=True)
class Judged:
    """Everything. ``pieces``: by piece id; ``charts``: what turns unproved, as a person says it."""

    pieces: Mapping[int, tuple[Check, ...]] = field(default_factory=dict)
    sets: tuple[SetJudged, ...] = ()
    fills: tuple[FillChange, ...] = ()
    charts: tuple[str, ...] = ()

    @property
    def refusals(self) -> tuple[Check, ...]:
        """What keeps it from being released, pieces first, each code and piece once."""
        of_pieces = [each for checks in self.pieces.values() for each in checks]
        of_sets = [each for one in self.sets for each in one.checks]
        found = {
            (each.code, each.piece, each.said): each
            for each in (*of_pieces, *of_sets)
            if each.level == "no"
        }
        return tuple(sorted(found.values(), key=_gravity))

    @property
    def to_sign(self) -> tuple[Check, ...]:
        """What is left when all that cannot be signed for is mended."""
        return tuple(each for each in self.refusals if each.may_sign)

    @property
    def mend_told(self) -> tuple[Grouped, ...]:
        """What no reason helps, said once for all pieces that share it."""
        return grouped(self.to_mend)

    @property
    def to_mend(self) -> tuple[Check, ...]:
        """What no reason helps."""
        return tuple(each for each in self.refusals if not each.may_sign)

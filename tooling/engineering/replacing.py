"""Recut a piece or replace it, by what each costs for a kilometre of strip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tooling.engineering.how import Step


@dataclass(frozen=True)
class Costs:
    """What decides between recutting and replacing a piece or a set; None: not known.

    ``length_m``: strip between two recuts. ``recut_cents``: one recut with all that goes with it.
    ``left``: recuts left before it; ``new_left``: recuts in a new one.
    """

    length_m: float | None = None
    recut_cents: int | None = None
    new_cents: int | None = None
    left: int | None = None
    new_left: int | None = None

    def __post_init__(self) -> None:
        numbers = (self.length_m, self.recut_cents, self.new_cents, self.left, self.new_left)
        if any(each is not None and each < 0 for each in numbers):
            raise ValueError("nothing here is negative")
        if self.length_m == 0:
            raise ValueError("a length between recuts is more than nothing")


@dataclass(frozen=True)
class Choice:
    """Recut or replace, by cost per kilometre of strip; empty where something is not known.

    ``open``: the inputs that are missing. ``rule``: replace where fewer than one recut is left or a
    recut costs more than the set share of a new one; a sentence of its own beside the arithmetic.
    """

    says: Literal["recut", "replace", ""]
    recut_per_km: float | None
    replace_per_km: float | None
    open: tuple[str, ...]
    rule: Literal["recut", "replace", ""]
    steps: tuple[Step, ...]


def recut_or_replace(costs: Costs, *, replace_above: float = 0.6) -> Choice:
    """Recut: its cost over the length that it buys. Replace: the new one and all its recuts over
    all its lengths, (new + n · recut) / ((n + 1) · length). Source: arithmetic.

    ``replace_above``: the setting, share of a new one's price. Equal costs say recut.
    """
    names = ("length_m", "recut_cents", "new_cents", "left", "new_left")
    missing = tuple(name for name in names if getattr(costs, name) is None)
    recut = replace_ = None
    steps: list[Step] = []
    if costs.length_m is not None and costs.recut_cents is not None:
        recut = costs.recut_cents / 100 / (costs.length_m / 1000)
        steps.append(Step(
            "recut, per km", "recut / length", "arithmetic",
            {"recut_cents": costs.recut_cents, "length_m": costs.length_m}, recut,
        ))  # fmt: skip
        if costs.new_cents is not None and costs.new_left is not None:
            whole = costs.new_cents + costs.new_left * costs.recut_cents
            replace_ = whole / 100 / ((costs.new_left + 1) * costs.length_m / 1000)
            steps.append(Step(
                "replace, per km", "(new + n · recut) / ((n + 1) · length)", "arithmetic",
                {"new_cents": costs.new_cents, "new_left": costs.new_left,
                 "recut_cents": costs.recut_cents, "length_m": costs.length_m}, replace_,
            ))  # fmt: skip
    says: Literal["recut", "replace", ""] = ""
    if costs.left == 0:
        says = "replace"
    elif recut is not None and replace_ is not None and costs.left is not None:
        says = "recut" if recut <= replace_ else "replace"
    return Choice(says, recut, replace_, missing, _rule(costs, replace_above), tuple(steps))


def _rule(costs: Costs, replace_above: float) -> Literal["recut", "replace", ""]:
    if costs.left is not None and costs.left < 1:
        return "replace"
    if costs.recut_cents is None or not costs.new_cents:
        return ""
    return "replace" if costs.recut_cents > replace_above * costs.new_cents else "recut"

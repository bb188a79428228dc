"""Sets of rolls to plan regrinds for: small ones at random, and whole mills."""

from __future__ import annotations

import random
from fractions import Fraction

from tooling.engineering.regrinds import (
    Diameter,
    GapPoint,
    Limits,
    Line,
    LinePass,
    Piece,
    Pin,
    PinKind,
    Prices,
    Problem,
    ShaftRun,
    WearPoint,
)

STEP = 20_000
BASE = 150_000_000
LIMITS = Limits(step_nm=STEP, allowance_nm=10_000)


def small(seed: int, *, priced: bool = False) -> Problem:
    """A few passes with everything that may happen, so small that every answer can be tried."""
    dice = random.Random(seed)
    count = dice.choice([2, 2, 3])
    ratio = dice.choice([Fraction(1), Fraction(1), Fraction(3, 2)])
    pieces: list[Piece] = []
    passes: list[LinePass] = []
    for number in range(1, count + 1):
        names: dict[str, str] = {}
        for shaft, size in (("T", BASE * ratio), ("B", Fraction(BASE))):
            if shaft == "T" and count == 3 and dice.random() < 0.4:
                continue
            name = f"{shaft}{number}"
            names[shaft] = name
            pieces.append(_piece(dice, name, int(size) + number * dice.choice([0, 1, 2]) * STEP))
        passes.append(_pass(dice, number, names, ratio, {p.name: p for p in pieces}))
    lines = [Line("1472", "M1", tuple(passes))]
    if dice.random() < 0.2 and count > 2:
        lines.append(Line("1472", "M2", tuple(reversed(passes)), is_other=dice.random() < 0.5))
    known = [p.name for p in pieces]
    contours = [tuple(dice.sample(known, 2))] if dice.random() < 0.3 else []
    return Problem(
        tuple(pieces), tuple(lines), tuple(contours), tuple(_pins(dice, pieces)),
        Limits(step_nm=STEP, allowance_nm=10_000, slack_now=dice.choice(["mend", "kept"]),
               ratio_tolerance=dice.choice([Fraction(1, 1000), Fraction(1, 5000)])),
        _prices(dice) if priced else None,
    )  # fmt: skip


def _piece(dice: random.Random, name: str, drawn: int) -> Piece:
    now = drawn - dice.choice([0, 0, 1, 2, 3]) * STEP - dice.choice([0, 0, 7_000])
    room = dice.choice([1, 2, 3, 4]) * STEP
    points = []
    if dice.random() < 0.4:
        points.append(WearPoint("root", dice.choice([5_000, 12_000, 25_000]), 0.0, 10_000))
    if dice.random() < 0.15:
        points.append(
            WearPoint("flank", 15_000, 80.0, dice.choice([10_000, 40_000]), side="inboard")
        )
    return Piece(
        name,
        (Diameter("drive", now, drawn, now - room, dice.choice([0, 0, 4_000])),),
        tuple(points),
        width_nm=dice.choice([None, 40_000_000]),
        faced_to_nm=dice.choice([None, 39_990_000]),
        may_replace=dice.random() < 0.6,
        in_plan=dice.random() < 0.95,
        new_cents=dice.choice([20_000, 60_000]),
        life_cents_per_mm=Fraction(dice.choice([0, 5_000])),
    )


def _pass(
    dice: random.Random, number: int, names: dict[str, str], ratio: Fraction,
    pieces: dict[str, Piece],
) -> LinePass:  # fmt: skip
    runs = {
        shaft: ShaftRun((name,), dice.random() < 0.9,
                        dice.choice([Fraction(1), Fraction(1), Fraction(101, 100)]))
        for shaft, name in names.items()
    }  # fmt: skip
    gap, least = None, None
    if len(names) == 2 and dice.random() < 0.5:
        sizes = [pieces[names[s]].diameters[0].now_nm for s in ("T", "B")]
        gap = GapPoint(names["T"], sizes[0], names["B"], sizes[1], 1_000_000)
        least = sum(sizes) // 2 + 1_000_000 - dice.choice([0, 1, 2, 5]) * STEP
    return LinePass(number, number, ratio, runs.get("T"), runs.get("B"), gap, least)


def _pins(dice: random.Random, pieces: list[Piece]) -> list[Pin]:
    pins = []
    for piece in pieces:
        if dice.random() < 0.12:
            kinds: list[PinKind] = ["leave", "cut", "cut_to", "face", "replace"]
            kind = dice.choice(kinds)
            to = piece.diameters[0].now_nm - dice.choice([1, 2]) * STEP
            pins.append(Pin(piece.name, kind, to if kind == "cut_to" else None))
    return pins


def _prices(dice: random.Random) -> Prices:
    return Prices(dice.choice([0, 1_500]), Fraction(dice.choice([0, 10_000])), 800, 50_000)


def mill(
    seed: int, passes: int = 30, a_shaft: int = 4, *, worn: float = 0.15, tight: float = 0.0,
    priced: bool = False, new: bool = True,
) -> Problem:  # fmt: skip
    """A whole set: on each shaft a drive roll and others, some of them of one contour. ``tight``:
    the share of pieces that are nearly at their least diameter."""
    dice = random.Random(seed)
    pieces: list[Piece] = []
    lines: list[LinePass] = []
    contours: list[tuple[str, ...]] = []
    for number in range(1, passes + 1):
        names: dict[str, tuple[str, ...]] = {}
        for shaft in "TB":
            run = tuple(f"{shaft}{number}.{order}" for order in range(1, a_shaft + 1))
            names[shaft] = run
            drawn = BASE + number * 250_000
            gone = dice.choice([0, 0, 100_000, 400_000])
            for order, name in enumerate(run):
                size = drawn - (0 if order == 0 else dice.choice([0, 2_000_000, 8_000_000]))
                room = dice.choice([60_000, 200_000]) if dice.random() < tight else 6_000_000
                now = size - gone
                depth = dice.choice([5_000, 20_000, 60_000, 140_000])
                limit = 40_000 if dice.random() < worn else 200_000
                pieces.append(Piece(
                    name,
                    (Diameter("drive", now, size, now - room, 3_000),
                     Diameter("root", now - 20_000_000, size - 20_000_000)),
                    (WearPoint("root", depth, dice.choice([0.0, 30.0, 60.0]), limit),),
                    new_cents=dice.choice([40_000, 90_000]), may_replace=new,
                    life_cents_per_mm=Fraction(4_000),
                ))  # fmt: skip
            if a_shaft > 1 and dice.random() < 0.4:
                contours.append(run[1:3])
        top, bottom = (names[s] for s in "TB")
        lines.append(LinePass(
            number, number, Fraction(1), ShaftRun(top), ShaftRun(bottom),
            GapPoint(top[0], BASE, bottom[0], BASE, 1_500_000), BASE - 6_000_000,
        ))  # fmt: skip
    prices = Prices(4_000, Fraction(6_000), 2_000, 60_000) if priced else None
    return Problem(tuple(pieces), (Line("1472", "M1", tuple(lines)),), tuple(contours), (),
                   Limits(), prices)  # fmt: skip

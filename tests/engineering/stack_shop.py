"""Whole mills with a stock of spacers, made by chance, of any size: for tests and for the bench."""

from __future__ import annotations

import random

from tooling.engineering.stacks import Fill, Problem, Roll, Rules, Shaft, Source, Station

MM = 1_000_000
STEP_NM = 5_000
GUIDE_PLANE_NM = 250 * MM
PLACES = tuple(f"rack {number}" for number in range(1, 13))


def shop(
    *, stations: int, lengths: int, spacers: int, load: float, own: bool = False, seed: int = 1,
    shims: int = 20,
) -> Problem:  # fmt: skip
    """``stations`` with two shafts of two or three fills each.

    ``spacers`` of so many ``lengths`` from 1 to 25 mm on a step of 5 µm; the shafts together want
    ``load`` times their total length. ``own``: every spacer is a marked piece with a measured
    width within 10 µm, on 1 µm.
    """
    dice = random.Random(seed)
    nominal = sorted(STEP_NM * each for each in dice.sample(range(200, 5_000), lengths))
    sources: list[Source] = []
    for at, length in enumerate(nominal):
        count = spacers // lengths + (at < spacers % lengths)
        if own:
            sources += [
                Source(f"S{at}-{copy}", length + 1_000 * dice.randint(-10, 10),
                       place=PLACES[(at + copy) % len(PLACES)], measured=True)
                for copy in range(count)
            ]  # fmt: skip
            continue
        for turn, share in enumerate((count // 2, count - count // 2)):
            place = PLACES[(at * (1 + 4 * turn) + 3 * turn) % len(PLACES)]
            sources.append(Source(f"S{at}/{turn}", length, share, place=place, tolerance_nm=20_000))
    total = sum(source.length_nm * source.count for source in sources)
    sources += [
        Source(f"shim {thick}", thick * 1_000, shims, "shim", PLACES[0], measured=True)
        for thick in (50, 100, 200, 300, 500)
    ]
    each = load * total / (2 * stations)
    told = tuple(
        Station(number, tuple(_shaft(dice, number, which, each) for which in ("top", "bottom")))
        for number in range(1, stations + 1)
    )
    rules = Rules(GUIDE_PLANE_NM, "housing", (-500_000, -100_000))
    return Problem(rules, told, tuple(sources), PLACES)


def _shaft(dice: random.Random, number: int, which: str, each: float) -> Shaft:
    """A shaft that wants about so much length of spacers."""
    wants = each * dice.uniform(0.85, 1.15)
    inboard_nm = round(wants * dice.uniform(0.3, 0.5))
    middle_nm = dice.randint(4_000, min(30_000, round(wants / 5_000))) * 1_000
    key = f"{number} {which}"
    inboard, outboard = Fill(f"{key} inboard", "inboard"), Fill(f"{key} outboard", "outboard")
    middle = Fill(f"{key} middle", "middle", middle_nm)
    style = dice.randint(0, 2)
    offset_nm = GUIDE_PLANE_NM - inboard_nm
    parts: tuple[Fill | Roll, ...]
    if style == 0:
        offset_nm = dice.randint(30_000, 60_000) * 1_000
        front = Roll("front", max(MM, GUIDE_PLANE_NM - offset_nm - inboard_nm - middle_nm))
        parts = (inboard, front, middle, Roll("guide", 90 * MM, offset_nm), outboard)
    elif style == 1:
        parts = (inboard, Roll("guide", 90 * MM, offset_nm), middle, Roll("back", 30 * MM),
                 outboard)  # fmt: skip
    else:
        parts = (inboard, Roll("guide", 90 * MM, offset_nm), outboard)
    rolls_nm = sum(part.width_nm for part in parts if isinstance(part, Roll))
    name = "top" if which == "top" else "bottom"
    return Shaft(name, rolls_nm + round(wants), parts)  # type: ignore[arg-type]

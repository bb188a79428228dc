"""Small made-up kits for pictures, and what their pictures say when read back."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from tooling.engineering.codes import make_code
from tooling.pictures.ribbon_kit import (
    Hand,
    RibbonKit,
    RibbonPiece,
    RibbonShaft,
    RibbonStation,
    ShaftName,
)
from tooling.pictures.state_marks import STATE_WORDS

MM = 1_000_000
STATES = tuple(STATE_WORDS)

_NUMBER = r"(-?[\d.]+)"
_BODY = re.compile(
    rf'<rect x="{_NUMBER}" y="{_NUMBER}" width="{_NUMBER}" height="{_NUMBER}" class="body"/>'
)
_HOLLOW = re.compile(
    rf'<path d="M{_NUMBER} {_NUMBER}L{_NUMBER} {_NUMBER}L{_NUMBER} {_NUMBER}[^"]*"'
    ' fill-rule="evenodd" class="hollow"/>'
)
_GROUP = re.compile(r'<g class="(?:shaft-)?piece[^"]*"([^>]*)>(.*?)</g>', re.DOTALL)


@dataclass(frozen=True)
class Drawn:
    """One piece as its group in the SVG tells it."""

    data: dict[str, str]
    x: float
    y: float
    width: float
    height: float
    inside: str


def drawn_pieces(svg: str) -> list[Drawn]:
    """Every piece group of an SVG with its data and its rectangle in pixels."""
    found = []
    for attributes, inside in _GROUP.findall(svg):
        data = dict(re.findall(r'data-([a-z-]+)="([^"]*)"', attributes))
        if body := _BODY.search(inside):
            x, y, width, height = map(float, body.groups())
        else:
            outline = _HOLLOW.search(inside)
            assert outline is not None, inside
            x, y, right, _y, _right, bottom = map(float, outline.groups())
            width, height = right - x, bottom - y
        found.append(Drawn(data, x, y, width, height, inside))
    return found


def piece(order: int, width_mm: float, diameter_mm: float, state: str = "here") -> RibbonPiece:
    return RibbonPiece(
        make_code("R", order * 7) or "", state, order,
        round(width_mm * MM), round(diameter_mm * MM), f"T{order}",
    )  # fmt: skip


def shaft(
    name: ShaftName, sizes: Sequence[tuple[float, float]], state: str = "here"
) -> RibbonShaft:
    pieces = tuple(piece(order, *size, state) for order, size in enumerate(sizes, start=1))
    return RibbonShaft(name, pieces, f"?shaft={name}")


def large_kit(entry: Hand = "left", drive_side: Hand = "left", seed: int = 1) -> RibbonKit:
    """24 stations, two of them idle, with 250 and more positions in all nine states."""
    random = Random(seed)
    stations = []
    for number in range(1, 25):
        if number in (9, 10):
            stations.append(RibbonStation(number))
            continue
        shafts = [_random_shaft(random, "top", 6), _random_shaft(random, "bottom", 6)]
        if number in (6, 14):
            shafts.append(_random_shaft(random, "side", 2))
        stations.append(RibbonStation(number, tuple(shafts), f"pass {number}"))
    return RibbonKit(tuple(stations), entry, drive_side)


def _random_shaft(random: Random, name: ShaftName, count: int) -> RibbonShaft:
    pieces = tuple(
        piece(order, random.uniform(3, 90), random.uniform(80, 240), random.choice(STATES))
        for order in range(1, count + 1)
    )
    return RibbonShaft(name, pieces, f"?shaft={name}")

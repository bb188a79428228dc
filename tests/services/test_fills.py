"""Filling the shafts of a kit: spacers become positions, are taken at once, and follow the kit."""

from __future__ import annotations

import pytest

from tests.filling import Filling
from tests.world import World
from tooling.models import KitPosition, Person


def assert_inside_windows(shop: Filling, kit: object = None) -> int:
    """Every filled shaft recomputed from the rows alone; how many there are."""
    stacks = shop.stacks(kit)  # type: ignore[arg-type]
    window, filled = 50_000 if shop.unit == "mm" else 50_800, 0
    errors: dict[int, list[int]] = {}
    for (station, _shaft), stack in stacks.items():
        fills = [fill for fill, _nm in stack]
        if not any(fills):
            continue
        at = fills.index("")
        error = sum(nm for _fill, nm in stack[:at]) + 30 * shop.one - 150 * shop.one
        assert -window <= error <= window
        assert -shop.one // 2 <= sum(nm for _fill, nm in stack) - 300 * shop.one <= 0
        errors.setdefault(station, []).append(error)
        filled += 1
    assert all(abs(e[0] - e[-1]) <= window // 2 for e in errors.values())
    return filled


@pytest.mark.parametrize(("stations", "unit"), [(1, "mm"), (2, "in"), (24, "mm")])
def test_every_shaft_is_filled_within_its_windows(
    world: World, crew: Person, stations: int, unit: str
) -> None:
    shop = Filling(world, crew, stations=stations, unit=unit, lengths={20: 100, 100: 100})
    shop.fill()
    assert assert_inside_windows(shop) == 2 * stations
    assert KitPosition.objects.filter(kit=shop.kit).exclude(fill="").count() == 8 * stations

"""What may stand where, hand stacks by the same rules, the table of prices, and "how?"."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import combinations_with_replacement, product
from math import sqrt
from typing import Any

import numpy as np
import pytest

from tests.engineering.computing import STACKS, refused
from tests.engineering.stack_shop import shop
from tests.engineering.stack_world import by_chance
from tooling.engineering.compute import compute
from tooling.engineering.stacks import (
    Body,
    Fill,
    Problem,
    Roll,
    Rules,
    Seat,
    Shaft,
    Source,
    Station,
    check_stacks,
    suits,
    why_not,
)
from tooling.engineering.stacks.engine import solve_stacks
from tooling.engineering.stacks.tables import FAR, Table
from tooling.engineering.stacks.told import spread_nm

MM = 1_000_000
SEAT = Seat(60 * MM, 18 * MM, 7 * MM, hub_seat_nm=75 * MM, clearance_nm=110 * MM)
BODY = Body(60_010_000, 90 * MM, 18_010_000, 7_400_000)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({}, None),
        ({"fit": False}, "not_fit"),
        ({"bound": True}, "bound"),
        ({"bore_nm": 59_999_999}, "bore"),
        ({"bore_nm": None}, "bore"),
        ({"bore_nm": 61 * MM}, "bore"),
        ({"keyway_width_nm": 17_999_999}, "key"),
        ({"keyway_depth_nm": 6_990_000}, "key"),
        ({"keyway_width_nm": 0}, "key"),
        # 60 + 2 × 7 = 74: a plain bore of 74.1 is clear of the key, one of 73.9 is not.
        ({"keyway_width_nm": 0, "bore_nm": 74_100_000}, None),
        ({"keyway_width_nm": 0, "bore_nm": 73_900_000}, "bore"),
        ({"outside_nm": 74 * MM}, "hub_seat"),
        ({"outside_nm": 111 * MM}, "clearance"),
        ({"outside_nm": 75 * MM}, None),
        ({"outside_nm": None}, "hub_seat"),
    ],
)
def test_a_spacer_suits_by_bore_key_outside_diameter_and_use(
    change: dict[str, Any], why: str | None
) -> None:
    body = replace(BODY, **change)
    assert why_not(body, SEAT) == why
    assert suits(body, SEAT) is (why is None)


def test_without_a_key_on_the_shaft_a_keyway_does_not_matter() -> None:
    plain = Seat(60 * MM)
    assert suits(BODY, plain)
    assert suits(replace(BODY, keyway_width_nm=0), plain)
    assert suits(None, SEAT)
    assert not suits(replace(BODY, fit=False), None)


def test_what_does_not_suit_is_not_chosen() -> None:
    fill = Fill("fill", "middle", 10 * MM, 0, 0, seat=SEAT)
    shaft = Shaft("top", 20 * MM, (Roll("g", 10 * MM, 0), fill))
    small = Source("small", 10 * MM, body=replace(BODY, outside_nm=70 * MM))
    halves = Source("half", 5 * MM, 2, body=BODY)
    problem = Problem(Rules(0, "nut", (0, 0)), (Station(1, (shaft,)),), (small, halves))
    assert solve_stacks(problem).shafts[0].fills[0].pieces == ("half", "half")


# -- hand stacks -----------------------------------------------------------------------------------


def hand(stack: tuple[tuple[str, ...], ...], **changes: Any) -> dict[str, str]:
    """Codes of what is wrong, by check. Inboard 50, rolls 80, middle 20, outboard 50: as wanted."""
    parts = (
        Fill("in", "inboard"), Roll("g", 80 * MM, 60 * MM), Fill("mid", "middle", 20 * MM),
        Fill("out", "outboard", only=frozenset({"50", "20", "half"})),
    )  # fmt: skip
    sources = (
        Source("50", 50 * MM, 2), Source("20", 20 * MM, 3), Source("half", 10 * MM, 2),
        Source("shim", 100_000, 5, "shim"), Source("damaged", 50 * MM, body=Body(fit=False)),
    )  # fmt: skip
    problem = Problem(
        Rules(110 * MM, "nut", (0, 500_000), most_shims=2),
        (Station(1, (Shaft("top", 200 * MM, parts),)),), sources, **changes,
    )  # fmt: skip
    findings = check_stacks(problem, {(1, "top"): stack})
    return {each.check: each.code for each in findings if each.level == "no"}


def test_a_right_hand_stack_has_nothing_against_it() -> None:
    assert hand((("50",), ("20",), ("50",))) == {}


@pytest.mark.parametrize(
    ("stack", "wrong"),
    [
        ((("50",), ("20",), ("20", "20")), {"closing": "stack_short"}),
        ((("50",), ("20",), ("50", "half")), {"closing": "stack_long"}),
        ((("20", "20"), ("20",), ("50", "half")), {"guide": "guide_inboard"}),
        ((("50",), ("half",), ("50", "half")), {"fill": "fill_short"}),
        ((("50",), ("half", "shim", "half"), ("50",)), {"fill": "fill_long"}),
        ((("50",), ("20",), ("50", "shim")),
         {"eligible": "not_for_this_fill", "shims": "shim_at_the_end"}),
        ((("20", "shim", "shim", "shim", "20", "half"), ("20",), ("50",)),
         {"shims": "too_many_shims", "guide": "guide_outboard"}),
        ((("damaged",), ("20",), ("50",)), {"eligible": "not_fit"}),
        ((("20", "20", "half"), ("20",), ("20", "20", "half")),
         {"supply": "spacer_used_too_often"}),
    ],
)  # fmt: skip
def test_each_mistake_of_a_hand_stack_is_named(stack: Any, wrong: dict[str, str]) -> None:
    found = hand(stack)
    assert {check: found.get(check) for check in wrong} == wrong


def test_a_forbidden_spacer_in_a_hand_stack_is_named() -> None:
    told = hand((("50",), ("20",), ("50",)), forbid=frozenset({"20"}))
    assert told == {"eligible": "forbidden"}


def test_top_and_bottom_that_differ_too_much_are_named() -> None:
    shafts = tuple(
        Shaft(which, 60 * MM, (Fill(which, "inboard"), Roll("g", 50 * MM, 0)))
        for which in ("top", "bottom")
    )  # fmt: skip
    sources = (Source("a", 10 * MM + 30_000), Source("b", 10 * MM))
    rules = Rules(10 * MM, "nut", (0, MM))
    problem = Problem(rules, (Station(1, shafts),), sources)
    stacks = {(1, "top"): (("a",),), (1, "bottom"): (("b",),)}
    wrong = [each for each in check_stacks(problem, stacks) if each.level == "no"]
    assert [(each.code, each.values["length_nm"]) for each in wrong] == [("shafts_differ", 30_000)]
    assert solve_stacks(problem).figures[0] == 1


@pytest.mark.parametrize("seed", range(30))
def test_what_is_solved_passes_the_check(seed: int) -> None:
    problem = by_chance(seed)
    found = solve_stacks(problem)
    stacks = {(s.station, s.shaft): tuple(f.pieces for f in s.fills) for s in found.shafts}
    assert all(each.level == "ok" for each in check_stacks(problem, stacks))


def test_hand_stacks_of_no_shaft_or_source_are_refused() -> None:
    problem = by_chance(1)
    for stacks in ({(99, "top"): ()}, {(1, "top"): ()}, {(1, "top"): (("no such",),) * 2}):
        with pytest.raises(ValueError, match=r"shaft|source"):
            check_stacks(problem, stacks)  # type: ignore[arg-type]


# -- spread ----------------------------------------------------------------------------------------


def test_spread_is_rectangular_at_two_sigma() -> None:
    """By hand: three of ±30 µm: u² = 3 · 30² / 3 = 900, 2u = 60 µm; worst 90 µm."""
    three = [Source(str(at), MM, tolerance_nm=30_000) for at in range(3)]
    assert spread_nm(three) == (60_000, 90_000)
    assert spread_nm([replace(source, measured=True) for source in three]) == (0, 0)


# -- the table of prices ---------------------------------------------------------------------------


def test_the_table_has_the_least_price_of_every_length() -> None:
    """Against every pile of some hundred small stocks."""
    dice = random.Random(1)
    for _case in range(150):
        count = dice.randint(1, 4)
        spacers = [(at, dice.randint(1, 8), dice.randint(0, 3)) for at in range(count)]
        shims = [(count + at, dice.randint(1, 2), 1) for at in range(dice.randint(0, 2))]
        most, most_shims = dice.randint(0, 20), dice.randint(0, 2)
        price = np.array([dice.randint(0, 6) for _kind in range(count + len(shims))])
        table = Table(spacers, shims, most, most_shims)
        table.price(price)
        best = _piles(spacers, shims, most, most_shims, price)
        cells = {kind: length for kind, length, _count in (*spacers, *shims)}
        for length in range(most + 1):
            assert int(table.least[length]) == best.get(length, FAR)
            if length in best:
                stack = table.stack(length)
                assert sum(cells[kind] for kind in stack) == length
                assert sum(int(price[kind]) for kind in stack) == best[length]
                assert all(stack.count(kind) <= there for kind, _length, there in spacers)


def _piles(spacers: Any, shims: Any, most: int, most_shims: int, price: Any) -> dict[int, int]:
    best: dict[int, int] = {}
    for counts in product(*(range(there + 1) for _kind, _length, there in spacers)):
        length = sum(n * s[1] for n, s in zip(counts, spacers, strict=True))
        cost = sum(n * int(price[s[0]]) for n, s in zip(counts, spacers, strict=True))
        for extra in range(most_shims + 1 if sum(counts) >= 2 else 1):
            for some in combinations_with_replacement(shims, extra):
                total = length + sum(shim[1] for shim in some)
                told = cost + sum(int(price[shim[0]]) for shim in some)
                if total <= most:
                    best[total] = min(best.get(total, told), told)
    return best


# -- how and the door ------------------------------------------------------------------------------


def recomputed(formula: str, given: dict[str, Any]) -> Any:
    """A step's value from its inputs, by the formula as it is written."""
    if formula.startswith("Σ fills before"):
        return (
            sum(given["fills_nm"]) + given["rolls_nm"] + given["guide_offset_nm"]
            + given["shoulder_offset_nm"] - given["guide_plane_nm"]
        )  # fmt: skip
    if formula == "Σ fills + Σ rolls − roll space":
        return sum(given["fills_nm"]) + given["rolls_nm"] - given["roll_space_nm"]
    if formula == "guide error top − guide error bottom":
        return given["top_nm"] - given["bottom_nm"]
    if formula == "Σ over stations":
        return sum(given["by_station"])
    assert formula == "2 · √(Σ tolerance² / 3)"
    return pytest.approx(2 * sqrt(sum(a * a for a in given["tolerances_nm"]) / 3), abs=1)


def test_every_step_can_be_computed_again_from_its_inputs() -> None:
    found = solve_stacks(shop(stations=3, lengths=16, spacers=100, load=0.6, seed=1))
    assert found.stations
    steps = [step.as_dict() for step in found.steps]
    assert len({step["formula"] for step in steps}) == 5
    for step in steps:
        assert step["value"] == recomputed(str(step["formula"]), dict(step["inputs"]))  # type: ignore[call-overload]
    values = {step["what"]: step["value"] for step in steps}
    for shaft in found.shafts:
        name = f"station {shaft.station}, {shaft.shaft}"
        assert values[f"{name}: guide error"] == shaft.guide_error_nm
        assert values[f"{name}: stack total − roll space"] == shaft.over_nm
        assert values[f"{name}: spread of the guide error"] == shaft.spread_nm
    for aim, figure in zip(compute("stacks", STACKS)["answer"]["aims"], found.figures, strict=True):
        assert values.get(aim, figure) == figure


def test_compute_stacks_fills_the_shaft_and_keeps_what_stands() -> None:
    told = compute("stacks", STACKS)
    assert (told["status"], told["bound"][:5]) == ("ok", [0, 0, 0, 0, 3])
    (shaft,) = told["answer"]["shafts"]
    assert [fill["pieces"] for fill in shaft["fills"]] == [["S50"], ["S20"], ["S50"]]
    assert shaft["kept_closed"] is True


def test_compute_stacks_without_enough_says_what_to_make() -> None:
    fewer = [source | {"count": 1} for source in STACKS["sources"]]  # type: ignore[attr-defined]
    told = compute("stacks", {**STACKS, "sources": fewer})
    assert told["status"] == "infeasible"
    assert told["answer"]["lacks"]
    make = told["answer"]["make"]
    assert ([piece["length_nm"] for piece in make["pieces"]], make["proven"]) == ([50 * MM], True)


def test_compute_stacks_checks_a_hand_stack() -> None:
    stack = {"station": 1, "shaft": "top", "fills": [["S50"], ["S20"], ["S20", "S20"]]}
    told = compute("stacks", {**STACKS, "check": [stack]})
    codes = {each["code"] for each in told["answer"]["findings"] if each["level"] == "no"}
    assert (told["status"], codes) == ("infeasible", {"stack_short"})


@pytest.mark.parametrize(
    "change",
    [
        {"pins": {"nowhere": []}},
        {"forbid": ["no such"]},
        {"keep": [{"station": 2, "shaft": "top", "fills": []}]},
        {"sources": [{"key": "S", "length_nm": 0}]},
        {"rules": STACKS["rules"] | {"closing_least_nm": -1}},  # type: ignore[operator]
        {"rules": STACKS["rules"] | {"closing_most_nm": 5 * MM}},  # type: ignore[operator]
        {"seconds": -1},
    ],
)
def test_compute_stacks_refuses_what_cannot_be(change: dict[str, Any]) -> None:
    assert refused("stacks", {**STACKS, **change}).code == "invalid_input"

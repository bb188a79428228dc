"""Spacer stacks: gauge blocks, every answer of small problems, another model of larger ones."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from tests.engineering import stack_world
from tests.engineering.checks import table
from tests.engineering.stack_model import direct
from tests.engineering.stack_shop import shop
from tests.engineering.stack_world import UNIT, best_figures, by_chance
from tooling.engineering.lengths import NM_PER_IN, NM_PER_MM
from tooling.engineering.stacks import (
    Fill,
    MakeGrid,
    Problem,
    Roll,
    Rules,
    Shaft,
    Source,
    Stacks,
    Station,
)
from tooling.engineering.stacks.columns import Maker, fixed_of
from tooling.engineering.stacks.engine import solve_stacks
from tooling.engineering.stacks.kinds import kinds_of
from tooling.engineering.stacks.solve import Effort

SEARCHED = Effort(every_most=0)
"""The way of large problems, for small ones."""


def one_fill(target_nm: int, sources: list[Source], **rules: object) -> Problem:
    """One shaft whose only fill must be exactly so long."""
    guide = Roll("guide", 10 * UNIT, 0)
    fill = Fill("fill", "middle", target_nm, 0, 0)
    shaft = Shaft("top", 10 * UNIT + max(target_nm, 1), (guide, fill))
    told = {"closing": "housing", "closing_nm": (-1, 0), **rules}
    return Problem(Rules(0, **told), (Station(1, (shaft,)),), tuple(sources))  # type: ignore[arg-type]


def length(text: str, unit: str) -> int:
    scale = NM_PER_IN if unit == "in" else NM_PER_MM
    whole, _point, part = text.partition(".")
    return int(whole + part) * scale // 10 ** len(part)


def blocks(name: str) -> tuple[str, list[Source]]:
    (row,) = [row for row in table("gauge_blocks", "Sets") if row["set"] == name]
    sizes = [
        length(first, row["unit"]) + at * length(step, row["unit"])
        for first, step, count in row["series"]
        for at in range(count)
    ]
    return row["unit"], [Source(f"{at}: {nm}", nm) for at, nm in enumerate(sizes)]


@pytest.mark.parametrize("row", table("gauge_blocks", "Wring-ups"), ids=lambda row: row["length"])
def test_gauge_blocks_are_met_exactly_with_no_more_blocks(row) -> None:
    unit, sources = blocks(row["set"])
    problem = one_fill(length(row["length"], unit), sources)
    (told,) = solve_stacks(problem).shafts[0].fills
    assert told.length_nm == length(row["length"], unit)
    assert len(told.pieces) <= len(row["blocks"])
    assert len(set(told.pieces)) == len(told.pieces)


def test_no_answer_of_a_small_problem_is_better() -> None:
    """Every aim against plain enumeration: 200 problems with shims, forbidden spacers, stacks that
    the mill carries and earlier answers; and among them everything occurs."""
    seen: Counter[str] = Counter()
    for seed in range(200):
        problem = by_chance(seed)
        found = solve_stacks(problem)
        assert found.figures == best_figures(problem), seed
        assert all(found.is_proven[:5]), seed
        holds(problem, found)
        seen.update(f"aim {at}" for at, figure in enumerate(found.figures) if figure)
        seen["all completed"] += found.figures[0] == 0
        seen["closed"] += any(shaft.kept_closed for shaft in found.shafts)
        seen["kept"] += any(shaft.kept and not shaft.kept_closed for shaft in found.shafts)
        seen["places"] += found.figures[5] > 1
    expected = {f"aim {at}" for at in (0, 2, 3, 4, 5, 6)} | {
        "all completed",
        "closed",
        "kept",
        "places",
    }
    assert expected <= {name for name, count in seen.items() if count >= 2}


def test_the_search_for_large_problems_never_claims_what_is_not_so() -> None:
    """Its answers hold and its bounds are not above the optimum; mostly it finds the optimum."""
    missed = 0
    for seed in range(60):
        problem = by_chance(seed)
        found = solve_stacks(problem, effort=SEARCHED)
        best = best_figures(problem)
        holds(problem, found)
        assert found.figures >= best, seed
        for at, bound in enumerate(found.bound):
            if found.figures[:at] != best[:at]:
                break
            assert bound is None or bound <= best[at], (seed, at)
        missed += found.figures[:5] != best[:5]
    assert missed <= 4


def holds(problem: Problem, found: Stacks) -> None:
    """Windows, counts and shims of an answer, worked out anew."""
    use = Counter(key for shaft in found.shafts for fill in shaft.fills for key in fill.pieces)
    assert all(count <= problem.by_key[key].count for key, count in use.items())
    assert not set(use) & problem.forbid
    errors: dict[tuple[int, str], int] = {}
    for told in found.shafts:
        shaft = problem.shafts[told.station, told.shaft]
        stack = [fill.pieces for fill in told.fills]
        error = stack_world._error(problem, shaft, stack)
        assert problem.rules.guide_nm[0] <= error <= problem.rules.guide_nm[1]
        assert told.guide_error_nm == error
        errors[told.station, told.shaft] = error
        rolls = sum(roll.width_nm for roll in shaft.rolls)
        over = sum(fill.length_nm for fill in told.fills) + rolls - shaft.roll_space_nm
        assert problem.rules.closing_nm[0] <= over <= problem.rules.closing_nm[1]
        for fill, there in zip(shaft.fills, told.fills, strict=True):
            lengths = [problem.by_key[key].length_nm for key in there.pieces]
            assert there.length_nm == sum(lengths)
            assert there.window_nm[0] <= there.length_nm <= there.window_nm[1]
            kinds = [problem.by_key[key].kind for key in there.pieces]
            if "shim" in kinds:
                assert kinds[0] == kinds[-1] == "spacer" != kinds[1]
                assert kinds.count("shim") <= problem.rules.most_shims
                assert kinds.count("spacer") >= 2
            if fill.target_nm is not None:
                assert -fill.below_nm <= there.length_nm - fill.target_nm <= fill.above_nm
    for (number, which), error in errors.items():
        if which == "top" and (number, "bottom") in errors:
            low, high = problem.rules.difference_nm
            assert low <= error - errors[number, "bottom"] <= high


@pytest.mark.parametrize("seed", [0, 3, 4, 5, 7])
def test_another_model_of_the_same_question_finds_no_better(seed: int) -> None:
    problem = shop(stations=2, lengths=6, spacers=18, load=0.8, seed=seed, shims=1)
    found = solve_stacks(problem)
    best, proven = direct(problem)
    assert proven
    assert [found.figures[0], found.figures[3], found.figures[4]] == best
    assert found.bound[:5] == found.figures[:5]


@pytest.mark.parametrize(("load", "own"), [(0.6, False), (0.9, False), (0.7, True)])
def test_a_mill_of_some_size_is_filled_near_the_bound(load: float, own: bool) -> None:
    problem = shop(stations=5, lengths=16, spacers=160, load=load, own=own, seed=3)
    found = solve_stacks(problem)
    holds(problem, found)
    assert found.figures[0] == found.bound[0]
    least, pieces = sum(found.bound[3:5]), sum(found.figures[3:5])  # type: ignore[arg-type]
    assert pieces <= 1.03 * least + 1


def two_shafts(stock: dict[int, int], top: int, bottom: int, **more: object) -> Problem:
    """Fills of exactly so many units on two shafts; stock as length: count."""
    shafts = tuple(
        Shaft(which, 10 * UNIT + units * UNIT,
              (Roll("g", 10 * UNIT, 0), Fill(which, "middle", units * UNIT, 0, 0)))
        for which, units in (("top", top), ("bottom", bottom))
    )  # fmt: skip
    sources = tuple(Source(f"s{n}", n * UNIT, count) for n, count in stock.items())
    rules = Rules(0, "housing", (0, 0), make=MakeGrid(UNIT, UNIT, 50 * UNIT))
    told = {"rules": rules, "stations": (Station(1, shafts),), "sources": sources, **more}
    return Problem(**told)  # type: ignore[arg-type]


def test_taking_the_longest_first_fills_fewer_shafts() -> None:
    """By hand: 10 = 6 + 4 leaves 5 and 5, which never make 6; 10 = 5 + 5 leaves the 6."""
    found = solve_stacks(two_shafts({6: 1, 4: 1, 5: 2}, 10, 6))
    assert found.figures[0] == 0
    assert {fill.fill: fill.pieces for shaft in found.shafts for fill in shaft.fills} == {
        "top": ("s5", "s5"), "bottom": ("s6",),
    }  # fmt: skip


def test_after_a_loss_only_that_shaft_changes() -> None:
    problem = two_shafts({6: 1, 4: 1, 5: 2, 3: 2}, 10, 6)
    first = solve_stacks(problem)
    keep = {(s.station, s.shaft): tuple(f.pieces for f in s.fills) for s in first.shafts}
    again = solve_stacks(replace(problem, keep=keep, forbid=frozenset({"s6"})))
    assert again.figures[:3] == (0, 0, 1)
    kept = {shaft.shaft: shaft.kept for shaft in again.shafts}
    assert kept == {"top": True, "bottom": False}


def test_a_station_stays_closed_unless_that_costs_a_shaft() -> None:
    """By hand: station 1 carries the only 10. It keeps it while station 2 can be done with 5 + 5,
    and gives it up (5 + 5 for itself) when station 2 takes nothing but the 10."""
    rules = Rules(0, "housing", (0, 0))
    ten = Source("s10", 10 * UNIT, place="mill")

    def station(number: int, only: frozenset[str] | None, carries: bool) -> Station:
        fill = Fill(f"fill {number}", "middle", 10 * UNIT, 0, 0, only=only)
        shaft = Shaft("top", 20 * UNIT, (Roll("g", 10 * UNIT, 0), fill))
        return Station(number, (shaft,), {"top": (("s10",),)} if carries else None)

    for only, figures in ((None, (0, 0, 0, 0, 3)), (frozenset({"s10"}), (0, 1, 0, 0, 3))):
        stations = (station(1, None, True), station(2, only, False))
        problem = Problem(rules, stations, (ten, Source("s5", 5 * UNIT, 2, place="rack")))
        for effort in (Effort(), SEARCHED):
            found = solve_stacks(problem, effort=effort)
            assert found.figures[:5] == figures
            assert found.shafts[0].kept_closed is (only is None)


def test_a_pin_stays_and_a_pin_that_breaks_a_rule_lets_its_shaft_lack() -> None:
    problem = two_shafts({6: 1, 4: 1, 5: 2, 3: 2}, 10, 6, pins={"top": ("s6", "s4")})
    found = solve_stacks(problem)
    assert found.figures[0] == 0
    assert found.shafts[0].fills[0].pieces == ("s6", "s4")
    broken = solve_stacks(replace(problem, pins={"top": ("s6", "s3")}))
    assert [shaft.shaft for shaft in broken.shafts] == ["bottom"]


@pytest.mark.parametrize("seed", range(0, 60, 3))
def test_more_stock_is_never_worse(seed: int) -> None:
    problem = by_chance(seed)
    more = tuple(replace(source, count=source.count + 1) for source in problem.sources)
    less, now = solve_stacks(problem), solve_stacks(replace(problem, sources=more))
    assert now.figures[0] <= less.figures[0]
    if not any(station.carried for station in problem.stations):
        assert now.figures[:5] <= less.figures[:5]


def scaled(problem: Problem, by: int) -> Problem:
    """Every length so many times as long."""

    def part(given: Fill | Roll) -> Fill | Roll:
        if isinstance(given, Roll):
            offset = given.guide_offset_nm
            return Roll(given.name, given.width_nm * by, None if offset is None else offset * by)
        target = None if given.target_nm is None else given.target_nm * by
        return replace(
            given, target_nm=target, below_nm=given.below_nm * by, above_nm=given.above_nm * by
        )

    rules = problem.rules
    return replace(
        problem,
        rules=replace(
            rules, guide_plane_nm=rules.guide_plane_nm * by,
            **{name: tuple(edge * by for edge in getattr(rules, name))
               for name in ("closing_nm", "guide_nm", "difference_nm")},
        ),
        stations=tuple(
            replace(station, shafts=tuple(
                replace(shaft, roll_space_nm=shaft.roll_space_nm * by,
                        shoulder_offset_nm=shaft.shoulder_offset_nm * by,
                        parts=tuple(part(each) for each in shaft.parts))
                for shaft in station.shafts
            ))
            for station in problem.stations
        ),
        sources=tuple(replace(s, length_nm=s.length_nm * by) for s in problem.sources),
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(0, 40, 4))
def test_inch_and_metric_answer_alike(seed: int) -> None:
    """1 µm in one is 0.001 in in the other: 25,400 nm for every 1,000."""
    metric = by_chance(seed)
    thousandths = scaled(metric, 127)
    fives = scaled(metric, 5)
    for effort in (Effort(), SEARCHED):
        assert (
            solve_stacks(thousandths, effort=effort).figures
            == solve_stacks(fives, effort=effort).figures
        )
    assert solve_stacks(thousandths).figures == solve_stacks(metric).figures


def test_widths_beside_any_grid_are_judged_in_exact_nanometres() -> None:
    """No common measure: 10.0000007 and 20.0000003 are 30.000001 long, one nm beyond 30."""
    odd = [Source("a", 10_000_007), Source("b", 19_999_994), Source("c", 20_000_003)]
    for effort in (Effort(), SEARCHED):
        exact = solve_stacks(one_fill(30_000_001, odd), effort=effort)
        assert exact.shafts[0].fills[0].pieces == ("b", "a")
        nothing = solve_stacks(one_fill(30_000_002, odd), effort=effort)
        assert nothing.figures[0] == 1


def test_what_lacks_names_the_fill_and_the_nearest_lengths() -> None:
    found = solve_stacks(one_fill(11 * UNIT, [Source("s", 4 * UNIT, 3), Source("t", 7 * UNIT, 0)]))
    (lack,) = found.lacks
    assert (lack.fill, lack.below_nm, lack.above_nm) == ("fill", 8 * UNIT, 12 * UNIT)
    assert not lack.in_whole_stock
    taken = solve_stacks(two_shafts({6: 1}, 6, 6))
    assert [lack.in_whole_stock for lack in taken.lacks] == [True]


def test_the_make_list_is_the_fewest_pieces_then_the_least_length() -> None:
    """By hand. With 4, 3 and 2 in stock the 9 is there: only the 11 lacks, one piece of 11. With 4
    and 3 alone each shaft needs a piece, 20 − 7 = 13 in all."""
    found = solve_stacks(two_shafts({4: 1, 3: 1, 2: 1}, 11, 9))
    assert found.make is not None
    assert [piece.length_nm for piece in found.make.pieces] == [11 * UNIT]
    assert found.make.is_proven
    two = solve_stacks(two_shafts({4: 1, 3: 1}, 11, 9)).make
    assert two is not None
    assert (len(two.pieces), two.total_nm, two.is_proven) == (2, 13 * UNIT, True)


def test_what_the_grid_cannot_do_is_ground_to_length() -> None:
    """11.5 mm on a grid of 1 mm, nothing in stock."""
    mm = 1000 * UNIT
    problem = one_fill(11 * mm + mm // 2, [], make=MakeGrid(mm, mm, 50 * mm))
    make = solve_stacks(problem).make
    assert make is not None
    (piece,) = make.pieces
    assert piece.length_nm == 11_500_000
    assert piece.window_nm == (11_500_000, 11_500_000)
    assert (make.ground, make.bound_ground) == (1, 1)


def test_what_nothing_can_put_right_is_said() -> None:
    problem = one_fill(500, [], make=MakeGrid(UNIT, UNIT, 50 * UNIT))
    make = solve_stacks(problem).make
    assert make is not None
    assert (make.pieces, make.impossible) == ((), ("fill",))


def test_a_stopped_answer_says_so() -> None:
    problem = shop(stations=3, lengths=10, spacers=80, load=0.7)
    for effort in (Effort(), SEARCHED):
        found = solve_stacks(problem, should_stop=lambda: True, effort=effort)
        assert found.stopped
        holds(problem, found)


def test_progress_goes_from_nothing_to_all() -> None:
    heard: list[float] = []
    solve_stacks(
        shop(stations=2, lengths=6, spacers=30, load=0.7),
        progress=lambda fraction, said: heard.append(fraction), effort=SEARCHED,
    )  # fmt: skip
    assert heard == sorted(heard)
    assert heard[-1] == 1.0


def test_the_same_question_has_the_same_answer() -> None:
    problem = shop(stations=3, lengths=10, spacers=80, load=0.9)
    one, other = (solve_stacks(problem, effort=SEARCHED) for _turn in range(2))
    assert one == other


def test_an_empty_mill_and_an_empty_stock() -> None:
    rules = Rules(0, "nut", (0, UNIT))
    nothing = solve_stacks(Problem(rules, (), ()))
    assert nothing.figures == (0,) * 7
    assert all(nothing.is_proven)
    zero = solve_stacks(replace(one_fill(0, []), rules=Rules(0, "housing", (-UNIT, 0))))
    assert zero.shafts[0].fills[0].pieces == ()


@pytest.mark.parametrize(
    "wrong",
    [
        {"pins": {"nowhere": ()}},
        {"pins": {"fill": ("no such",)}},
        {"forbid": frozenset({"no such"})},
        {"keep": {(9, "top"): ((),)}},
        {"keep": {(1, "top"): ()}},
        {"places": ("A", "A")},
        {"sources": (Source("s", 1), Source("s", 2))},
    ],
)
def test_nonsense_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"pins|source|keep|place"):
        replace(one_fill(UNIT, [Source("s", UNIT)]), **wrong)  # type: ignore[arg-type]


def test_windows_must_agree_with_how_the_shaft_closes() -> None:
    with pytest.raises(ValueError, match="proud"):
        Rules(0, "nut", (-1, 5))
    with pytest.raises(ValueError, match="short"):
        Rules(0, "housing", (-5, 1))


def test_equal_sources_are_one_kind_and_a_pinned_one_stands_alone() -> None:
    sources = [Source("a", UNIT, 2), Source("b", UNIT, 3), Source("c", UNIT)]
    problem = replace(one_fill(UNIT, sources), pins={"fill": ("c",)})
    kinds = kinds_of(problem)
    assert sorted(kind.sources for kind in kinds.kinds) == [("a", "b"), ("c",)]
    assert Maker(problem, kinds, fixed_of(problem, kinds)).fixed.pins["fill"] == (
        kinds.of_source["c"],
    )

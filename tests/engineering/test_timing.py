"""When to send a set to the grinder."""

from __future__ import annotations

import random
from itertools import product

import pytest

from tooling.engineering.replacing import Costs, recut_or_replace
from tooling.engineering.timing import (
    DueSet,
    JobUse,
    Lead,
    crossing,
    learned_lead,
    options,
    plan_windows,
)

pytestmark = pytest.mark.one_database

TODAY = 1_000


def job(number: str, gathers: int, ends: int, km: float) -> JobUse:
    return JobUse(number, TODAY + gathers, TODAY + ends, km * 1000)


LEAD = Lead(7, 10)
JOBS = (job("J1", 2, 5, 40), job("J2", 20, 22, 40), job("J3", 40, 44, 40))


def test_the_limit_is_passed_in_the_job_that_runs_over_what_is_left() -> None:
    assert crossing(DueSet("A", 100_000, JOBS), TODAY) == JOBS[2]
    assert crossing(DueSet("A", 80_000, JOBS), TODAY) == JOBS[2], "at the limit is not past it"
    assert crossing(DueSet("A", 79_999, JOBS), TODAY) == JOBS[1]
    assert crossing(DueSet("A", 500_000, JOBS), TODAY) is None
    assert crossing(DueSet("A", None, JOBS), TODAY) is None


def test_the_latest_safe_window_ends_the_day_before_the_last_job_that_fits() -> None:
    """Back on day 39, before J3 is gathered on day 40: sent ten days earlier."""
    (told,) = plan_windows([DueSet("A", 100_000, JOBS)], LEAD, TODAY).windows
    assert told.crosses == "J3"
    assert told.chosen is not None
    assert told.chosen.out == TODAY + 29
    assert told.chosen.back == TODAY + 39
    assert told.slack == 1


def test_a_stretch_too_short_says_what_would_slip() -> None:
    found = options(DueSet("A", 100_000, JOBS), LEAD, TODAY)
    assert [each.state for each in found] == ["too_short", "safe", "safe", "past_limit"]
    assert (found[0].next_job, found[0].slips) == ("J1", 9)
    assert found[3].passes == "J3"


def test_owners_and_what_is_away_already_move_the_first_day() -> None:
    waiting = options(DueSet("A", 100_000, JOBS, approval_days=12), LEAD, TODAY)
    assert [each.state for each in waiting][:2] == ["too_short", "too_short"]
    assert waiting[1].slips == 3
    away = options(DueSet("A", 100_000, JOBS, back=TODAY + 8), LEAD, TODAY)
    assert away[1].state == "safe"
    assert away[1].out == TODAY + 9


def test_a_week_takes_no_more_pieces_than_the_grinder_does() -> None:
    two = [DueSet("A", 100_000, JOBS, pieces=20), DueSet("B", 100_000, JOBS, pieces=20)]
    found = plan_windows(two, LEAD, TODAY, pieces_a_week=30)
    outs = {each.name: each.chosen.out for each in found.windows if each.chosen}
    assert found.is_proven
    assert max(outs.values()) == TODAY + 29
    assert len({(out - 1) // 7 for out in outs.values()}) == 2
    assert sorted(each.earlier_than_alone for each in found.windows)[0] == 0
    none = plan_windows(two, LEAD, TODAY, pieces_a_week=10)
    assert all(each.chosen is None for each in none.windows)
    assert {o.state for each in none.windows for o in each.options} >= {"full"}


def test_sets_without_a_window_come_first_and_those_without_a_date_last() -> None:
    calm, late = DueSet("calm", None, JOBS), DueSet("late", 10_000, JOBS)
    found = plan_windows([calm, DueSet("due", 100_000, JOBS), late], LEAD, TODAY)
    assert [each.name for each in found.windows] == ["late", "due", "calm"]
    assert found.windows[0].chosen is None
    assert found.windows[0].options[0].slips == 9


def test_the_choice_is_the_best_of_all_choices() -> None:
    for seed in range(60):
        dice = random.Random(seed)
        sets = [_some(dice, name) for name in "ABCD"]
        most = dice.choice([None, 10, 15, 25])
        found = plan_windows(sets, LEAD, TODAY, pieces_a_week=most)
        assert found.is_proven
        dated = [each for each in found.windows if each.crosses]
        lost = sum(each.chosen is None for each in dated)
        early = sum(each.earlier_than_alone for each in dated)
        assert (lost, early) == _best(sets, most), seed


def test_any_number_of_sets_is_answered_within_the_grinders_weeks() -> None:
    for count in (0, 1, 250):
        sets = [DueSet(f"S{n:03d}", 100_000, JOBS, pieces=10) for n in range(count)]
        found = plan_windows(sets, LEAD, TODAY, pieces_a_week=20)
        load: dict[int, int] = {}
        for each in found.windows:
            if each.chosen:
                week = (each.chosen.out - 1) // 7
                load[week] = load.get(week, 0) + 10
        assert all(pieces <= 20 for pieces in load.values())
        assert len(found.windows) == count
        assert sum(load.values()) == min(count * 10, 20 * len(load))


def _some(dice: random.Random, name: str) -> DueSet:
    at, jobs = dice.randint(0, 10), []
    for n in range(dice.randint(1, 4)):
        jobs.append(job(f"{name}{n}", at, at + dice.randint(1, 4), 40))
        at += dice.randint(6, 30)
    return DueSet(name, dice.choice([30_000, 90_000, 130_000, None]), tuple(jobs),
                  dice.choice([5, 10, 15]))  # fmt: skip


def _best(sets: list[DueSet], most: int | None) -> tuple[int, int]:
    """By trying every day of every stretch."""
    dated = [each for each in sets if crossing(each, TODAY)]
    days = []
    for each in dated:
        safe = [o for o in options(each, LEAD, TODAY) if o.state == "safe"]
        free = [day for o in safe for day in range(o.opens, o.out + 1)]
        by_week = {(day - 1) // 7: day for day in sorted(free)}
        days.append(
            [(max(free) - day, week, each.pieces) for week, day in by_week.items()] + [None]
        )
    ranks = []
    for picked in product(*days):
        load: dict[int, int] = {}
        for way in picked:
            if way:
                load[way[1]] = load.get(way[1], 0) + way[2]
        if most is None or all(each <= most for each in load.values()):
            ranks.append((sum(w is None for w in picked), sum(w[0] for w in picked if w)))
    return min(ranks)


def test_lead_times_are_learned_from_own_orders_once_there_are_enough() -> None:
    assert learned_lead([9, 9], setting=14) == Lead(14, 14, 0)
    assert learned_lead([8, 9, 9, 10, 30], setting=14) == Lead(9, 30, 5)
    assert learned_lead([*range(1, 11)], setting=14) == Lead(6, 9, 10)


def test_recut_against_replace_by_cost_per_length() -> None:
    """Recut: 200 over 100 km is 2 a km. New: (900 + 5 · 200) over 6 · 100 km is 3.17 a km."""
    told = recut_or_replace(Costs(100_000, 20_000, 90_000, left=3, new_left=5))
    assert told.recut_per_km == pytest.approx(2.0)
    assert told.replace_per_km == pytest.approx(1900 / 600)
    assert (told.says, told.rule, told.open) == ("recut", "recut", ())
    dear = recut_or_replace(Costs(100_000, 80_000, 90_000, left=3, new_left=5))
    assert (dear.says, dear.rule) == ("recut", "replace")
    assert recut_or_replace(Costs(left=0)).says == "replace"


def test_what_is_not_known_is_named_and_nothing_is_said() -> None:
    told = recut_or_replace(Costs(100_000, 20_000))
    assert told.says == ""
    assert told.open == ("new_cents", "left", "new_left")
    assert told.recut_per_km == pytest.approx(2.0)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: JobUse("J", 5, 4, 1),
        lambda: DueSet("A", -1.0),
        lambda: Lead(5, 4),
        lambda: Costs(length_m=0),
        lambda: DueSet("A", 1.0, (JOBS[0], JOBS[0])),
        lambda: plan_windows([DueSet("A", 1.0), DueSet("A", 1.0)], LEAD, TODAY),
        lambda: learned_lead([-1], setting=3),
    ],
)
def test_bad_input_is_refused(wrong: object) -> None:
    with pytest.raises(ValueError, match=r"."):
        wrong()  # type: ignore[operator]

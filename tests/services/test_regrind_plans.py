"""Regrind plans: begun, worked out, changed, made stale, dropped."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from tests.regrind_shop import CUT, RegrindShop, read, regrind_shop, wear, work_out
from tests.standing import Standing
from tests.world import MM, World
from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import Change, Person, PlanState, RegrindPlan, Task, TaskState
from tooling.queries.regrind_asks import Asks, PinAsked, asks_from
from tooling.queries.regrind_facts import read_facts
from tooling.queries.regrind_plan_page import plan_page
from tooling.queries.regrind_plans import find_plan
from tooling.queries.regrind_problem import problem_of
from tooling.queries.strip_left import equivalent_m
from tooling.services import regrind_orders, regrind_plan_work, regrind_plans, tasks
from tooling.services.regrind_asked import asked_lines
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_shop(standing_world: World) -> RegrindShop:
    return regrind_shop(standing_world)


@pytest.fixture
def shop(standing: Standing, standing_shop: RegrindShop) -> RegrindShop:
    return standing.copy(standing_shop)


def begun(shop: RegrindShop, by: Person, at: datetime, **more: Any) -> RegrindPlan:
    return regrind_plans.start_plan(by=by, at=at, copies=[shop.copy], **more)


def solved(shop: RegrindShop, by: Person, at: datetime, **more: Any) -> RegrindPlan:
    plan = begun(shop, by, at, **more)
    work_out(by, at, plan.number)
    return find_plan(plan.number)


def cuts(plan: RegrindPlan) -> dict[str, int]:
    return {row.piece.code: row.amount_nm for row in plan.lines.select_related("piece")}


def test_the_worker_keeps_the_plan_that_was_worked_out_by_hand(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    plan = begun(shop, engineer, at, name="winter")
    assert plan.number == "RP-0001"
    assert plan.state == PlanState.DRAFT
    assert work_once(HANDLERS)
    kept = find_plan("rp-0001")
    assert kept.state == PlanState.SOLVED
    assert kept.is_proven
    assert kept.task is not None
    assert kept.task.state == TaskState.DONE
    assert cuts(kept) == {shop.rolls[spot].code: nm for spot, nm in CUT.items()}
    line = kept.lines.get(piece=shop.rolls[2, "bottom"])
    assert line.reason == f"To keep step with pass 3 ({shop.rolls[3, 'bottom'].code})."


def test_every_step_leaves_a_history_row(shop: RegrindShop, engineer: Person, at: datetime) -> None:
    plan = solved(shop, engineer, at)
    regrind_plans.change_plan(by=engineer, at=at, plan=plan, asks=Asks(no_new=True))
    regrind_plans.drop_plan(by=engineer, at=at, plan=plan, reason="not this year")
    rows = Change.objects.filter(subject="RegrindPlan", subject_key=plan.number)
    assert list(rows.order_by("pk").values_list("what", flat=True)) == [
        "regrind plan begun", "regrind plan worked out", "regrind plan changed",
        "regrind plan dropped",
    ]  # fmt: skip


def test_only_engineers_and_supervisors_plan(
    shop: RegrindShop, cast: dict[str, Person], at: datetime
) -> None:
    for role in ("viewer", "attendant", "crew"):
        with pytest.raises(NotAllowed):
            begun(shop, cast[role], at)
    assert begun(shop, cast["supervisor"], at).pk


def test_a_plan_is_for_some_copies(shop: RegrindShop, engineer: Person, at: datetime) -> None:
    with pytest.raises(ToolingError) as refused:
        regrind_plans.start_plan(by=engineer, at=at, copies=[])
    assert refused.value.code == "nothing_planned"


@pytest.mark.parametrize(
    "asks",
    [
        Asks(own={"step_nm": 0}),
        Asks(own={"face_from_degrees": 95}),
        Asks(prices={"setup_cents": -1}),
    ],
)
def test_a_setting_out_of_range_is_refused(
    asks: Asks, shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    with pytest.raises(ToolingError) as refused:
        begun(shop, engineer, at, asks=asks)
    assert refused.value.code == "setting_out_of_range"


def test_what_is_settled_for_a_piece_is_kept_in_the_plan(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    plan = solved(shop, engineer, at)
    code = shop.rolls[4, "bottom"].code
    regrind_plans.pin_piece(by=engineer, at=at, plan=plan, code=code.lower(),
                            pin=PinAsked("cut_to", 149_900_000))  # fmt: skip
    work_out(engineer, at, plan.number)
    told = plan_page(find_plan(plan.number), at=at)
    assert cuts(plan)[code] == 700_000
    assert next(each.pin for each in told.decisions if each.piece == code) == "cut_to"
    fresh = find_plan(plan.number)
    regrind_plans.pin_piece(by=engineer, at=at, plan=fresh, code=code, pin=None)
    assert asks_from(find_plan(plan.number).asks).pins == {}


@pytest.mark.parametrize(
    ("pin", "code"),
    [
        (PinAsked("cut_to", 149_905_000), "off_grinder_step"),
        (PinAsked("cut_to", 151 * MM), "cut_adds"),
        (PinAsked("cut_to"), "pin_unclear"),
        (PinAsked("leave", 149 * MM), "pin_unclear"),
        (PinAsked("face", 149 * MM), "pin_unclear"),
    ],
)
def test_what_cannot_be_done_is_refused_at_once(
    pin: PinAsked, code: str, shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    plan = begun(shop, engineer, at)
    with pytest.raises(ToolingError) as refused:
        regrind_plans.pin_piece(by=engineer, at=at, plan=plan, code=shop.rolls[1, "top"].code,
                                pin=pin)  # fmt: skip
    assert refused.value.code == code
    assert find_plan(plan.number).version == 1


def test_a_stranger_is_not_pinned(shop: RegrindShop, engineer: Person, at: datetime) -> None:
    plan = begun(shop, engineer, at)
    with pytest.raises(ToolingError) as refused:
        regrind_plans.pin_piece(by=engineer, at=at, plan=plan, code="R999999X",
                                pin=PinAsked("leave"))  # fmt: skip
    assert refused.value.code == "unknown_code"


def test_a_conflict_is_kept_with_what_frees_it(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    worn = shop.rolls[3, "bottom"].code
    plan = solved(shop, engineer, at, asks=Asks(pins={worn: PinAsked("leave")}))
    assert plan.state == PlanState.CONFLICT
    assert not plan.lines.exists()
    (conflict,) = plan_page(plan, at=at).conflicts
    assert [each.code for each in conflict.requirements] == ["must_worn", "pinned_leave"]
    assert [each.code for each in conflict.frees] == ["free_must", "free_pin"]


def test_a_plan_is_stale_once_what_it_rests_on_moves(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    plan = solved(shop, engineer, at)
    assert not plan_page(plan, at=at).is_stale
    piece = shop.rolls[1, "top"]
    piece.now_drive_diameter_nm = 149_990_000
    piece.save()
    assert plan_page(find_plan(plan.number), at=at).is_stale
    work_out(engineer, at, plan.number)
    assert not plan_page(find_plan(plan.number), at=at).is_stale


def test_a_stale_plan_is_not_ordered(shop: RegrindShop, engineer: Person, at: datetime) -> None:
    plan = solved(shop, engineer, at)
    asked = asked_lines(plan_number=plan.number)
    assert len(asked.lines) == 6
    wear(shop, shop.rolls[1, "top"], depth_nm=400_000)
    with pytest.raises(Conflict) as refused:
        regrind_orders.request_order(by=engineer, at=at, lines=asked.lines, plan=asked.plan)
    assert refused.value.code == "stale_plan"
    assert find_plan(plan.number).state == PlanState.SOLVED
    work_out(engineer, at, plan.number)
    fresh = asked_lines(plan_number=plan.number)
    regrind_orders.request_order(by=engineer, at=at, lines=fresh.lines, plan=fresh.plan)
    assert find_plan(plan.number).state == PlanState.ORDERED


def test_an_empty_copy_gets_an_empty_plan(world: World, engineer: Person, at: datetime) -> None:
    copy = world.copy(world.tool_set("9", {}))
    plan = regrind_plans.start_plan(by=engineer, at=at, copies=[copy])
    work_out(engineer, at, plan.number)
    assert find_plan(plan.number).state == PlanState.SOLVED
    assert plan_page(find_plan(plan.number), at=at).decisions == ()


def test_a_set_without_a_chart_keeps_its_passes_in_order(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    shop.tool_set.charts.all().delete()
    plan = solved(shop, engineer, at)
    wanted = {shop.rolls[spot].code: nm for spot, nm in CUT.items()}
    assert cuts(plan) == wanted
    assert plan_page(plan, at=at).lines[0].mill == "–"


def test_the_worker_refuses_a_plan_that_was_changed_meanwhile(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    plan = begun(shop, engineer, at)

    def change(share: float) -> None:
        row = RegrindPlan.objects.get(pk=plan.pk)
        if row.version == 1:
            regrind_plans.change_plan(by=engineer, at=at, plan=row, asks=Asks(keeps_slack=True))

    with pytest.raises(Conflict) as refused:
        regrind_plan_work.work_plan_out(by=engineer, at=at, number=plan.number, progress=change)
    assert refused.value.code == "stale_plan"
    assert find_plan(plan.number).state == PlanState.DRAFT


def test_a_second_asking_while_one_waits_is_the_same_task(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    plan = begun(shop, engineer, at)
    regrind_plans.ask_plan(by=engineer, at=at, plan=plan)
    assert Task.objects.filter(input__plan=plan.number).count() == 1
    task = tasks.claim(at=timezone.now())
    assert task is not None
    regrind_plans.ask_plan(by=engineer, at=at, plan=plan)
    assert Task.objects.filter(input__plan=plan.number).count() == 2


def test_an_ordered_or_dropped_plan_is_settled(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    plan = solved(shop, engineer, at)
    regrind_plans.drop_plan(by=engineer, at=at, plan=plan)
    for act in (
        lambda: regrind_plans.ask_plan(by=engineer, at=at, plan=plan),
        lambda: regrind_plans.drop_plan(by=engineer, at=at, plan=plan),
        lambda: regrind_plans.change_plan(
            by=engineer, at=at, plan=find_plan(plan.number), asks=Asks()
        ),
    ):
        with pytest.raises(Conflict) as refused:
            act()
        assert refused.value.code == "plan_settled"


def test_planned_work_that_wears_a_piece_out_makes_it_a_must(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    wear(shop, shop.rolls[4, "top"], depth_nm=100_000, left_m=900.0)
    shop.world.job(shop.tool_set, shop.mill, in_hours=48, length_nm=1_000 * 10**9)
    facts = read_facts([shop.copy.pk], at=at)
    asked = problem_of(facts, [shop.copy.pk], Asks())
    (point,) = asked.problem.by_name[shop.rolls[4, "top"].code].points
    assert point.crosses
    soon = problem_of(facts, [shop.copy.pk], Asks(own={"horizon_days": 1}))
    assert not soon.problem.by_name[shop.rolls[4, "top"].code].points[0].crosses


def test_a_heavier_strip_wears_more(shop: RegrindShop, at: datetime) -> None:
    shop.world.job(shop.tool_set, shop.mill, length_nm=1_000 * 10**9, strip_class="galvanised")
    facts = read_facts([shop.copy.pk], at=at)
    run = dict(facts.planned(shop.tool_set.pk, days=60))
    assert equivalent_m(run, facts.prior) == pytest.approx(2_500)


def test_another_set_that_shares_a_roll_is_kept_true_and_named(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    """1480 runs the worn roll after one of 150.30: it may not come down below that."""
    world = shop.world
    other = world.drawing("1480-1B", drive_diameter_nm=150_300_000)
    shared = shop.rolls[3, "bottom"]
    tool_set = world.tool_set("1480", {(1, "bottom", 1): other, (2, "bottom", 1): shared.drawing})
    first = world.piece(other, shared.place, now_drive_diameter_nm=150_300_000)
    read(at, first, shop.gauge, 150_300_000)
    world.copy(tool_set, "B", {(1, "bottom", 1): first, (2, "bottom", 1): shared})
    plan = solved(shop, engineer, at, asks=Asks(no_new=True))
    assert plan.state == PlanState.CONFLICT
    told = plan_page(plan, at=at).conflicts[0]
    assert {each.code for each in told.requirements} == {
        "must_worn", "not_replaced", "not_in_plan", "keep_step"
    }  # fmt: skip
    alone = solved(shop, engineer, at, asks=Asks(no_new=True, hold_others=False))
    assert plan_page(alone, at=at).other_sets == ("1480-B",)


def test_what_else_is_read_does_not_change_a_problem(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    """1480 shares a roll with 1472, and 1485 one with 1480 that 1472 has nothing to do with."""
    world, rack = shop.world, shop.rolls[1, "top"].place
    first, third = world.drawing("1480-1B"), world.drawing("1480-3B")
    one, shared = world.piece(first, rack), shop.rolls[3, "bottom"]
    spots = {(1, "bottom", 1): first, (2, "bottom", 1): shared.drawing}
    middle = world.copy(world.tool_set("1480", spots), "A",
                        {(1, "bottom", 1): one, (2, "bottom", 1): shared})  # fmt: skip
    far = world.copy(
        world.tool_set("1485", {(1, "bottom", 1): first, (2, "bottom", 1): third}), "A",
        {(1, "bottom", 1): one, (2, "bottom", 1): world.piece(third, rack)},
    )  # fmt: skip
    ids = [shop.copy.pk]
    alone = problem_of(read_facts(ids, at=at), ids, Asks())
    with_more = read_facts([shop.copy.pk, middle.pk, far.pk], at=at)
    assert problem_of(with_more, ids, Asks()).key == alone.key


def test_two_copies_are_planned_together(shop: RegrindShop, engineer: Person, at: datetime) -> None:
    second = regrind_shop(shop.world, "1490", mill=shop.mill)
    plan = regrind_plans.start_plan(by=engineer, at=at, copies=[shop.copy, second.copy])
    work_out(engineer, at, plan.number)
    page = plan_page(find_plan(plan.number), at=at)
    assert page.copies == ("1472-A", "1490-A")
    assert len(page.decisions) == 16
    assert {each.set_name for each in page.lines} == {"1472-A", "1490-A"}


def test_a_set_in_mm_and_one_in_inches_are_each_told_in_their_own(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    second = regrind_shop(shop.world, "1490", mill=shop.mill, unit="in")
    plan = regrind_plans.start_plan(by=engineer, at=at, copies=[shop.copy, second.copy])
    work_out(engineer, at, plan.number)
    page = plan_page(find_plan(plan.number), at=at)
    assert {each.set_name: each.unit for each in page.lines} == {"1472-A": "mm", "1490-A": "in"}
    told = {each.piece: each for each in page.decisions}
    metric, inch = (told[one.rolls[3, "bottom"].code] for one in (shop, second))
    assert (metric.unit, inch.unit) == ("mm", "in")
    assert "0.5 mm" in metric.reasons[0].said
    assert "0.0197 in" in inch.reasons[0].said
    assert "0.0197 in" in plan.lines.get(piece=second.rolls[3, "bottom"]).reason
    chosen = plan_page(find_plan(plan.number), at=at, unit="mm")
    assert all(" in" not in reason.said.replace(" in ", " ")
               for each in chosen.decisions for reason in each.reasons)  # fmt: skip


def test_a_conflict_is_told_in_the_unit_of_each_piece(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    second = regrind_shop(shop.world, "1490", mill=shop.mill, unit="in")
    pins = {one.rolls[3, "bottom"].code: PinAsked("leave") for one in (shop, second)}
    plan = regrind_plans.start_plan(
        by=engineer, at=at, copies=[shop.copy, second.copy], asks=Asks(pins=pins)
    )
    work_out(engineer, at, plan.number)
    said = [each.said for conflict in plan_page(find_plan(plan.number), at=at).conflicts
            for each in conflict.requirements if each.code == "must_worn"]  # fmt: skip
    assert sorted(("0.5 mm" in each, "0.0197 in" in each) for each in said) == [
        (False, True), (True, False)
    ]  # fmt: skip


def test_prices_let_a_new_roll_be_cheaper(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    prices = {"setup_cents": 60_000, "cents_per_mm": 1_000, "new_cents": 90_000}
    plan = solved(shop, engineer, at, asks=Asks(prices=prices, counts_life=False))
    page = plan_page(plan, at=at)
    assert [each.piece for each in page.of("replace")] == [shop.rolls[3, "bottom"].code]
    assert page.aims is not None
    assert page.aims.cents == 90_000
    assert page.saves is not None
    assert page.saves.cents > 0


def test_a_later_day_alone_does_not_make_a_plan_stale(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    plan = solved(shop, engineer, at)
    assert not plan_page(plan, at=at + timedelta(days=20)).is_stale


def test_asks_come_back_as_they_were_kept() -> None:
    asks = Asks(own={"step_nm": 10_000}, prices={"new_cents": 5}, no_new=True,
                pins={"R1": PinAsked("cut_to", 5)})  # fmt: skip
    assert asks_from(asks.as_json()) == asks
    assert asks_from({}) == replace(Asks())


def test_a_faced_piece_is_ordered_by_what_comes_off_its_width(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    """(0.40 + 0.05) / sin 80° = 0.456942 mm off a face of 90 mm."""
    wear(shop, shop.rolls[4, "top"], depth_nm=400_000, angle=80.0)
    plan = solved(shop, engineer, at)
    line = plan.lines.get(piece=shop.rolls[4, "top"])
    assert (line.decision, line.amount_nm) == ("face", 456_942)
    asked = asked_lines(plan_number=plan.number)
    order = regrind_orders.request_order(by=engineer, at=at, lines=asked.lines, plan=asked.plan)
    faced = order.lines.get(piece=shop.rolls[4, "top"])
    assert faced.kinds == ["face"]
    assert {t.dimension: t.target_nm for t in faced.targets.all()}["face_width"] == 89_543_058


def test_a_face_that_is_settled_is_planned_and_ordered(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    """Within its limit, so the plan by itself leaves it: (0.10 + 0.05) / sin 80°."""
    piece = shop.rolls[4, "top"]
    wear(shop, piece, depth_nm=100_000, angle=80.0)
    plan = solved(shop, engineer, at)
    assert cuts(plan)[piece.code] == 0
    regrind_plans.pin_piece(by=engineer, at=at, plan=plan, code=piece.code, pin=PinAsked("face"))
    work_out(engineer, at, plan.number)
    line = find_plan(plan.number).lines.get(piece=piece)
    assert (line.decision, line.amount_nm) == ("face", 152_314)
    asked = next(e for e in asked_lines(plan_number=plan.number).lines if e.piece == piece)
    assert (asked.kinds, asked.take_off_nm) == (("face",), 152_314)


def test_a_face_that_nobody_read_is_no_face_to_settle(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    code = shop.rolls[4, "top"].code
    plan = solved(shop, engineer, at, asks=Asks(pins={code: PinAsked("face")}))
    assert plan.state == PlanState.CONFLICT
    (conflict,) = plan_page(plan, at=at).conflicts
    assert [each.code for each in conflict.requirements] == ["no_worn_face", "pinned_face"]
    assert [each.code for each in conflict.frees] == ["free_unfaced", "free_pin"]


def test_a_piece_that_is_cut_with_a_worn_flank_is_faced_as_well(
    shop: RegrindShop, engineer: Person, at: datetime
) -> None:
    """Pass 2 comes down by 0.90 to keep step; its flank lost 0.10: (0.10 + 0.05) / sin 80°."""
    wear(shop, shop.rolls[2, "bottom"], depth_nm=100_000, angle=80.0)
    plan = solved(shop, engineer, at)
    asked = asked_lines(plan_number=plan.number)
    line = next(each for each in asked.lines if each.piece == shop.rolls[2, "bottom"])
    assert line.kinds == ("regrind", "face")
    order = regrind_orders.request_order(by=engineer, at=at, lines=asked.lines, plan=asked.plan)
    row = order.lines.get(piece=shop.rolls[2, "bottom"])
    targets = {t.dimension: t.target_nm for t in row.targets.all()}
    assert targets["drive_diameter"] == 149_300_000
    assert targets["face_width"] == 90_000_000 - 152_314

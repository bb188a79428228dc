"""Pooled spacers over time: claimed by drawing, judged when the kit gathers, bins chosen late."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.rolling import Rolling
from tests.world import MM
from tooling.models import Owner, SetPosition, Setting, StockLine
from tooling.queries.kits import kit_list, kit_page
from tooling.queries.pull_list import pull_list
from tooling.services import jobs, kits, stock
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db
WANTED = 6


class Spaced(Rolling):
    """A set that calls for six spacers of one drawing beside its rolls, and no bin yet."""

    def __init__(self, world):
        super().__init__(world)
        self.spacer = world.drawing("SP", kind="spacer", face_width_nm=10 * MM)
        set_pass = self.set.passes.get(number=1)
        for order in range(2, 2 + WANTED):
            SetPosition.objects.create(
                set_pass=set_pass, shaft="top", order=order, drawing=self.spacer
            )
        self.carts = iter([world.place(f"Cart {n}", kind="cart") for n in range(4)])

    def bin(self, name, count, **fields):
        order = fields.pop("walking_order", 1)
        place = self.world.place(name, walking_order=order)
        return self.world.stock(self.spacer, place, count, **fields)

    def gathered(self, by, number, in_hours, **fields):
        kit = self.kit(by, number=number, in_hours=in_hours, **fields)
        return kits.set_gathering_place(by=by, at=self.world.at, kit=kit, place=next(self.carts))

    def fetch(self, by, kit, line, quantity):
        return stock.move(
            by=by, at=self.world.at, line=line, quantity=quantity, to=kit.place, kit=kit
        )


@pytest.fixture(scope="module")
def standing_shop(standing_world):
    return Spaced(standing_world)


@pytest.fixture
def shop(standing, standing_shop):
    return standing.copy(standing_shop)


def spacers(kit, at):
    return [view for view in kit_page(kit.number, at=at).positions if view.drawing == "SP"]


def states(kit, at):
    told = [view.state.value for view in spacers(kit, at)]
    return {state: told.count(state) for state in dict.fromkeys(told)}


def test_far_ahead_no_bin_is_named_and_near_the_nearest_is(shop, crew, at):
    near = shop.bin("Near", 6, walking_order=2)
    shop.bin("Far", 20, walking_order=9)
    kit = shop.kit(crew, in_hours=200)
    seen = spacers(kit, at)
    assert {(v.state.value, v.stock, v.place) for v in seen} == {("to_fetch", "", "")}
    assert seen[0].reason == "6 of SP, bin chosen at staging."
    soon = kit.job.gathers_at - timedelta(hours=72)
    assert {v.stock for v in spacers(kit, soon - timedelta(minutes=1))} == {""}
    assert {v.stock for v in spacers(kit, soon)} == {near.code}
    Setting.objects.create(name="spacer_binding_horizon", value=300)
    assert {v.stock for v in spacers(kit, at)} == {near.code}


def test_one_bin_that_has_all_goes_before_nearer_ones_that_have_some(shop, crew, at):
    shop.bin("By the door", 3, walking_order=1)
    far = shop.bin("Far", 6, walking_order=9)
    shop.bin("Farther", 20, walking_order=10)
    assert {v.stock for v in spacers(shop.kit(crew), at)} == {far.code}


def test_the_pull_list_says_take_so_many_of_so_many_however_far_the_job(shop, crew, at):
    line = shop.bin("Near", 20)
    kit = shop.kit(crew, in_hours=500)
    [row] = [each for stop in pull_list(kit.number, at=at).stops for each in stop.lines
             if each.drawing == "SP"]  # fmt: skip
    assert (row.code, row.quantity, row.of) == (line.code, WANTED, 20)


def test_what_an_earlier_kit_brings_back_is_there_and_until_then_in_no_bin(shop, crew, at):
    line = shop.bin("Near", 7)
    first = shop.gathered(crew, "J1", 10)
    shop.fetch(crew, first, line, 6)
    later = shop.kit(crew, number="J2", in_hours=60)
    assert states(later, at) == {"to_fetch": 6}
    assert sorted(v.stock for v in spacers(later, at)) == ["", "", "", "", "", line.code]
    pulled = pull_list(later.number, at=at)
    assert [(each.drawing, each.quantity) for each in pulled.later] == [("SP", 5)]
    assert "come back before" in pulled.later[0].said
    overdue = later.job.gathers_at + timedelta(minutes=1)
    assert states(later, overdue) == {"to_fetch": 1, "taken": 5}


def test_a_shortage_names_the_other_job_the_count_and_when_they_come_back(shop, crew, at):
    shop.bin("Near", 8)
    first = shop.kit(crew, number="J1", in_hours=24)
    second = shop.kit(crew, number="J2", in_hours=26)
    assert (states(first, at), states(second, at)) == (
        {"to_fetch": 6},
        {"to_fetch": 2, "taken": 4},
    )
    taken = [v for v in spacers(second, at) if v.state == "taken"]
    due = first.job.starts_at + timedelta(hours=8)
    assert {(v.other_kit, v.due_back) for v in taken} == {(first.number, due)}
    assert taken[0].reason == (
        f"Of the 6 SP still wanted 4 are with job J1, kit {first.number}; due back "
        "2026-11-26 17:00."
    )
    [mine], [theirs] = (
        list(kit_page(k.number, at=at).conflicts[0].counts) for k in (second, first)
    )
    assert (mine.is_ours, mine.short, mine.count, mine.until) == (True, 4, 6, due)
    assert mine.said == "This job is 4 SP short: job J1 has 6 until 2026-11-26 17:00."
    assert (theirs.is_ours, theirs.short) == (False, 4)
    assert {row.job.number: row.conflicts for row in kit_list(at=at)} == {"J1": 1, "J2": 1}


def test_turning_the_order_turns_the_shortage(shop, crew, supervisor, at):
    shop.bin("Near", 8)
    first = shop.kit(crew, number="J1", in_hours=24)
    second = shop.kit(crew, number="J2", in_hours=26)
    before = first.version
    earlier = first.job.gathers_at - timedelta(minutes=1)
    jobs.edit(by=supervisor, at=at, job=second.job, gathers_at=earlier)
    first.refresh_from_db()
    assert (states(first, at), states(second, at)) == (
        {"to_fetch": 2, "taken": 4},
        {"to_fetch": 6},
    )
    assert first.version > before


def test_what_nobody_has_is_missing_and_what_the_grinder_has_is_out(shop, crew, at):
    shop.bin("Near", 1)
    away = shop.world.place("Outside grinder", kind="grinder")
    shop.world.stock(shop.spacer, away, 2)
    shop.bin("Quarantine", 1, condition="hold")
    shop.bin("Scrap bin", 1, condition="cracked")
    kit = shop.kit(crew)
    assert states(kit, at) == {"to_fetch": 1, "out": 2, "held": 1, "worn": 1, "missing": 1}
    missing = spacers(kit, at)[-1]
    assert missing.reason == ("Only 5 of the 6 SP still wanted are in the shop. Make or buy 1.")


def test_a_customers_spacers_serve_its_own_jobs_first_and_no_others(shop, crew, at):
    quill = Owner.objects.create(code="QUIL", name="Quill")
    theirs = shop.bin("Quill's", 4, owner=quill, walking_order=5)
    ours = shop.bin("Ours", 8)
    own = shop.kit(crew, number="J1", in_hours=24, customer=quill)
    other = shop.kit(crew, number="J2", in_hours=26)
    assert [v.stock for v in spacers(own, at)] == [ours.code] * 2 + [theirs.code] * 4
    assert states(other, at) == {"to_fetch": 6}
    assert {v.stock for v in spacers(other, at)} == {ours.code}
    StockLine.objects.filter(pk=ours.pk).update(count=5)
    assert states(other, at) == {"to_fetch": 3, "taken": 2, "held": 1}


def test_staging_binds_to_the_bin_that_gave_and_the_kit_is_complete(shop, crew, attendant, at):
    near, far = shop.bin("Near", 4), shop.bin("Far", 4, walking_order=9)
    kit = shop.gathered(crew, "J1", 10)
    shop.fetch(attendant, kit, near, 4)
    shop.fetch(attendant, kit, far, 2)
    rows = kit.positions.filter(drawing=shop.spacer).order_by("order")
    assert [row.stock_line for row in rows] == [near] * 4 + [far] * 2
    assert states(kit, at) == {"here": 6}
    assert differences() == []


def test_a_bin_chosen_by_hand_gives_as_far_as_it_goes(shop, crew, at):
    near, far = shop.bin("Near", 9), shop.bin("Far", 1, walking_order=9)
    kit = shop.kit(crew)
    for order in (2, 3):
        position = kit.positions.get(pass_number=1, shaft="top", order=order)
        kits.choose(by=crew, at=at, kit=kit, position=position, line=far)
    assert [v.stock for v in spacers(kit, at)] == [far.code] + [near.code] * 5
    kits.release(by=crew, at=at, kit=kit, position=position)
    assert states(kit, at) == {"to_fetch": 6}


def test_a_drawing_in_no_bin_at_all_is_missing(shop, crew, at):
    seen = spacers(shop.kit(crew), at)
    assert {v.state.value for v in seen} == {"missing"}
    assert "no SP was free" in seen[0].reason


def test_the_queries_do_not_grow_with_bins_and_kits(shop, crew, at, django_assert_max_num_queries):
    for n in range(30):
        shop.bin(f"Bin {n}", 3, walking_order=n)
    kit = shop.kit(crew)
    for n in range(5):
        shop.kit(crew, number=f"J{n + 2}", in_hours=20 + n)
    with django_assert_max_num_queries(13):
        kit_page(kit.number, at=at)
    with django_assert_max_num_queries(13):
        kit_list(at=at)

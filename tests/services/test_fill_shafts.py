"""What shafts of one sort or another are filled with, each in a shop of its own."""

from __future__ import annotations

import pytest

from tests.filling import Filling, assert_inside_windows, spacers_of
from tests.world import MM, World
from tooling.errors import Conflict
from tooling.models import (
    ChartPass,
    DrawingRevision,
    KitPosition,
    Person,
    SetFill,
    SetPass,
    SetPosition,
    SetupChart,
)
from tooling.services import fill_acts, fills

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("stations", "unit"), [(1, "mm"), (2, "in"), (24, "mm")])
def test_every_shaft_is_filled_within_its_windows(
    world: World, crew: Person, stations: int, unit: str
) -> None:
    shop = Filling(world, crew, stations=stations, unit=unit, lengths={20: 100, 100: 100})
    shop.fill()
    assert assert_inside_windows(shop) == 2 * stations
    assert KitPosition.objects.filter(kit=shop.kit).exclude(fill="").count() == 8 * stations


def test_a_kit_that_puts_nothing_on_a_shaft_has_nothing_to_fill(world: World, crew: Person) -> None:
    shop = Filling(world, crew, stations=1)
    KitPosition.objects.filter(shaft="bottom").delete()
    KitPosition.objects.update(shaft="side")
    with pytest.raises(Conflict) as refused:
        shop.fill()
    assert refused.value.code == "nothing_to_fill"


def test_what_one_kit_takes_another_that_runs_at_the_same_time_may_not_have(
    world: World, crew: Person
) -> None:
    shop = Filling(world, crew, stations=1, lengths={20: 7, 100: 7})
    shop.make_in_steps_of(20)
    shop.fill()
    cart = world.place("Cart 2", kind="cart")
    copy = {s: world.piece(p.drawing, shop.rack, mark=f"B{s}") for s, p in shop.pieces.items()}
    world.copy(shop.set, "B", copy)
    shop.cart = cart
    other = shop.open(in_hours=20, number="J2")
    answer = shop.fill(other)
    assert len(answer.lacks) > 0
    assert assert_inside_windows(shop) == 2
    taken = KitPosition.objects.filter(is_open=True, drawing__number="SP-100")
    assert taken.count() <= 7


def test_a_spacer_that_is_not_there_changes_its_own_shaft_alone(world: World, crew: Person) -> None:
    shop = Filling(world, crew, stations=3, lengths={20: 12, 40: 8, 80: 8, 100: 12})
    shop.fill()
    before = shop.stacks()
    row = shop.rows(2, "top")[1]
    fills.not_there(by=crew, at=world.at, kit=shop.kit, position=row)
    shop.fill()
    after = shop.stacks()
    assert [key for key in before if before[key] != after[key]] == [(2, "top")]
    assert assert_inside_windows(shop) == 6
    assert not KitPosition.objects.filter(pk=row.pk).exists()


def test_a_marked_spacer_counts_with_its_own_width(world: World, crew: Person) -> None:
    shop = Filling(world, crew, stations=1, lengths={100: 9})
    drawing = shop.spacer(20)
    widths = (20_010_000, 20_000_000, 19_700_000, 19_800_000)
    for at, width in enumerate(widths):
        world.piece(drawing, shop.rack, mark=f"M{at}", now_face_width_nm=width)
    shop.fill()
    inboard = [row.length_nm for row in spacers_of(shop) if row.piece and row.fill == "inboard"]
    assert sorted(inboard) == [20_000_000, 20_010_000]
    assert assert_inside_windows(shop) == 2


def test_a_middle_fill_of_the_set_is_filled_between_its_rolls(world: World, crew: Person) -> None:
    shop = Filling(world, crew, stations=1, lengths={10: 9, 20: 20, 100: 9}, opened=False)
    roll = shop.pieces[1, "top", 1].drawing
    set_pass = SetPass.objects.get()
    SetPosition.objects.create(set_pass=set_pass, shaft="top", order=2, drawing=roll)
    SetFill.objects.create(set_pass=set_pass, shaft="top", after_order=1, length_nm=10 * MM)
    world.piece(roll, shop.rack, mark="second")
    shop.kit = shop.open()
    answer = shop.fill()
    assert not answer.lacks
    stack = [(fill, nm // MM) for fill, nm in shop.stacks()[1, "top"]]
    assert stack[2:5] == [("", 60), ("middle", 10), ("", 60)]
    assert sum(nm for _fill, nm in stack) == 300


def test_for_the_other_hand_the_stack_is_right_as_it_is_mounted(world: World, crew: Person) -> None:
    shop = Filling(world, crew, stations=1, lengths={10: 30, 20: 30, 100: 30})
    DrawingRevision.objects.filter(drawing__number="R").update(guide_offset_nm=20 * MM)
    SetupChart.objects.update(is_turned=True)
    assert not shop.fill().lacks
    stack = [(fill, nm // MM) for fill, nm in shop.stacks()[1, "top"]]
    assert sum(nm for fill, nm in stack if fill == "inboard") == 110
    assert sum(nm for _fill, nm in stack) == 300


@pytest.mark.parametrize(("gap_mm", "lacking"), [(3.5, set()), (1.5, {"top"})])
def test_a_roll_that_reaches_over_a_fill_lets_only_spacers_stand_that_clear_it(
    world: World, crew: Person, gap_mm: float, lacking: set[str]
) -> None:
    """The bottom roll is 80 wide and 150 across, the top 60 wide; 117.5 each at the gap point. A
    spacer over the bottom's ends may be 2 (117.5 + g) − 150 across: 92 or 88. Ours are 90."""
    shop = Filling(world, crew, stations=1, lengths={10: 9, 100: 9, 20: 9})
    DrawingRevision.objects.filter(drawing__number="R").update(outside_diameter_nm=150 * MM)
    bottom = shop.pieces[1, "bottom", 1]
    bottom.now_face_width_nm, bottom.now_guide_offset_nm = 80 * MM, 40 * MM
    bottom.save()
    SetPosition.objects.update(gap_diameter_nm=117_500_000)
    ChartPass.objects.update(gap_nm=round(gap_mm * MM))
    answer = shop.fill()
    assert {each.shaft for each in answer.lacks} == lacking
    if lacking:
        with pytest.raises(Conflict, match="spacer_does_not_suit"):
            fill_acts.by_hand(by=crew, at=world.at, kit=shop.kit, station=1, shaft="top",
                              fill="outboard", text="100 + 20")  # fmt: skip

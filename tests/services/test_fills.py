"""Filling the shafts of a kit: spacers become positions, are taken at once, and follow the kit."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection

from tests.filling import Filling, assert_inside_windows, spacers_of
from tests.standing import Standing
from tests.world import MM, World, make_person
from tooling.engineering.stacks.engine import solve_stacks
from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import (
    Change,
    Kit,
    KitFill,
    Movement,
    Person,
    Role,
    SetPass,
    Setting,
    Setup,
)
from tooling.queries.fill_page import fill_page
from tooling.queries.fill_problem import fill_problem
from tooling.queries.kits import find_kit, kit_rows
from tooling.services import fill_acts, fills, kits, mounting, setups, stock
from tooling.services.fill_bins import Really
from tooling.services.movements import move_pieces
from tooling.services.rebuild import differences
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_shop(standing_world: World, standing_cast: dict[str, Person]) -> Filling:
    crew, lengths = standing_cast["crew"], {20: 30, 50: 6, 100: 30}
    return Filling(standing_world, crew, stations=2, lengths=lengths)


@pytest.fixture
def shop(standing: Standing, standing_shop: Filling) -> Filling:
    return standing.copy(standing_shop)


def test_the_rows_of_a_shaft_are_numbered_from_the_shoulder(shop: Filling) -> None:
    shop.fill()
    rows = shop.rows(1, "top")
    assert [row.order for row in rows] == [1, 2, 3, 4, 5]
    assert [row.fill for row in rows] == ["inboard", "inboard", "", "outboard", "outboard"]
    assert all(row.set_position is None for row in rows if row.fill)


def test_a_station_keeps_its_pass_s_name_when_a_spacer_is_first_on_its_shaft(shop: Filling) -> None:
    SetPass.objects.filter(number=1).update(name="Breakdown", gap_point="the web")
    shop.fill()
    assert {(row.pass_name, row.gap_point) for row in kit_rows(find_kit(shop.kit.number))
            if row.pass_number == 1} == {("Breakdown", "the web")}  # type: ignore[attr-defined]  # fmt: skip


def test_stock_that_moves_while_it_is_worked_out_makes_the_answer_stale(shop: Filling) -> None:
    given = fill_problem(find_kit(shop.kit.number), at=shop.world.at)
    answer = solve_stacks(given.problem)
    stock.move(by=shop.by, at=shop.world.at, line=shop.bins[20], quantity=3, to=shop.lost())
    with pytest.raises(Conflict) as refused:
        fills.write_answer(by=shop.by, at=shop.world.at, given=given, answer=answer)
    assert refused.value.code == "stale_plan"
    assert not spacers_of(shop)


def test_a_roll_that_is_staged_meanwhile_does_not_make_it_stale(shop: Filling) -> None:
    given = fill_problem(find_kit(shop.kit.number), at=shop.world.at)
    answer = solve_stacks(given.problem)
    moved = [shop.pieces[1, "top", 1]]
    move_pieces(by=shop.by, at=shop.world.at, pieces=moved, to=shop.cart)
    fills.write_answer(by=shop.by, at=shop.world.at, given=given, answer=answer)
    assert len(spacers_of(shop)) == 16


def test_nothing_is_saved_when_the_history_row_cannot_be(
    shop: Filling, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: object, **fields: object) -> None:
        raise RuntimeError("no history")

    monkeypatch.setattr(Change.objects, "create", broken)
    with pytest.raises(RuntimeError):
        shop.fill()
    assert not spacers_of(shop)
    assert not KitFill.objects.exists()


def test_who_may_only_look_fills_nothing(shop: Filling, viewer: Person) -> None:
    with pytest.raises(NotAllowed):
        fills.ask_fill(by=viewer, at=shop.world.at, kit=shop.kit)
    with pytest.raises(NotAllowed):
        fills.clear(by=viewer, at=shop.world.at, kit=shop.kit)


def test_a_second_tap_gives_the_same_task(shop: Filling) -> None:
    ways = {"by": shop.by, "at": shop.world.at, "kit": shop.kit}
    assert fills.ask_fill(**ways) == fills.ask_fill(**ways)


def test_solving_again_changes_nothing_while_nothing_else_did(shop: Filling) -> None:
    shop.fill()
    before = [row.pk for row in spacers_of(shop)]
    shop.fill()
    assert [row.pk for row in spacers_of(shop)] == before


def test_other_rolls_that_the_stack_does_not_suit_take_its_spacers_out(shop: Filling) -> None:
    shop.fill()
    wide = shop.world.piece(
        shop.pieces[1, "top", 1].drawing, shop.rack, mark="wide", now_face_width_nm=61 * MM
    )
    position = shop.rows(1, "top")[2]
    kits.choose(by=shop.by, at=shop.world.at, kit=shop.kit, position=position, piece=wide)
    assert [row.fill for row in shop.rows(1, "top")] == [""]
    assert KitFill.objects.get().said["struck"] == [[1, "top"]]
    assert len(spacers_of(shop)) == 12


def test_assembling_again_neither_loses_nor_doubles_the_spacers(shop: Filling) -> None:
    shop.fill()
    before = [row.pk for row in spacers_of(shop)]
    kits.assemble(by=shop.by, at=shop.world.at, kit=shop.kit)
    assert [row.pk for row in spacers_of(shop)] == before


def test_spacers_are_staged_by_count_and_the_ledger_agrees(shop: Filling) -> None:
    shop.fill()
    move_pieces(by=shop.by, at=shop.world.at, pieces=shop.pieces.values(), to=shop.cart)
    for length in (20, 100):
        stock.move(by=shop.by, at=shop.world.at, line=shop.bins[length], quantity=8, to=shop.cart)
    shop.kit.refresh_from_db()
    assert shop.kit.state == "staged"
    assert differences() == []
    shop.fill()
    assert Kit.objects.get(pk=shop.kit.pk).state == "staged"


def test_a_pinned_fill_stays_when_the_rest_is_solved_again(shop: Filling) -> None:
    way = {"by": shop.by, "at": shop.world.at, "kit": shop.kit}
    fill_acts.by_hand(**way, station=1, shaft="top", fill="inboard", text="50 + 50 + 20 mm")
    shop.fill()
    stack = shop.stacks()[1, "top"]
    assert [nm // MM for fill, nm in stack if fill == "inboard"] == [50, 50, 20]
    assert assert_inside_windows(shop) == 4


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("100", "outside_window"),
        ("33", "no_such_spacer"),
        ("50 + 50 + 50 + 50 + 50 + 50 + 50", "spacers_not_enough"),
        ("SP-9", "spacer_does_not_suit"),
        ("0.1 + 100 + 20", "shims_not_allowed"),
    ],
)
def test_a_stack_by_hand_is_held_to_the_same_rules(shop: Filling, text: str, code: str) -> None:
    shop.bin(0.1, 9, kind="shim")
    shop.bin(9, 9, bore_nm=40 * MM)
    shop.fill()
    with pytest.raises(ToolingError) as refused:
        fill_acts.by_hand(
            by=shop.by, at=shop.world.at, kit=shop.kit, station=1, shaft="top", fill="inboard",
            text=text,
        )  # fmt: skip
    assert refused.value.code == code


def test_closing_the_kit_lets_its_spacers_go(shop: Filling) -> None:
    shop.fill()
    kits.close(by=shop.by, at=shop.world.at, kit=shop.kit, reason="the job is off")
    assert not any(row.is_open for row in spacers_of(shop))
    assert differences() == []


def test_taking_all_out_leaves_the_kit_as_it_was(shop: Filling) -> None:
    shop.fill()
    assert fills.clear(by=shop.by, at=shop.world.at, kit=shop.kit) == 16
    assert [row.order for row in shop.rows(1, "top")] == [1]


def test_a_spacer_too_small_for_the_seat_that_a_shop_wants_is_not_taken(shop: Filling) -> None:
    Setting.objects.create(name="spacer_seat", value=30 * MM)  # Ø 90 on a shaft of 60
    assert not shop.fill().lacks
    Setting.objects.update(value=31 * MM)
    way = {"by": shop.by, "at": shop.world.at, "kit": shop.kit}
    with pytest.raises(Conflict) as refused:
        fill_acts.by_hand(**way, station=1, shaft="top", fill="inboard", text="100 + 20")
    assert refused.value.code == "spacer_does_not_suit"
    assert "seat" in refused.value.message
    assert shop.fill().lacks
    assert not spacers_of(shop)


def mounted_station(shop: Filling) -> Setup:
    """Station 1 with its fills is really on the mill, moved there from the cart."""
    way = {"by": shop.by, "at": shop.world.at}
    move_pieces(**way, pieces=shop.pieces.values(), to=shop.cart)
    for length in (20, 100):
        stock.move(**way, line=shop.bins[length], quantity=8, to=shop.cart)
    setup = setups.start_setup(**way, kit=shop.kit)
    for shaft in ("top", "bottom"):
        mounting.mount(**way, setup=setup, station=1, shaft=shaft)
    return setup


def test_what_is_mounted_stays_however_the_rest_is_solved_again(shop: Filling) -> None:
    shop.fill()
    mounted_station(shop)
    before = {key: [row.pk for row in shop.rows(*key)] for key in shop.stacks()}
    lost = next(row for row in shop.rows(2, "top") if row.length_nm == 100 * MM)
    fills.not_there(by=shop.by, at=shop.world.at, kit=shop.kit, position=lost)
    shop.fill()
    after = {key: [row.pk for row in shop.rows(*key)] for key in shop.stacks()}
    assert [key for key in before if before[key] != after[key]] == [(2, "top")]
    assert assert_inside_windows(shop) == 4
    assert differences() == []
    way = {"by": shop.by, "at": shop.world.at, "kit": shop.kit}
    row = shop.rows(1, "top")[0]
    for act in (
        lambda: fills.not_there(**way, position=row),
        lambda: fills.clear(**way, station=1, shaft="top"),
        lambda: fill_acts.swap(**way, position=row, code="50"),
        lambda: fill_acts.by_hand(**way, station=1, shaft="top", fill="inboard", text="100 + 20"),
    ):
        with pytest.raises(Conflict, match="shaft_mounted"):
            act()


def test_taken_off_again_a_shaft_may_be_solved_anew(shop: Filling) -> None:
    shop.fill()
    setup = mounted_station(shop)
    way = {"by": shop.by, "at": shop.world.at}
    mounting.take_back(**way, setup=setup, station=1, shaft="top")
    assert fills.clear(**way, kit=shop.kit) == 12, "the three shafts that are not on"
    shop.fill()
    assert assert_inside_windows(shop) == 4


def test_stock_that_moves_under_the_worker_ends_its_task_as_stale(shop: Filling) -> None:
    """The first beat of the work is written to the task; in that very moment somebody moves
    spacers away."""
    task = fills.ask_fill(by=shop.by, at=shop.world.at, kit=shop.kit)
    moved: list[object] = []

    def somebody(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        answer = execute(sql, params, many, context)
        if not moved and "UPDATE" in sql and "choosing spacers" in str(params):
            moved.append(sql)
            stock.move(by=shop.by, at=shop.world.at, line=shop.bins[20], quantity=3,
                       to=shop.lost())  # fmt: skip
        return answer

    with connection.execute_wrapper(somebody):
        assert work_once(HANDLERS)
    assert moved
    task.refresh_from_db()
    assert (task.state, task.result["code"]) == ("stale", "stale_plan")
    assert "changed" in task.message
    assert not spacers_of(shop)
    assert fill_page(shop.kit.number).task.state == "stale"
    fills.ask_fill(by=shop.by, at=shop.world.at, kit=shop.kit)
    assert work_once(HANDLERS)
    assert assert_inside_windows(shop) == 4


@pytest.mark.parametrize(("role", "what"), [(Role.CREW, "use_up"), (Role.ATTENDANT, "count")])
def test_not_there_puts_the_count_of_its_bin_right(shop: Filling, role: Role, what: str) -> None:
    shop.fill()
    row, line = shop.rows(1, "top")[0], shop.bins[100]
    assert row.drawing_id == line.drawing_id
    person = make_person("sam", role)
    way = {"by": person, "at": shop.world.at, "kit": shop.kit, "position": row}
    version = Kit.objects.get(pk=shop.kit.pk).version
    fills.not_there(**way, really=Really(line, 7))
    line.refresh_from_db()
    assert line.count == 7
    assert Movement.objects.latest("pk").what == what
    assert Kit.objects.get(pk=shop.kit.pk).version > version
    assert differences() == []
    fills.not_there(**way, really=Really(line, 9))
    line.refresh_from_db()
    assert line.count == 7, "the record has no more than that"
    for really, code in ((Really(shop.bins[20], 0), "other_stock"),
                         (Really(line, -1), "absurd_quantity")):  # fmt: skip
        with pytest.raises(ToolingError, match=code):
            fills.not_there(**way, really=really)

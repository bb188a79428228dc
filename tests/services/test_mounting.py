"""A shaft is on: its pieces and counts stand at the station, the word is on record; what is wrong
or not here is refused by name."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest

from tests.setting_up import SettingUp
from tests.standing import Standing
from tests.world import World, make_person
from tooling.errors import NotAllowed, ToolingError
from tooling.models import (
    Condition,
    Kit,
    Movement,
    Person,
    Piece,
    Role,
    Setup,
    ShaftMount,
)
from tooling.queries.shaft_states import shaft_states
from tooling.services import kits, mounting, mounting_instead, setups
from tooling.services.movements import move_pieces
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture(scope="module")
def standing_shop(standing_world: World, standing_cast: dict[str, Person]) -> SettingUp:
    return SettingUp(standing_world, standing_cast["crew"])


@pytest.fixture
def shop(standing: Standing, standing_shop: SettingUp) -> SettingUp:
    return standing.copy(standing_shop)


@pytest.fixture
def setup(shop: SettingUp) -> Setup:
    return shop.start()


def mount(shop: SettingUp, setup: Setup, station: int = 1, shaft: str = "top", **more: Any) -> Any:
    way = {"by": shop.by, "at": shop.world.at + MINUTE, **more}
    return mounting.mount(setup=setup, station=station, shaft=shaft, **way)


def refused(shop: SettingUp, setup: Setup, *args: Any, **more: Any) -> ToolingError:
    """What mounting is refused with; nothing may have been saved."""
    before = (Movement.objects.count(), ShaftMount.objects.count())
    with pytest.raises(ToolingError) as caught:
        mount(shop, setup, *args, **more)
    assert (Movement.objects.count(), ShaftMount.objects.count()) == before
    return caught.value


def test_one_tap_puts_the_whole_shaft_on(shop: SettingUp, setup: Setup) -> None:
    version = Kit.objects.get(pk=shop.kit.pk).version
    row = mount(shop, setup)
    place = shop.station(1).place
    assert {each.piece.place_id for each in shop.rows(1, "top") if each.piece} == {place.pk}
    assert (shop.at_station(1), shop.in_cart()) == (1, 3)
    assert (row.what, row.checked, row.by) == ("mounted", "", shop.by)
    assert Kit.objects.get(pk=shop.kit.pk).version > version
    assert Movement.objects.filter(scan=row.scan).count() == 3


def test_what_is_mounted_stays_here_for_its_kit(shop: SettingUp, setup: Setup) -> None:
    for station in (1, 2):
        for shaft in ("top", "bottom"):
            mount(shop, setup, station, shaft)
    shop.kit.refresh_from_db()
    assert shop.kit.state == "staged"
    assert not shop.kit.positions.filter(is_staged=False).exists()
    assert differences() == []


def test_the_scan_of_the_station_is_on_record(shop: SettingUp, setup: Setup) -> None:
    assert mount(shop, setup, codes=[shop.station(1).code]).checked == "station"


def test_another_stations_label_is_refused(shop: SettingUp, setup: Setup) -> None:
    error = refused(shop, setup, codes=[shop.station(2).code])
    assert (error.code, "station 2" in error.message) == ("wrong_pass", True)


@pytest.mark.parametrize(
    ("spot", "code"),
    [((2, "top", 1), "wrong_pass"), ((1, "bottom", 1), "wrong_shaft")],
)
def test_a_roll_of_elsewhere_says_where_it_belongs_and_what_was_wanted(
    shop: SettingUp, setup: Setup, spot: Any, code: str
) -> None:
    error = refused(shop, setup, codes=[shop.code(*spot)])
    assert error.code == code
    for said in (shop.pieces[spot].mark, f"station {spot[0]}", "1-t1", "Cart"):
        assert said in error.message


def test_a_roll_of_no_kit_says_where_it_belongs(shop: SettingUp, setup: Setup) -> None:
    stranger = shop.world.piece(shop.rolls["top"], shop.rack, mark="X-9")
    error = refused(shop, setup, codes=[stranger.code])
    assert error.code == "wrong_position"
    assert "Rack" in error.message
    assert "1-t1" in error.message


def test_a_roll_of_another_kit_is_taken(shop: SettingUp, setup: Setup) -> None:
    other = SettingUp(shop.world, shop.by, prefix="B")
    assert refused(shop, setup, codes=[other.code(1, "top", 1)]).code == "piece_taken"


def test_a_held_roll_is_refused_scanned_or_not(shop: SettingUp, setup: Setup) -> None:
    Piece.objects.filter(pk=shop.pieces[1, "top", 3].pk).update(
        condition=Condition.HOLD, hold_reason="chipped"
    )
    assert refused(shop, setup).code == "piece_held"
    assert refused(shop, setup, codes=[shop.code(1, "top", 3)]).code == "piece_held"


def test_a_level_of_shafts_wants_one_roll_scanned(shop: SettingUp) -> None:
    setup = shop.start(check_level="shaft")
    error = refused(shop, setup)
    assert (error.code, "1-t1" in error.message) == ("scan_wanted", True)
    assert mount(shop, setup, codes=[shop.code(1, "top", 3)]).checked == "shaft"


def test_a_level_of_rolls_wants_every_roll_in_order(shop: SettingUp) -> None:
    setup = shop.start(check_level="roll")
    first, last = shop.code(1, "top", 1), shop.code(1, "top", 3)
    assert refused(shop, setup, codes=[last, first]).code == "wrong_position"
    assert refused(shop, setup, codes=[first]).code == "scan_wanted"
    row = mount(shop, setup, codes=[first, first, last])
    assert row.checked == "roll"
    assert Movement.objects.filter(scan=row.scan, piece__isnull=False, sees=True).count() == 2


@pytest.mark.parametrize("level", ["station", "shaft"])
def test_rolls_scanned_against_their_order_are_refused_though_not_all_must_be(
    shop: SettingUp, level: str
) -> None:
    setup = shop.start(check_level=level)
    first, last = shop.code(1, "top", 1), shop.code(1, "top", 3)
    error = refused(shop, setup, codes=[last, first])
    assert (error.code, "1-t1" in error.message) == ("wrong_position", True)
    assert not ShaftMount.objects.exists()
    assert mount(shop, setup, codes=[last]).checked == "shaft"
    assert mount(shop, setup, shaft="bottom", codes=[
        shop.code(1, "bottom", 1), shop.code(1, "bottom", 3)
    ]).checked == "roll"  # fmt: skip


def test_a_typed_mark_is_as_good_as_a_label(shop: SettingUp) -> None:
    setup = shop.start(check_level="shaft")
    assert mount(shop, setup, codes=["1-t1"]).checked == "shaft"


def test_what_is_not_here_is_named_and_refused(shop: SettingUp, setup: Setup) -> None:
    move_pieces(by=shop.by, at=shop.world.at, pieces=[shop.pieces[1, "top", 3]], to=shop.rack)
    error = refused(shop, setup)
    assert (error.code, error.values["orders"]) == ("not_here", "3")
    assert "1-t3" in error.message
    assert "Rack" in error.message


def test_a_missing_spacer_is_left_out_with_a_reason(world: World, crew: Person) -> None:
    shop = SettingUp(world, crew, staged=False, prefix="B")
    move_pieces(by=crew, at=world.at, pieces=shop.pieces.values(), to=shop.cart)
    setup = shop.start()
    assert refused(shop, setup).code == "not_here"
    assert refused(shop, setup, left_out={2: " "}).code == "empty_text"
    row = mount(shop, setup, left_out={2: "ran without it before"})
    assert "SP (ran without it before)" in row.note
    assert shop.at_station(1) == 0


def test_not_everything_of_a_shaft_can_be_left_out_one_by_one(
    shop: SettingUp, setup: Setup
) -> None:
    reasons = dict.fromkeys((1, 2, 3), "not needed")
    assert refused(shop, setup, left_out=reasons).code == "all_left_out"
    assert refused(shop, setup, left_out={9: "what"}).code == "unknown_position"


def test_both_shafts_of_a_station_take_their_own_spacers(shop: SettingUp, setup: Setup) -> None:
    mount(shop, setup, 1, "top")
    mount(shop, setup, 1, "bottom")
    assert (shop.at_station(1), shop.in_cart()) == (2, 2)


def test_the_second_to_say_so_is_told_who_did(shop: SettingUp, setup: Setup) -> None:
    mount(shop, setup)
    other = make_person("anders", Role.CREW, name="Anders")
    error = refused(shop, setup, by=other)
    assert (error.code, str(shop.by) in error.message) == ("mounted_already", True)


def test_the_same_tap_sent_twice_counts_once(shop: SettingUp, setup: Setup) -> None:
    key = uuid.uuid4()
    assert mount(shop, setup, id=key).pk == mount(shop, setup, id=key).pk
    assert shop.at_station(1) == 1


def test_another_act_with_the_same_id_is_refused_and_the_first_stands(
    shop: SettingUp, setup: Setup
) -> None:
    key = uuid.uuid4()
    first = mount(shop, setup, id=key)
    way = {"by": shop.by, "at": shop.world.at, "setup": setup, "id": key}
    for act in (
        lambda: mounting.mount(station=1, shaft="bottom", **way),
        lambda: mounting.mount(station=1, shaft="top", left_out={2: "lost"}, **way),
        lambda: mounting.leave_out(station=1, shaft="top", reason="cracked", **way),
    ):
        with pytest.raises(ToolingError) as error:
            act()
        assert error.value.code == "id_reused"
    assert list(ShaftMount.objects.all()) == [first]
    assert shop.at_station(1) == 1


def test_taken_back_everything_is_where_it_was(shop: SettingUp, setup: Setup) -> None:
    mount(shop, setup)
    way = {"by": shop.by, "at": shop.world.at + 2 * MINUTE, "station": 1, "shaft": "top"}
    mounting.take_back(setup=setup, **way)
    assert shaft_states([setup.pk]) == {}
    assert {each.piece.place_id for each in shop.rows(1, "top") if each.piece} == {shop.cart.pk}
    assert (shop.at_station(1), shop.in_cart()) == (0, 4)
    with pytest.raises(ToolingError, match="nothing_to_take_back"):
        mounting.take_back(setup=setup, **way)
    mount(shop, setup)
    assert differences() == []


def test_a_whole_shaft_is_left_out_only_with_a_reason(shop: SettingUp, setup: Setup) -> None:
    way = {"by": shop.by, "at": shop.world.at, "setup": setup, "station": 1, "shaft": "top"}
    with pytest.raises(ToolingError, match="empty_text"):
        mounting.leave_out(reason="", **way)
    row = mounting.leave_out(reason="idle today", **way)
    assert (row.what, row.note) == ("skipped", "idle today")
    assert refused(shop, setup).code == "mounted_already"


def test_a_substitute_needs_a_reason_and_goes_on(shop: SettingUp, setup: Setup) -> None:
    spare = shop.world.piece(shop.rolls["top"], shop.rack, mark="SPARE")
    way = {"by": shop.by, "at": shop.world.at, "setup": setup, "station": 1, "shaft": "top",
           "order": 3, "piece": spare}  # fmt: skip
    with pytest.raises(ToolingError, match="empty_text"):
        mounting_instead.substitute(reason="", **way)
    mounting_instead.substitute(reason="1-t3 is chipped", **way)
    mount(shop, setup, codes=[spare.code])
    spare.refresh_from_db()
    assert spare.place_id == shop.station(1).place_id
    assert shop.rows(1, "top")[2].substitute_reason == "1-t3 is chipped"


def test_a_closed_kit_takes_nothing_more(shop: SettingUp, setup: Setup) -> None:
    kits.close(by=shop.by, at=shop.world.at, kit=shop.kit, reason="off")
    assert refused(shop, setup).code == "kit_closed"


def test_a_struck_setup_takes_nothing_more(shop: SettingUp, setup: Setup) -> None:
    Setup.objects.filter(pk=setup.pk).update(state="struck", struck_at=shop.world.at)
    assert refused(shop, setup).code == "setup_struck"


def test_who_may_not_mount_mounts_nothing(shop: SettingUp, setup: Setup, viewer: Person) -> None:
    with pytest.raises(NotAllowed):
        mount(shop, setup, by=viewer)


def test_no_history_row_no_move(
    shop: SettingUp, setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(**_fields: Any) -> None:
        raise RuntimeError("the disk is gone")

    monkeypatch.setattr(ShaftMount.objects, "create", fail)
    before = Movement.objects.count()
    with pytest.raises(RuntimeError):
        mount(shop, setup)
    assert Movement.objects.count() == before
    assert (shop.at_station(1), shop.in_cart()) == (0, 4)


def test_a_turned_set_goes_on_mirrored(shop: SettingUp) -> None:
    setup = shop.start(check_level="roll", is_turned=True)
    first, last = shop.code(1, "top", 1), shop.code(1, "top", 3)
    error = refused(shop, setup, codes=[first, last])
    assert (error.code, "3 from the shoulder" in error.message) == ("wrong_position", True)
    assert mount(shop, setup, codes=[last, first]).checked == "roll"


def test_built_on_a_plate_and_docked_by_one_move(shop: SettingUp, world: World) -> None:
    plate = world.place("Plate 1", kind="plate")
    setup = shop.start(plate=plate)
    for station in (1, 2):
        for shaft in ("top", "bottom"):
            mount(shop, setup, station, shaft)
    assert shop.kit.positions.filter(piece__place=plate).count() == 8
    assert not shop.kit.positions.filter(is_staged=False).exists()
    before = Movement.objects.count()
    docked = setups.dock(by=shop.by, at=world.at + 2 * MINUTE, setup=setup)
    assert Movement.objects.count() == before + 1
    plate.refresh_from_db()
    assert (docked.docked_at is not None, plate.parent) == (True, shop.mill.place)
    assert not shop.kit.positions.filter(is_staged=False).exists()
    assert differences() == []

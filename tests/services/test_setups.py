"""Starting, docking, the first good part, and a mill that is edited under a kit."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from tests.setting_up import SettingUp
from tests.standing import Standing
from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, ChartState, Kit, Person, Setting, Setup, SetupChart
from tooling.queries.setups import mounted_at
from tooling.services import mills, mounting, proving, setups

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture(scope="module")
def standing_shop(standing_world: World, standing_cast: dict[str, Person]) -> SettingUp:
    return SettingUp(standing_world, standing_cast["crew"], stations=1)


@pytest.fixture
def shop(standing: Standing, standing_shop: SettingUp) -> SettingUp:
    return standing.copy(standing_shop)


def both(shop: SettingUp, setup: Setup) -> None:
    for shaft in ("top", "bottom"):
        mounting.mount(by=shop.by, at=shop.world.at, setup=setup, station=1, shaft=shaft)


def test_a_setup_starts_as_the_mill_and_the_chart_say(shop: SettingUp) -> None:
    Setting.objects.create(name="mount_check_level", value=3, mill=shop.mill)
    SetupChart.objects.update(is_turned=True)
    setup = shop.start()
    assert (setup.check_level, setup.is_turned, setup.chart) == ("roll", True, shop.chart)
    assert Change.objects.filter(subject="Setup", what="started").exists()


def test_a_kit_is_mounted_once_and_a_mill_carries_one(shop: SettingUp, world: World) -> None:
    shop.start()
    with pytest.raises(ToolingError, match="setup_started"):
        shop.start()
    other = SettingUp(world, shop.by, stations=1, prefix="B")
    Kit.objects.get(pk=other.kit.pk).job.__class__.objects.filter(pk=other.kit.job_id).update(
        mill=shop.mill
    )
    with pytest.raises(ToolingError, match="mill_occupied"):
        other.start()
    built = other.start(plate=world.place("Plate 1", kind="plate"))
    with pytest.raises(ToolingError, match="mill_occupied"):
        setups.dock(by=shop.by, at=world.at, setup=built)


def test_only_plates_are_built_on_one_setup_each(shop: SettingUp, world: World) -> None:
    with pytest.raises(ToolingError, match="not_a_plate"):
        shop.start(plate=shop.rack)
    plate = world.place("Plate 1", kind="plate")
    setup = shop.start(plate=plate)
    other = SettingUp(world, shop.by, stations=1, prefix="B")
    with pytest.raises(ToolingError, match="place_taken"):
        other.start(plate=plate)
    with pytest.raises(ToolingError, match="not_docked"):
        setups.say_good(by=shop.by, at=world.at, setup=setup)


def test_who_only_reads_starts_nothing(shop: SettingUp, viewer: Person) -> None:
    with pytest.raises(NotAllowed):
        setups.start_setup(by=viewer, at=shop.world.at, kit=shop.kit)


def test_no_history_row_no_setup(shop: SettingUp, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(**_fields: Any) -> None:
        raise RuntimeError("the disk is gone")

    monkeypatch.setattr(setups, "record_change", broken)
    with pytest.raises(RuntimeError):
        shop.start()
    assert not Setup.objects.exists()


def test_a_good_part_comes_from_a_whole_setup(shop: SettingUp) -> None:
    setup = shop.start()
    way = {"by": shop.by, "at": shop.world.at + MINUTE, "setup": setup}
    with pytest.raises(ToolingError, match="shafts_to_mount"):
        setups.say_good(**way)
    both(shop, setup)
    assert setups.say_good(**way).state == "running"
    assert setups.say_good(**way).good_at == shop.world.at + MINUTE


def test_a_turned_setup_proves_the_chart_as_it_stood(shop: SettingUp, engineer: Person) -> None:
    SetupChart.objects.update(state=ChartState.PROVED)
    setup = shop.start(is_turned=True)
    both(shop, setup)
    with pytest.raises(ToolingError, match="no_good_part"):
        proving.prove_setup(by=engineer, at=shop.world.at, setup=setup)
    setups.say_good(by=shop.by, at=shop.world.at, setup=setup)
    new = shop.pieces[1, "top", 1]
    type(new).objects.filter(pk=new.pk).update(condition="new")
    assert proving.prove_setup(by=engineer, at=shop.world.at, setup=setup) == 1
    shop.chart.refresh_from_db()
    assert (shop.chart.state, shop.chart.is_turned) == ("proved", True)
    with pytest.raises(ToolingError, match="proved_already"):
        proving.prove_setup(by=engineer, at=shop.world.at, setup=setup)


def test_what_a_mounted_stack_rests_on_is_not_edited(shop: SettingUp, engineer: Person) -> None:
    setup = shop.start()
    shaft = shop.station(1).shafts.get(which="top")
    way: dict[str, Any] = {"by": engineer, "at": shop.world.at}
    mills.edit_shaft(shaft=shaft, roll_space_nm=301 * MM, **way)
    both(shop, setup)
    version = Kit.objects.get(pk=shop.kit.pk).version
    with pytest.raises(ToolingError, match="mill_in_use"):
        mills.edit_shaft(shaft=shaft, roll_space_nm=302 * MM, **way)
    with pytest.raises(ToolingError, match="mill_in_use"):
        mills.edit_mill(mill=shop.mill, hand="right", **way)
    mills.edit_shaft(shaft=shop.station(2).shafts.get(which="top"), roll_space_nm=MM, **way)
    mills.edit_shaft(shaft=shaft, end_play_nm=20_000, **way)
    mills.edit_station(station=shop.station(1), vertical_least_nm=141 * MM, **way)
    assert Kit.objects.get(pk=shop.kit.pk).version == version + 3


def test_a_stations_label_finds_the_setup_that_stands_there(shop: SettingUp) -> None:
    code = shop.station(1).code
    assert mounted_at(code) is None
    setup = shop.start()
    assert mounted_at(code.lower()) == (shop.kit.number, 1)
    assert mounted_at(shop.cart.code) is None
    Setup.objects.filter(pk=setup.pk).update(state="running", good_at=shop.world.at)
    assert mounted_at(code) == (shop.kit.number, 1)
    assert mounted_at(code, while_mounting=True) is None
    Setup.objects.filter(pk=setup.pk).update(state="struck", struck_at=shop.world.at)
    assert mounted_at(code) is None

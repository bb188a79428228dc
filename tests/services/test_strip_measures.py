"""The strip as it was measured: what may be said, and what follows it."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest

from tests.setting_up import SettingUp
from tests.standing import Standing
from tests.world import World
from tooling.errors import Conflict, NotAllowed, ToolingError
from tooling.models import ChartPass, Gauge, Job, Kit, Person, Setup, StripMeasure
from tooling.queries.setup_against import against
from tooling.queries.setup_gaps import gaps_page
from tooling.queries.setup_sheet import setup_sheet
from tooling.queries.setup_station import station_answer
from tooling.queries.setups import setup_page
from tooling.services import as_set, mill_care, mounting, setups, strip_measures
from tooling.services.as_set import SetIn

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)
UM = 1_000


@pytest.fixture(scope="module")
def standing_shop(standing_world: World, standing_cast: dict[str, Person]) -> SettingUp:
    """Gaps stand on the strip, planned at 1.5 mm, plus 0.05; feelers with packs."""
    shop = SettingUp(standing_world, standing_cast["crew"], stations=1)
    Job.objects.update(thickness_nm=1_500 * UM)
    ChartPass.objects.update(gap_allowance_nm=50 * UM)
    shop.axis(1, "Top screw", unit="mm", target_nm=2_000 * UM)
    return shop


@pytest.fixture
def shop(standing: Standing, standing_shop: SettingUp) -> SettingUp:
    return standing.copy(standing_shop)


@pytest.fixture
def setup(shop: SettingUp) -> Setup:
    return shop.start()


def measure(shop: SettingUp, setup: Setup, um: int, minutes: int = 1, **more: Any) -> StripMeasure:
    at = shop.world.at + minutes * MINUTE
    return strip_measures.measure_strip(
        **{"by": shop.by, "at": at, "setup": setup, "thickness_nm": um * UM, **more}
    )


def target(setup: Setup) -> int | None:
    return gaps_page(setup.kit.number, 1).gap.target_nm


def test_targets_and_packs_follow_the_newest_measure(shop: SettingUp, setup: Setup) -> None:
    number = setup.kit.number
    assert (target(setup), gaps_page(number, 1).strip.is_measured) == (1_550 * UM, False)
    gauge = Gauge.objects.create(number="MIC-4", name="Micrometer")
    version = Kit.objects.get(pk=setup.kit_id).version
    measure(shop, setup, 1_460, coil=" C-77 ", gauge=gauge)
    measure(shop, setup, 1_480, 2)
    assert target(setup) == 1_530 * UM
    assert station_answer(number, 1).target_nm == 1_530 * UM
    sheet = setup_sheet(number, at=shop.world.at)
    gap = next(each.gap for each in sheet.stations if each.gap)
    assert (gap.target_nm, gap.strip_nm) == (1_530 * UM, 1_480 * UM)
    assert gap.go is not None
    assert sum(gap.go.leaves_nm) <= 1_530 * UM
    strip = setup_page(number).strip
    assert (strip.is_measured, strip.thickness_nm, strip.planned_nm, strip.by) == (
        True, 1_480 * UM, 1_500 * UM, str(shop.by)
    )  # fmt: skip
    assert Kit.objects.get(pk=setup.kit_id).version == version + 2
    (first, _second) = StripMeasure.objects.order_by("pk")
    assert (first.coil, first.gauge) == ("C-77", gauge)


def test_taken_back_the_one_before_holds_again_then_the_plan(shop: SettingUp, setup: Setup) -> None:
    measure(shop, setup, 1_460)
    measure(shop, setup, 1_480, 2)
    way = {"by": shop.by, "at": shop.world.at + 3 * MINUTE, "setup": setup}
    strip_measures.take_measure_back(**way)
    assert target(setup) == 1_510 * UM
    strip_measures.take_measure_back(**way)
    assert target(setup) == 1_550 * UM
    with pytest.raises(Conflict) as error:
        strip_measures.take_measure_back(**way)
    assert error.value.code == "nothing_to_take_back"


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"thickness_nm": 0}, "improbable_value", "thickness_nm"),
        ({"thickness_nm": -1_500 * UM}, "improbable_value", "thickness_nm"),
        ({"thickness_nm": 40_000 * UM}, "improbable_value", "thickness_nm"),
        ({"thickness_nm": 1_500 * UM, "width_nm": -1}, "improbable_value", "width_nm"),
        ({"thickness_nm": 1_500 * UM, "coil": "x" * 61}, "long_text", "coil"),
        ({"thickness_nm": 59 * UM}, "improbable_value", "thickness_nm"),  # 0.059 in meant
        ({"thickness_nm": 1_800 * UM}, "improbable_value", "thickness_nm"),
    ],
)
def test_what_cannot_be_or_hardly_is_is_not_saved(
    shop: SettingUp, setup: Setup, fields: dict[str, Any], code: str, field: str
) -> None:
    with pytest.raises(ToolingError) as error:
        measure(shop, setup, 1_500, **fields)
    assert (error.value.code, error.value.values["in_field"]) == (code, field)
    assert not StripMeasure.objects.exists()


def test_far_from_plan_is_right_when_somebody_is_sure(shop: SettingUp, setup: Setup) -> None:
    measure(shop, setup, 1_800, sure=True)
    assert target(setup) == 1_850 * UM


def test_the_same_sent_twice_counts_once_and_another_is_refused(
    shop: SettingUp, setup: Setup, viewer: Person
) -> None:
    key = uuid.uuid4()
    assert measure(shop, setup, 1_480, id=key) == measure(shop, setup, 1_480, id=key)
    with pytest.raises(ToolingError, match="id_reused"):
        measure(shop, setup, 1_490, id=key)
    with pytest.raises(NotAllowed):
        measure(shop, setup, 1_490, by=viewer)
    Setup.objects.filter(pk=setup.pk).update(state="struck", struck_at=shop.world.at)
    with pytest.raises(ToolingError, match="setup_struck"):
        measure(shop, setup, 1_490)
    assert StripMeasure.objects.count() == 1


@pytest.fixture
def after(shop: SettingUp, setup: Setup) -> Setup:
    """The next setup of the set, when the first ran good on strip measured at 1.46 mm, its screw
    at 2.00 and its gap at 1.51."""
    at, by = shop.world.at, shop.by
    for shaft in ("top", "bottom"):
        mounting.mount(by=by, at=at, setup=setup, station=1, shaft=shaft)
    numbers = [SetIn("inboard", "", 1_510 * UM), SetIn("", "Top screw", 2_000 * UM)]
    as_set.set_numbers(by=by, at=at, setup=setup, station=1, numbers=numbers, method="feeler",
                       is_loaded=False, sure=True)  # fmt: skip
    measure(shop, setup, 1_460, 2)
    setups.say_good(by=by, at=at + 5 * MINUTE, setup=setup)
    measure(shop, setup, 1_600, 9)  # the next coil: the first numbers were not for it
    Setup.objects.update(state="struck", struck_at=at)
    job = shop.world.job(shop.set, shop.mill, number="J2")
    Job.objects.update(thickness_nm=1_500 * UM)
    kit = Kit.objects.create(number=shop.world.code("K"), job=job, assembled_at=at)
    rows = list(shop.kit.positions.order_by("pk"))
    shop.kit.positions.update(is_open=False, holds_piece=False)
    for row in rows:
        row.pk, row.kit, row.holds_piece = None, kit, False
        row.save()
    return setups.start_setup(by=by, at=at + 20 * MINUTE, kit=kit)


def last_numbers(setup: Setup, shop: SettingUp) -> dict[str, Any]:
    sheet = setup_sheet(setup.kit.number, at=shop.world.at)
    station = next(each for each in sheet.stations if each.number == 1)
    return {each.name or each.end: each.last for each in station.settings}


def test_old_numbers_are_translated_from_the_strip_that_ran(shop: SettingUp, after: Setup) -> None:
    """Planned 1.50 now, 1.46 when they were good: 0.04 wider; then as measured."""
    last = last_numbers(after, shop)
    assert (last["inboard"].now_nm, last["Top screw"].now_nm) == (1_550 * UM, 2_040 * UM)
    measure(shop, after, 1_440, 25)
    last = last_numbers(after, shop)
    assert (last["inboard"].now_nm, last["Top screw"].now_nm) == (1_490 * UM, 1_980 * UM)


def test_two_setups_are_compared_by_what_was_measured(shop: SettingUp, after: Setup) -> None:
    measure(shop, after, 1_440, 25)
    numbers = [SetIn("inboard", "", 1_500 * UM), SetIn("", "Top screw", 1_980 * UM)]
    as_set.set_numbers(by=shop.by, at=shop.world.at + 30 * MINUTE, setup=after, station=1,
                       numbers=numbers, method="feeler", is_loaded=False, sure=True)  # fmt: skip
    found = against(after.kit.number, shop.kit.number, at=shop.world.at + 40 * MINUTE)
    said = {each.name or each.end: (each.translated, each.difference) for each in found.numbers}
    assert said == {"inboard": (1_490 * UM, 10 * UM), "Top screw": (1_980 * UM, 0)}
    assert (found.ours.strip_nm, found.theirs.strip_nm) == (1_440 * UM, 1_460 * UM)


def test_a_screw_zeroed_since_strikes_its_old_positions_out(shop: SettingUp, after: Setup) -> None:
    way = {"by": shop.by, "mill": shop.mill}
    assert mill_care.zero_screws(at=shop.world.at + 22 * MINUTE, stations=[1], **way) == 1
    last = last_numbers(after, shop)
    assert [str(each) for each in last["Top screw"].struck] == ["zero_moved"]
    assert last["inboard"].struck == ()
    numbers = [SetIn("", "Top screw", 1_980 * UM)]
    as_set.set_numbers(by=shop.by, at=shop.world.at + 30 * MINUTE, setup=after, station=1,
                       numbers=numbers, sure=True)  # fmt: skip
    found = against(after.kit.number, shop.kit.number, at=shop.world.at + 40 * MINUTE)
    assert "zero" in next(each.why for each in found.numbers if each.name)
    mill_care.take_zero_back(at=shop.world.at + 31 * MINUTE, stations=[1], **way)
    assert last_numbers(after, shop)["Top screw"].struck == ()


def test_a_zero_from_before_the_numbers_strikes_nothing(shop: SettingUp, after: Setup) -> None:
    before = shop.world.at - MINUTE
    mill_care.zero_screws(by=shop.by, at=before, mill=shop.mill, stations=None)
    assert last_numbers(after, shop)["Top screw"].struck == ()

"""What was set: both ends, found in one way; targets, doubts and the last word."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest

from tests.setting_up import SettingUp
from tests.standing import Standing
from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import AsSet, ChartPass, Job, Person, Piece, Setup
from tooling.queries.setup_gaps import gaps_page
from tooling.services import as_set
from tooling.services.as_set import SetIn

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture(scope="module")
def standing_shop(standing_world: World, standing_cast: dict[str, Person]) -> SettingUp:
    return SettingUp(standing_world, standing_cast["crew"], stations=1)


@pytest.fixture
def shop(standing: Standing, standing_shop: SettingUp) -> SettingUp:
    return standing.copy(standing_shop)


@pytest.fixture
def setup(shop: SettingUp) -> Setup:
    return shop.start()


def put(shop: SettingUp, setup: Setup, *numbers: SetIn, **more: Any) -> list[AsSet]:
    way = {"by": shop.by, "at": shop.world.at, "method": "feeler", "is_loaded": False, **more}
    return as_set.set_numbers(setup=setup, station=1, numbers=numbers, **way)


def ends(inboard: int, outboard: int) -> list[SetIn]:
    return [SetIn("inboard", "", inboard), SetIn("outboard", "", outboard)]


def test_the_allowance_stands_on_the_jobs_own_strip(shop: SettingUp, setup: Setup) -> None:
    ChartPass.objects.update(gap_allowance_nm=50_000)
    Job.objects.update(thickness_nm=1_480_000)
    rows = as_set.set_as_target(by=shop.by, at=shop.world.at, setup=Setup.objects.select_related(
        "kit__job", "mill").get(), station=1)  # fmt: skip
    assert {row.value_nm for row in rows} == {1_530_000}


def test_a_gap_found_otherwise_is_not_held_against_the_target(
    shop: SettingUp, setup: Setup
) -> None:
    put(shop, setup, *ends(1_900_000, 1_500_000), method="strip")
    page = gaps_page(shop.kit.number, 1)
    assert [(end.is_compared, end.is_out) for end in page.gap.ends] == [(False, False)] * 2
    put(shop, setup, SetIn("inboard", "", 1_500_000), at=shop.world.at + MINUTE)
    assert gaps_page(shop.kit.number, 1).tilt is None


def test_a_recut_end_is_not_called_a_tilt(shop: SettingUp, setup: Setup) -> None:
    put(shop, setup, *ends(1_500_000, 1_600_000))
    assert gaps_page(shop.kit.number, 1).tilt.is_beyond  # type: ignore[union-attr]
    for shaft in ("top", "bottom"):
        Piece.objects.filter(pk=shop.pieces[1, shaft, 3].pk).update(
            now_drive_diameter_nm=150 * MM - 100_000
        )
    tilt = gaps_page(shop.kit.number, 1).tilt
    assert tilt is not None
    assert (tilt.slope, tilt.wider) == (0, "")


def test_the_last_word_stands_until_it_is_taken_back(shop: SettingUp, setup: Setup) -> None:
    put(shop, setup, *ends(1_500_000, 1_500_000))
    put(shop, setup, SetIn("inboard", "", 1_520_000), at=shop.world.at + MINUTE)
    way = {"by": shop.by, "at": shop.world.at + 2 * MINUTE, "setup": setup, "station": 1}
    assert as_set.take_back(**way) == 1
    assert [end.value_nm for end in gaps_page(shop.kit.number, 1).gap.ends] == [1_500_000] * 2
    assert as_set.take_back(**way) == 2
    with pytest.raises(ToolingError, match="nothing_to_take_back"):
        as_set.take_back(**way)


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (SetIn("inboard", "", -1), "improbable_value"),
        (SetIn("inboard", "", 59_000), "ambiguous_length"),
        (SetIn("inboard", "", 38 * MM), "improbable_value"),
        (SetIn("inboard", "", 59_000, unit_is_written=True), "improbable_value"),
        (SetIn("inboard", "", 20 * MM), "improbable_value"),
        (SetIn("inboard", ""), "nothing_given"),
        (SetIn("inboard", "", None, 2.0, "mm"), "nothing_given"),
        (SetIn("middle", "", MM), "unknown_end"),
    ],
)
def test_what_cannot_be_or_hardly_is_asked_about(
    shop: SettingUp, setup: Setup, number: SetIn, code: str
) -> None:
    with pytest.raises(ToolingError, match=code):
        put(shop, setup, number)
    assert not AsSet.objects.exists()


def test_an_inch_that_reads_like_a_millimetre_is_asked_about_the_other_way(
    shop: SettingUp, setup: Setup
) -> None:
    with pytest.raises(ToolingError, match="ambiguous_length") as caught:
        put(shop, setup, SetIn("inboard", "", 38_100_000, unit="in"))
    assert "1.5 mm" in caught.value.message


def test_without_a_target_only_the_impossible_is_refused(shop: SettingUp, setup: Setup) -> None:
    ChartPass.objects.update(gap_nm=None)
    put(shop, setup, SetIn("inboard", "", 59_000))
    with pytest.raises(ToolingError, match="improbable_value"):
        put(shop, setup, SetIn("inboard", "", 150 * MM))
    with pytest.raises(ToolingError, match="no_target"):
        as_set.set_as_target(by=shop.by, at=shop.world.at, setup=setup, station=1)


def test_a_gap_says_how_it_was_found(shop: SettingUp, setup: Setup) -> None:
    with pytest.raises(ToolingError, match="method_missing"):
        put(shop, setup, *ends(1_500_000, 1_500_000), method="")
    put(shop, setup, SetIn("", "Top screw", None, 2.5, "turns"), method="")


def test_the_same_numbers_sent_twice_count_once(shop: SettingUp, setup: Setup) -> None:
    key = uuid.uuid4()
    for _time in range(2):
        assert len(put(shop, setup, *ends(1_500_000, 1_500_000), id=key)) == 2
    assert AsSet.objects.count() == 2


def test_other_numbers_under_the_same_id_are_refused(shop: SettingUp, setup: Setup) -> None:
    key = uuid.uuid4()
    put(shop, setup, *ends(1_500_000, 1_500_000), id=key)
    same = ends(1_500_000, 1_500_000)
    screw = SetIn("", "Screw", None, 2.5, "turns")
    for numbers in (ends(1_500_000, 1_510_000), same[:1], [*same, screw]):
        with pytest.raises(ToolingError, match="id_reused"):
            put(shop, setup, *numbers, id=key)
    assert AsSet.objects.count() == 2


def test_as_target_sent_again_holds_though_the_target_moved(shop: SettingUp, setup: Setup) -> None:
    way = {"by": shop.by, "at": shop.world.at, "setup": setup, "id": uuid.uuid4()}
    first = as_set.set_as_target(station=1, **way)
    ChartPass.objects.update(gap_nm=1_700_000)
    assert as_set.set_as_target(station=1, **way) == first
    put(shop, setup, *ends(1_490_000, 1_500_000), at=shop.world.at + MINUTE)
    assert as_set.set_as_target(station=1, **way) == first
    assert AsSet.objects.count() == 4


def test_one_bad_end_and_nothing_is_saved(shop: SettingUp, setup: Setup, viewer: Person) -> None:
    with pytest.raises(NotAllowed):
        put(shop, setup, *ends(1_500_000, 1_500_000), by=viewer)
    with pytest.raises(ToolingError, match="no_such_station"):
        as_set.set_numbers(by=shop.by, at=shop.world.at, setup=setup, station=2,
                           numbers=ends(1, 1), method="feeler")  # fmt: skip
    with pytest.raises(ToolingError):
        put(shop, setup, *ends(1_500_000, -5))
    Setup.objects.update(state="struck", struck_at=shop.world.at)
    with pytest.raises(ToolingError, match="setup_struck"):
        put(shop, setup, *ends(1_500_000, 1_500_000))
    assert not AsSet.objects.exists()

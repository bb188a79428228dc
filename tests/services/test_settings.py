"""Settings: defaults, the shop's own, a mill's or a set's own; stock bins; gauges."""

from __future__ import annotations

from datetime import datetime

import pytest

from tests.world import MM, World
from tooling.errors import NotAllowed, ToolingError
from tooling.models import Change, Gauge, Movement, Person, StockLine
from tooling.models.defaults import SETTINGS, SOURCES
from tooling.queries.settings import setting_lengths, setting_value, settings_page
from tooling.services import gauges, settings, stock_lines


def test_every_setting_says_how_sure_its_default_is() -> None:
    assert {declared.source for declared in SETTINGS.values()} <= set(SOURCES)
    assert all(d.least <= d.default <= d.most for d in SETTINGS.values())


def test_the_nearest_value_wins_set_then_mill_then_shop_then_default(
    supervisor: Person, at: datetime, world: World
) -> None:
    mill = world.mill()
    name = "ratio_mismatch_warn"
    assert setting_value(name, mill=mill) == 0.10
    settings.set_setting(by=supervisor, at=at, name=name, value=0.2)
    assert setting_value(name, mill=mill) == 0.2
    settings.set_setting(by=supervisor, at=at, name=name, value=0.3, mill=mill)
    assert (setting_value(name), setting_value(name, mill=mill)) == (0.2, 0.3)
    settings.reset_setting(by=supervisor, at=at, name=name)
    assert (setting_value(name), setting_value(name, mill=mill)) == (0.10, 0.3)


def test_an_inch_record_has_the_inch_default() -> None:
    declared = SETTINGS["wall_at_key_corner_warn"]
    assert (declared.default_for("mm"), declared.default_for("in")) == (6 * MM, 6_350_000)


@pytest.mark.parametrize(
    ("name", "value", "code"),
    [
        ("lift_warn", 0, "setting_out_of_range"),
        ("lift_warn", -5, "setting_out_of_range"),
        ("scan_context_idle", 10.5, "setting_out_of_range"),
        ("wall_at_key_corner_warn", -1, "setting_out_of_range"),
        ("colour", 1, "unknown_setting"),
    ],
)
def test_a_value_out_of_range_is_refused(
    name: str, value: float, code: str, supervisor: Person, at: datetime
) -> None:
    with pytest.raises(ToolingError, match=code):
        settings.set_setting(by=supervisor, at=at, name=name, value=value)


def test_what_holds_for_the_shop_has_no_value_of_a_mills_own(
    supervisor: Person, at: datetime, world: World
) -> None:
    with pytest.raises(ToolingError, match="setting_not_here"):
        settings.set_setting(by=supervisor, at=at, name="lift_warn", value=9, mill=world.mill())


def test_a_changed_setting_is_on_the_page_and_in_the_history(
    supervisor: Person, at: datetime, world: World
) -> None:
    settings.set_setting(by=supervisor, at=at, name="lift_warn", value=12)
    row = next(row for row in settings_page() if row.declared.name == "lift_warn")
    assert (row.value, row.is_default) == (12, False)
    assert Change.objects.get(subject_key="lift_warn").after == {"value": 12, "scope": ""}


def test_only_supervisors_change_settings(engineer: Person, at: datetime) -> None:
    with pytest.raises(NotAllowed):
        settings.set_setting(by=engineer, at=at, name="lift_warn", value=12)


def test_a_bin_is_made_with_what_was_received(
    attendant: Person, at: datetime, world: World
) -> None:
    spacer, place = world.drawing("SP", kind="spacer"), world.place("Drawer")
    where = {"drawing": spacer, "place": place, "owner": world.shop}
    line = stock_lines.create_line(by=attendant, at=at, count=12, least_count=4, **where)
    assert (line.code[0], line.count, line.least_count) == ("B", 12, 4)
    assert Movement.objects.get(stock=line).quantity == 12
    with pytest.raises(ToolingError, match="already_there"):
        stock_lines.create_line(by=attendant, at=at, **where)


@pytest.mark.parametrize("fields", [{"count": -1}, {"least_count": -1}, {"count": 1_000_001}])
def test_a_bin_holds_no_negative_or_absurd_count(
    fields: dict[str, int], attendant: Person, at: datetime, world: World
) -> None:
    where = {"drawing": world.drawing("SP"), "place": world.place("D"), "owner": world.shop}
    with pytest.raises(ToolingError, match="absurd_quantity"):
        stock_lines.create_line(by=attendant, at=at, **where, **fields)
    assert not StockLine.objects.exists()


def test_the_least_to_keep_is_changed_on_record(
    attendant: Person, at: datetime, world: World
) -> None:
    line = world.stock(world.drawing("SP"), world.place("D"), 3)
    stock_lines.set_least(by=attendant, at=at, line=line, least_count=6)
    assert Change.objects.get(subject="StockLine").after == {"least_count": 6}


def test_a_gauge_is_kept_with_what_its_certificate_says(engineer: Person, at: datetime) -> None:
    gauge = gauges.create_gauge(
        by=engineer, at=at, number="MIC-4", name="Micrometer", unit="mm", uncertainty_nm=4_000
    )
    gauges.edit_gauge(by=engineer, at=at, gauge=gauge, uncertainty_nm=5_000)
    assert Gauge.objects.get().uncertainty_nm == 5_000
    with pytest.raises(ToolingError, match="already_there"):
        gauges.create_gauge(by=engineer, at=at, number="mic-4", name="Other")
    with pytest.raises(ToolingError, match="not_positive"):
        gauges.edit_gauge(by=engineer, at=at, gauge=gauge, resolution_nm=0)


def test_several_lengths_are_kept_each_once_in_order_for_the_shop_or_one_mill(
    supervisor: Person, at: datetime, world: World
) -> None:
    mill, name = world.mill(), "feeler_leaves"
    assert setting_lengths(name)[:2] == (50_000, 100_000)
    assert setting_lengths(name, unit="in")[0] == 38_100
    leaves = [300_000, 100_000, 300_000]
    settings.set_setting(by=supervisor, at=at, name=name, value=leaves, mill=mill)
    assert setting_lengths(name, mill=mill) == (100_000, 300_000)
    assert len(setting_lengths(name)) == 20
    with pytest.raises(ToolingError) as refused:
        settings.set_setting(by=supervisor, at=at, name=name, value=[100_000, 11 * MM])
    assert refused.value.code == "setting_out_of_range"

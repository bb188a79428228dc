"""The pages of a setup, as a crew uses them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from tests.setting_up import SettingUp
from tests.standing import Standing
from tests.world import MM, World, make_person
from tooling.models import (
    AsSet,
    Characteristic,
    ChartPass,
    Job,
    Person,
    Role,
    Setup,
    ShaftMount,
)
from tooling.services import as_set, mounting, setups

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture(scope="module")
def standing_shop(standing_world: World, standing_cast: dict[str, Person]) -> SettingUp:
    return SettingUp(standing_world, standing_cast["crew"])


@pytest.fixture
def shop(standing: Standing, standing_shop: SettingUp) -> SettingUp:
    return standing.copy(standing_shop)


@pytest.fixture
def page(log_in: Any, crew: Person) -> Client:
    return log_in(crew)


@pytest.fixture
def setup(shop: SettingUp) -> Setup:
    return shop.start()


@pytest.fixture
def url(shop: SettingUp, setup: Setup) -> str:
    return f"/setups/{shop.kit.number}/"


def text_of(answer: Any) -> str:
    return answer.content.decode()


def test_a_kit_page_leads_to_the_start_and_then_to_the_setup(shop: SettingUp, page: Client) -> None:
    number = shop.kit.number
    assert f"/setups/{number}/start/" in text_of(page.get(f"/kits/{number}/"))
    answer = page.post(f"/setups/{number}/start/", {"is_turned": "yes", "check_level": "roll"})
    assert (answer.status_code, answer["Location"]) == (302, f"/setups/{number}/")
    setup = Setup.objects.get()
    assert (setup.is_turned, setup.check_level) == (True, "roll")
    assert "data-turned" in text_of(page.get(f"/setups/{number}/"))
    assert f'href="/setups/{number}/"' in text_of(page.get(f"/kits/{number}/"))


def test_a_second_kit_on_the_mill_is_told_which_stands_there(
    shop: SettingUp, page: Client, world: World, setup: Setup
) -> None:
    other = SettingUp(world, shop.by, prefix="B")
    other.kit.job.mill = shop.mill
    other.kit.job.save()
    answer = page.post(f"/setups/{other.kit.number}/start/", {"check_level": "roll"})
    assert answer.status_code == 400
    assert 'data-code="mill_occupied"' in text_of(answer)
    assert 'value="roll" selected' in text_of(answer)


def test_a_station_shows_both_stacks_from_the_shoulder(page: Client, url: str) -> None:
    said = text_of(page.get(f"{url}stations/1/"))
    assert said.index("1-t1") < said.index("<b>10 mm</b>") < said.index("1-t3")
    assert said.count("On the shaft<") == 2
    assert "mark outboard" in said


def test_a_tap_mounts_and_a_second_person_is_told(
    page: Client, url: str, shop: SettingUp, setup: Setup
) -> None:
    assert page.post(f"{url}stations/1/top/mount/").status_code == 302
    again = page.post(f"{url}stations/1/top/mount/")
    assert (again.status_code, 'data-code="mounted_already"' in text_of(again)) == (409, True)
    assert str(shop.by) in text_of(again)
    page.post(f"{url}stations/1/top/undo/")
    assert ShaftMount.objects.filter(is_taken_back=True).count() == 1


def test_a_stations_label_leads_there_from_the_scan_page_and_is_on_record(
    page: Client, url: str, shop: SettingUp, setup: Setup
) -> None:
    code = shop.station(2).code
    there = f"{url}stations/2/?at={code}"
    assert page.get(f"/scan/read/?code={code}").json()["go"] == there
    assert page.post("/scan/enter/", {"code": code, "to": ""})["Location"] == there
    assert page.post(f"{url}scan/", {"code": code.lower()})["Location"] == there
    assert f'name="at" value="{code}"' in text_of(page.get(there))
    page.post(f"{url}stations/2/top/mount/", {"at": code})
    assert ShaftMount.objects.get().checked == "station"


def test_a_wrong_roll_says_what_it_is_in_place(page: Client, url: str, shop: SettingUp) -> None:
    said = {"station": "1", "shaft": "top", "code": shop.code(2, "top", 1)}
    answer = page.post(f"{url}scan/", said)
    assert (answer.status_code, 'data-code="wrong_pass"' in text_of(answer)) == (409, True)
    assert "2-t1" in text_of(answer)


def test_scanned_rolls_are_kept_until_the_tap(page: Client, shop: SettingUp, log_in: Any) -> None:
    shop.start(check_level="roll")
    url = f"/setups/{shop.kit.number}/"
    for order in (1, 3):
        page.post(f"{url}scan/", {"station": "1", "shaft": "top", "code": f"1-t{order}"})
    assert text_of(page.get(f"{url}stations/1/")).count('class=" read"') == 2
    assert page.post(f"{url}stations/1/top/mount/").status_code == 302
    assert ShaftMount.objects.get().checked == "roll"


def test_the_code_of_a_sheet_opens_its_live_setup(page: Client, url: str, shop: SettingUp) -> None:
    for code in (shop.kit.number, shop.kit.number.lower()):
        assert page.post(f"{url}scan/", {"code": code})["Location"] == url
    station = page.post(f"{url}scan/", {"code": shop.kit.number, "station": "1"})
    assert station["Location"] == url


def test_a_roll_scanned_on_the_setups_page_leads_to_its_station(
    page: Client, url: str, shop: SettingUp
) -> None:
    answer = page.post(f"{url}scan/", {"code": shop.code(2, "bottom", 1)})
    assert answer["Location"] == f"{url}stations/2/"
    stranger = page.post(f"{url}scan/", {"code": shop.bin.code})
    assert 'data-code="wrong_position"' in text_of(stranger)


def test_what_is_not_here_can_be_left_out_or_replaced(
    page: Client, url: str, shop: SettingUp
) -> None:
    there = f"{url}stations/1/top/without/"
    assert page.get(there).status_code == 200
    refused = page.post(there, {"what": "some", "off": ["2"], "reason": ""})
    assert 'data-code="empty_text"' in text_of(refused)
    page.post(there, {"what": "some", "off": ["2"], "reason": "spacer is lost"})
    assert "spacer is lost" in ShaftMount.objects.get().note
    spare = shop.world.piece(shop.rolls["bottom"], shop.rack, mark="SPARE")
    other = {"what": "other", "order": "1", "code": spare.code, "reason": "chipped"}
    page.post(f"{url}stations/1/bottom/without/", other)
    assert "SPARE" in text_of(page.get(f"{url}stations/1/"))
    page.post(f"{url}stations/2/top/without/", {"what": "all", "reason": "idle"})
    assert ShaftMount.objects.filter(what="skipped", note="idle").exists()
    assert "spacer is lost" in text_of(page.get(url))


def test_polls_say_nothing_until_something_moved(
    page: Client, url: str, shop: SettingUp, setup: Setup
) -> None:
    setup.kit.refresh_from_db()
    version = setup.kit.version
    for live in (f"{url}live/", f"{url}stations/1/live/"):
        assert page.get(f"{live}?v={version}").status_code == 204
    mounting.mount(by=shop.by, at=shop.world.at, setup=setup, station=1, shaft="top")
    for live in (f"{url}live/", f"{url}stations/1/live/"):
        answer = page.get(f"{live}?v={version}")
        assert (answer.status_code, "on the shaft" in text_of(answer)) == (200, True)


def test_as_target_is_one_tap_for_both_ends(page: Client, url: str) -> None:
    page.post(f"{url}stations/1/gaps/", {"as_target": "yes"})
    rows = AsSet.objects.values_list("end", "value_nm", "is_as_target", "method", "is_loaded")
    assert sorted(rows) == [
        ("inboard", 1_500_000, True, "feeler", False),
        ("outboard", 1_500_000, True, "feeler", False),
    ]
    assert 'data-beyond="no"' in text_of(page.get(f"{url}stations/1/gaps/"))


def test_a_tilt_and_a_gap_out_of_its_window_are_told_at_once(page: Client, url: str) -> None:
    said = {"inboard": "1.50", "outboard": "1.62", "method": "feeler", "loaded": "no"}
    page.post(f"{url}stations/1/gaps/", said)
    shown = text_of(page.get(f"{url}stations/1/gaps/"))
    assert 'data-beyond="yes"' in shown
    assert "0.120 per 100, the outboard end stands wider" in shown
    assert shown.count("out of the window") == 1


def test_a_number_that_cannot_be_is_asked_about_and_kept(page: Client, url: str) -> None:
    way = {"method": "feeler", "outboard": "1.5"}
    for typed, code in (("0.059", "ambiguous_length"), ("-1", "improbable_value"),
                        ("9", "improbable_value"), ("abc", "not_a_length")):  # fmt: skip
        answer = page.post(f"{url}stations/1/gaps/", {**way, "inboard": typed})
        assert (answer.status_code, f'data-code="{code}"' in text_of(answer)) == (400, True), typed
        assert f'value="{typed}"' in text_of(answer)
    assert not AsSet.objects.exists()
    page.post(f"{url}stations/1/gaps/", {**way, "inboard": "9", "sure": "on"})
    assert AsSet.objects.filter(value_nm=9 * MM).exists()


def test_other_axes_are_set_beside_the_gap(page: Client, url: str, shop: SettingUp) -> None:
    shop.axis(1, "Entry guide", unit="mm", target_nm=12 * MM)
    shop.axis(1, "Top screw", unit="turns", target=2.5)
    page.post(f"{url}stations/1/gaps/", {"as_target": "yes"})
    assert set(AsSet.objects.values_list("name", flat=True)) == {"", "Entry guide", "Top screw"}
    more = {"method": "feeler", "axis-2": "2.75", "more_name": "Lubricant", "more_value": "3",
            "more_unit": "bar"}  # fmt: skip
    page.post(f"{url}stations/1/gaps/", more)
    assert AsSet.objects.filter(name="Top screw", value=2.75, is_as_target=False).exists()
    assert AsSet.objects.filter(name="Lubricant", value=3, unit="bar").exists()
    page.post(f"{url}stations/1/gaps/undo/")
    assert "Lubricant" not in text_of(page.get(f"{url}stations/1/gaps/"))


def test_the_next_shift_sees_the_handover_large(
    page: Client, url: str, shop: SettingUp, log_in: Any
) -> None:
    page.post(f"{url}stations/1/top/mount/")
    page.post(f"{url}handover/", {"note": "Station 2 top is heavy."})
    mine = text_of(page.get(url))
    assert 'class="handover mine"' in mine
    nights = make_person("nights", Role.CREW)
    theirs = text_of(log_in(nights).get(url))
    assert 'class="handover"' in theirs
    for said in ("Station 2 top is heavy.", "1 of 4 shafts", "1 bottom, 2 top, 2 bottom"):
        assert said in theirs
    page = log_in(nights)
    assert "Station 2 top is heavy." in text_of(page.get(f"{url}stations/1/"))
    page.post(f"{url}stations/1/bottom/mount/")
    assert "Station 2 top is heavy." not in text_of(page.get(f"{url}stations/1/"))


def test_a_running_setup_is_proved_by_its_first_piece(
    page: Client, url: str, shop: SettingUp, setup: Setup, log_in: Any, engineer: Person
) -> None:
    Characteristic.objects.create(tool_set=shop.set, name="Width", least_nm=MM, most_nm=2 * MM)
    for station in (1, 2):
        for shaft in ("top", "bottom"):
            mounting.mount(by=shop.by, at=shop.world.at, setup=setup, station=station, shaft=shaft)
    width = Characteristic.objects.get()
    page.post(f"{url}good/")
    page.post(f"{url}checks/", {f"value-{width.pk}": "2.4"})
    assert "not good" in text_of(page.get(url))
    page = log_in(engineer)
    assert 'data-code="checks_lacking"' in text_of(page.post(f"{url}prove/"))
    page.post(f"{url}checks/", {f"value-{width.pk}": "1.9"})
    assert 'id="prove"' in text_of(page.get(url))
    page.post(f"{url}prove/")
    shop.chart.refresh_from_db()
    assert shop.chart.state == "proved"
    assert "needs proving" not in text_of(page.get(url))


def test_two_setups_stand_beside_each_other(
    page: Client, url: str, shop: SettingUp, setup: Setup, world: World
) -> None:
    as_set.set_as_target(by=shop.by, at=world.at, setup=setup, station=1)
    said = {"setup": setup, "station_number": 1, "shaft": "top", "received_at": world.at}
    for what, note, minutes in (("mounted", "left out: 2 SP", 90), ("taken_off", "", 900)):
        then = world.at + minutes * MINUTE
        ShaftMount.objects.create(what=what, note=note, happened_at=then, **said)
    Setup.objects.filter(pk=setup.pk).update(state="struck", struck_at=world.at)
    shop.kit.job.state = "done"
    shop.kit.job.save()
    job = world.job(shop.set, shop.mill, number="J2")
    kit = type(shop.kit).objects.create(number=world.code("K"), job=job, assembled_at=world.at)
    ChartPass.objects.update(gap_nm=1_550_000)
    row = shop.kit.positions.filter(station_number=1, shaft="top", order=1).get()
    kit.positions.create(set_position=row.set_position, station_number=1, pass_number=1,
                         shaft="top", order=1, drawing=row.drawing)  # fmt: skip
    second = setups.start_setup(by=shop.by, at=world.at, kit=kit)
    as_set.set_as_target(by=shop.by, at=world.at, setup=second, station=1)
    for job in (shop.kit.job, kit.job):
        job.thickness_nm = 1_500_000
        job.save()
    said = text_of(page.get(f"/setups/{kit.number}/against/{shop.kit.number}/"))
    assert "0.05" in said
    assert "1 h 30 min" in said
    assert "left out: 2 SP" in said
    assert f"/against/{shop.kit.number}/" in text_of(page.get(f"/setups/{kit.number}/"))
    assert "J1" in text_of(page.get("/setups/"))


def test_the_strip_is_measured_where_its_gaps_are_set(
    page: Client, url: str, shop: SettingUp, log_in: Any, viewer: Person
) -> None:
    Job.objects.update(thickness_nm=1_500_000)
    ChartPass.objects.update(gap_allowance_nm=50_000)
    for where in (url, f"{url}stations/1/gaps/"):
        assert "Planned thickness, not measured" in text_of(page.get(where))
    far = page.post(f"{url}strip/", {"thickness_nm": "1.2"})
    assert 'data-code="improbable_value"' in text_of(far)
    assert 'value="1.2"' in text_of(far)
    assert 'name="sure"' in text_of(far)
    said = {"thickness_nm": "1.46", "coil": "C-7", "station": "1"}
    answer = page.post(f"{url}strip/", said)
    assert answer["Location"] == f"{url}stations/1/gaps/"
    told = text_of(page.get(answer["Location"]))
    assert 'data-measured="yes"' in told
    assert "1.51 mm" in told
    assert "as measured" in text_of(page.get(f"{url}chart/"))
    page.post(f"{url}strip/undo/")
    assert "Planned thickness, not measured" in text_of(page.get(url))
    assert log_in(viewer).post(f"{url}strip/", said).status_code == 403


def test_screws_are_zeroed_in_one_tap_at_the_station_and_on_the_mills_page(
    page: Client, url: str, shop: SettingUp, log_in: Any, engineer: Person
) -> None:
    mill = f"/mills/{shop.mill.number}/"
    said = {"setup": shop.kit.number, "station": "1"}
    assert page.post(f"{mill}zeroed/", said)["Location"] == f"{url}stations/1/gaps/"
    told = text_of(page.get(f"{url}stations/1/gaps/"))
    assert "Not zeroed after all" in told
    page.post(f"{mill}zeroed/", {**said, "take_back": "yes"})
    assert "Not zeroed after all" not in text_of(page.get(f"{url}stations/1/gaps/"))
    answer = log_in(engineer).post(f"{mill}zeroed/", {"station": ["1", "2"]})
    assert answer["Location"] == f"{mill}care/"
    assert "Screws zeroed" in text_of(log_in(engineer).get(answer["Location"]))

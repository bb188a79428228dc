"""Setups by programs: the same acts as the pages, the same codes for the same mistakes."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from rest_framework.test import APIClient

from tests.setting_up import SettingUp
from tests.standing import Standing
from tests.world import MM, World
from tooling.models import (
    AsSet,
    Characteristic,
    ChartPass,
    Gauge,
    Job,
    Kit,
    Movement,
    Person,
    Setup,
    ShaftMount,
    Station,
    StripMeasure,
)
from tooling.services import kits

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_shop(standing_world: World, standing_cast: dict[str, Person]) -> SettingUp:
    return SettingUp(standing_world, standing_cast["crew"])


@pytest.fixture
def shop(standing: Standing, standing_shop: SettingUp) -> SettingUp:
    return standing.copy(standing_shop)


@pytest.fixture
def client(api_as: Any, crew: Person) -> APIClient:
    return api_as(crew)


@pytest.fixture
def url(shop: SettingUp, client: APIClient) -> str:
    said = {"kit": shop.kit.number, "check_level": "roll"}
    answer = client.post("/api/v1/setups/", said, format="json")
    assert answer.status_code == 201, answer.content
    return f"/api/v1/setups/{shop.kit.number}/"


def mount(client: APIClient, url: str, **said: Any) -> Any:
    body = {"station": 1, "shaft": "top", **said}
    return client.post(f"{url}mounts/", body, format="json")


def rolls(shop: SettingUp, station: int = 1, shaft: str = "top") -> list[str]:
    return [shop.code(station, shaft, order) for order in (1, 3)]


def test_a_setup_is_started_read_and_mounted(shop: SettingUp, client: APIClient, url: str) -> None:
    answer = mount(client, url, codes=rolls(shop))
    assert answer.status_code == 200, answer.content
    told = client.get(url).json()
    first = told["stations"][0]["shafts"][0]
    assert (first["shaft"], first["state"], first["checked"]) == ("top", "mounted", "roll")
    assert told["state"] == "mounting"
    assert client.get("/api/v1/setups/").json()[0]["number"] == shop.kit.number
    stack = client.get(f"{url}stations/1/").json()["shafts"][0]["stack"]
    assert [row["mark"] for row in stack] == ["1-t1", "", "1-t3"]
    assert stack[1]["length_mm"] == "10"


@pytest.mark.parametrize(
    ("spots", "code"),
    [
        ([(2, "top", 1)], "wrong_pass"),
        ([(1, "bottom", 1)], "wrong_shaft"),
        ([(1, "top", 3)], "wrong_position"),
        ([(1, "top", 1)], "scan_wanted"),
    ],
)
def test_the_wrong_scans_are_refused_as_on_the_page(
    shop: SettingUp, client: APIClient, url: str, spots: Any, code: str
) -> None:
    before = Movement.objects.count()
    answer = mount(client, url, codes=[shop.code(*spot) for spot in spots])
    assert (answer.status_code, answer.json()["code"]) == (409, code)
    assert (Movement.objects.count(), ShaftMount.objects.count()) == (before, 0)


def test_another_kits_roll_is_taken_and_a_closed_kit_takes_none(
    shop: SettingUp, client: APIClient, url: str, world: World
) -> None:
    other = SettingUp(world, shop.by, prefix="B")
    assert mount(client, url, codes=[other.code(1, "top", 1)]).json()["code"] == "piece_taken"
    kits.close(by=shop.by, at=world.at, kit=shop.kit, reason="off")
    assert mount(client, url, codes=rolls(shop)).json()["code"] == "kit_closed"


def test_a_substitute_and_what_is_left_out_are_said_in_one(
    shop: SettingUp, client: APIClient, url: str
) -> None:
    spare = shop.world.piece(shop.rolls["top"], shop.rack, mark="SPARE")
    said = {
        "substitutes": [{"order": 3, "code": spare.code, "reason": "chipped"}],
        "left_out": [{"order": 2, "reason": "no spacer"}],
    }
    wrong = mount(client, url, codes=rolls(shop), **said)
    assert wrong.json()["code"] == "wrong_position"
    spare.refresh_from_db()
    assert spare.place == shop.rack
    right = mount(client, url, codes=[shop.code(1, "top", 1), spare.code], **said)
    assert right.status_code == 200, right.content
    assert "no spacer" in ShaftMount.objects.get().note


def test_a_repeat_is_harmless_and_a_mount_is_taken_back(
    shop: SettingUp, client: APIClient, url: str
) -> None:
    key = "5b1f2a9e-0b0f-4b38-9d0a-4e7f5f0f6a01"
    for _time in range(2):
        assert mount(client, url, codes=rolls(shop), id=key).status_code == 200
    assert mount(client, url, codes=rolls(shop)).json()["code"] == "mounted_already"
    assert mount(client, url, what="taken_back").status_code == 200
    assert mount(client, url, what="skipped").json()["code"] == "empty_text"
    assert mount(client, url, what="skipped", reason="idle").status_code == 200


def test_gaps_say_tilt_and_window_in_the_answer(client: APIClient, url: str) -> None:
    numbers = [{"end": "inboard", "value_mm": "1.50"}, {"end": "outboard", "value_mm": "1.62"}]
    body = {"station": 1, "numbers": numbers, "method": "feeler", "loaded": False}
    told = client.post(f"{url}gaps/", body, format="json").json()
    assert told["tilt"]["beyond"] is True
    assert told["tilt"]["how"][0]["formula"].startswith("(outboard − inboard")
    ends = told["settings"][0]["ends"]
    assert [end["out_of_window"] for end in ends] == [False, True]
    assert ends[1]["off_mm"] == "0.12"


@pytest.mark.parametrize(
    ("number", "code"),
    [
        ({"value_mm": "-0.2"}, "improbable_value"),
        ({"value_mm": "900"}, "improbable_value"),
        ({"value_mm": "0.06"}, "ambiguous_length"),
        ({"value_mm": "1.5", "value_in": "0.06"}, "ambiguous_length"),
    ],
)
def test_gaps_that_cannot_be_are_refused(
    client: APIClient, url: str, number: Any, code: str
) -> None:
    body = {"station": 1, "numbers": [{"end": "inboard", **number}], "method": "feeler"}
    assert client.post(f"{url}gaps/", body, format="json").json()["code"] == code
    assert not AsSet.objects.exists()


def test_as_target_and_back(client: APIClient, url: str) -> None:
    body = {"station": 1, "as_target": True}
    told = client.post(f"{url}gaps/", body, format="json").json()
    assert [end["as_target"] for end in told["settings"][0]["ends"]] == [True, True]
    client.post(f"{url}gaps/", {"station": 1, "take_back": True}, format="json")
    assert client.get(f"{url}gaps/").json()[0]["settings"][0]["ends"][0]["value_mm"] is None


def test_first_piece_good_part_and_proof(
    shop: SettingUp, client: APIClient, url: str, api_as: Any, engineer: Person
) -> None:
    Characteristic.objects.create(tool_set=shop.set, name="Width", least_nm=MM, most_nm=2 * MM)
    check = {"checks": [{"characteristic": "Width", "value_mm": "1.5"}], "first_good_part": True}
    early = client.post(f"{url}checks/", check, format="json")
    assert early.json()["code"] == "shafts_to_mount"
    for station in (1, 2):
        for shaft in ("top", "bottom"):
            codes = rolls(shop, station, shaft)
            mount(client, url, station=station, shaft=shaft, codes=codes)
    assert client.post(f"{url}checks/", check, format="json").json()["state"] == "running"
    assert client.post(f"{url}prove/", {}, format="json").status_code == 403
    proved = api_as(engineer).post(f"{url}prove/", {}, format="json")
    assert (proved.status_code, client.get(url).json()["needs_proving"]) == (200, False)


def test_handover_and_dock(shop: SettingUp, client: APIClient, world: World) -> None:
    plate = world.place("Plate 1", kind="plate")
    said = {"kit": shop.kit.number, "plate": plate.code, "turned": True}
    assert client.post("/api/v1/setups/", said, format="json").json()["turned"] is True
    url = f"/api/v1/setups/{shop.kit.number}/"
    told = client.post(f"{url}handover/", {"note": "mind 2"}, format="json").json()
    assert (told["handover"]["note"], told["summary"][0][:11]) == ("mind 2", "0 of 4 shaf")
    back = client.post(f"{url}handover/", {"take_back": True}, format="json").json()
    assert back["handover"] is None
    assert client.post(f"{url}dock/", {}, format="json").json()["docked"] is True
    assert client.post(f"{url}dock/", {}, format="json").json()["code"] == "docked_already"


def test_a_viewer_reads_and_writes_nothing(
    shop: SettingUp, api_as: Any, viewer: Person, url: str
) -> None:
    theirs = api_as(viewer)
    assert theirs.get(url).status_code == 200
    assert theirs.post(f"{url}handover/", {}, format="json").status_code == 403
    assert Setup.objects.get().state == "mounting"


def test_the_strip_is_measured_and_targets_follow(
    shop: SettingUp, client: APIClient, url: str
) -> None:
    ChartPass.objects.update(gap_allowance_nm=50_000)
    Job.objects.update(thickness_nm=1_500_000)
    Gauge.objects.create(number="MIC-4", name="Micrometer")
    told = client.get(f"{url}strip/").json()
    assert (told["measured"], told["thickness_mm"], told["planned_mm"]) == (False, "1.5", "1.5")
    body = {"thickness_in": "0.058", "coil": "C-7", "gauge": "MIC-4"}
    told = client.post(f"{url}strip/", body, format="json").json()
    assert (told["measured"], told["thickness_mm"], told["gauge"]) == (True, "1.4732", "MIC-4")
    gaps = client.get(f"{url}gaps/").json()[0]
    assert (gaps["settings"][0]["target_mm"], gaps["strip"]["coil"]) == ("1.5232", "C-7")
    assert client.get(url).json()["strip"]["measured"] is True
    assert client.get(f"{url}chart/").json()["strip"]["measured"] is True
    client.post(f"{url}strip/", {"take_back": True}, format="json")
    assert client.get(f"{url}strip/").json()["measured"] is False


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        ({}, 400, "nothing_given"),
        ({"thickness_mm": "0"}, 400, "improbable_value"),
        ({"thickness_mm": "-1.5"}, 400, ""),
        ({"thickness_mm": "0.9"}, 400, "improbable_value"),
        ({"thickness_mm": "1.5 in"}, 400, "ambiguous_length"),
        ({"thickness_mm": "1.5", "thickness_in": "0.06"}, 400, "ambiguous_length"),
        ({"thickness_mm": "1.5", "gauge": "NONE"}, 404, "unknown_gauge_number"),
        ({"take_back": True}, 409, "nothing_to_take_back"),
        ({"thickness_mm": "1.5", "thick": 1}, 400, ""),
    ],
)
def test_a_strip_that_cannot_be_is_refused(
    client: APIClient, url: str, body: dict[str, Any], status: int, code: str
) -> None:
    Job.objects.update(thickness_nm=1_500_000)
    answer = client.post(f"{url}strip/", body, format="json")
    assert answer.status_code == status, answer.content
    assert not code or answer.json()["code"] == code
    assert not StripMeasure.objects.exists()


def test_an_id_says_one_thing_only(shop: SettingUp, client: APIClient, url: str) -> None:
    key = str(uuid.uuid4())
    assert mount(client, url, codes=rolls(shop), id=key).status_code == 200
    other = mount(client, url, shaft="bottom", codes=rolls(shop, 1, "bottom"), id=key)
    assert (other.status_code, other.json()["code"]) == (409, "id_reused")
    assert ShaftMount.objects.count() == 1


def test_two_setups_are_compared(
    shop: SettingUp, client: APIClient, url: str, world: World
) -> None:
    client.post(f"{url}gaps/", {"station": 1, "as_target": True}, format="json")
    job = world.job(shop.set, shop.mill, number="J2")
    kit = Kit.objects.create(number=world.code("K"), job=job, assembled_at=world.at)
    mine = f"/api/v1/setups/{kit.number}/"
    plate = world.place("Plate 1", kind="plate")
    for row in list(shop.kit.positions.filter(station_number=1)):
        row.pk, row.kit, row.holds_piece = None, kit, False
        row.save()
    said = {"kit": kit.number, "plate": plate.code}
    assert client.post("/api/v1/setups/", said, format="json").status_code == 201
    numbers = [{"end": "inboard", "value_mm": "1.55"}]
    body = {"station": 1, "numbers": numbers, "method": "feeler", "loaded": False}
    client.post(f"{mine}gaps/", body, format="json")
    Job.objects.update(thickness_nm=1_500_000)
    told = client.get(f"{mine}against/{shop.kit.number}/").json()
    pair = next(each for each in told["numbers"] if each["end"] == "inboard")
    assert (pair["ours"], pair["theirs"], pair["translated"]) == (1.55, 1.5, 1.5)
    assert round(pair["difference"], 6) == 0.05
    same = client.get(f"{mine}against/{kit.number}/")
    assert (same.status_code, same.json()["code"]) == (409, "same_setup")
    assert client.get(f"{mine}against/NONE/").json()["code"] == "unknown_setup"


def test_screws_are_zeroed_and_not_after_all(
    shop: SettingUp, client: APIClient, url: str, api_as: Any, viewer: Person
) -> None:
    mill = f"/api/v1/mills/{shop.mill.number}/zeroed/"
    assert client.post(mill, {"stations": [1, 2]}, format="json").json() == {"changed": 2}
    assert Station.objects.filter(screw_zeroed_at__isnull=False).count() == 2
    assert client.post(mill, {"take_back": True}, format="json").json() == {"changed": 2}
    again = client.post(mill, {"take_back": True}, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "nothing_to_take_back")
    assert client.post(mill, {"stations": [9]}, format="json").json()["code"] == "unknown_station"
    assert client.post(mill, {}, format="json").json() == {"changed": 3}
    assert api_as(viewer).post(mill, {}, format="json").status_code == 403

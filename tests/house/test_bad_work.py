"""Bad input about runs, readings and orders, by page and by API: each is refused with a code of its
own, and every row of every table is as before."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.grinding import Grinding, a_kit, inches
from tests.house.test_bad_input import Api, Pages, everything
from tests.services.mounted import Mounted, mounted
from tests.world import World
from tooling.engineering.lengths import NM_PER_M
from tooling.models import Owner, Person, Piece, RegrindOrder
from tooling.services import regrind_orders, runs, strip_down
from tooling.services.readings import record_reading
from tooling.services.rebuild import differences
from tooling.services.regrind_targets import OrderLineIn
from tooling.services.run_ways import RunIn

pytestmark = pytest.mark.django_db
THIRD = (3, "bottom", 1)
ALONE = (THIRD, (3, "top", 1))
M = NM_PER_M


@dataclass(frozen=True)
class Sent:
    """What is sent to a page and to the API, its code, and what the sentence names."""

    code: str
    named: str
    page: tuple[str, dict[str, Any]]
    api: tuple[str, dict[str, Any]]


class OrderScene:
    """The set of four passes, its order begun some days ago."""

    def __init__(self, world: World, crew: Person, engineer: Person) -> None:
        world.at = timezone.now() - timedelta(days=10)
        self.shop, self.crew, self.by = Grinding(world), crew, engineer
        self.roll = self.shop.pieces[THIRD]
        self.first = self.shop.pieces[1, "top", 1].code

    def order(self, *spots: Any, **more: Any) -> RegrindOrder:
        return self.shop.request(self.by, *spots, **more)

    def ready(self, *spots: Any, marks: bool = True, sizes: Any = None) -> RegrindOrder:
        order, shop = self.order(*spots), self.shop
        shop.send(self.by, order)
        shop.back(self.by, order)
        if sizes is not False:
            shop.read(self.by, order, sizes)
        if marks:
            shop.marks(self.by, order)
        return order

    def measured(self, text: str, code: str, named: str, **more: Any) -> Sent:
        """The roll's drive diameter, by its page and by the API."""
        page = {"dimension": "drive_diameter", "value": f"{text} in"}
        api: dict[str, Any] = {"dimension": "drive_diameter", "value_in": text}
        if "days" in more:
            then = timezone.localtime(self.shop.later(more["days"]))
            page["happened_at"], api["happened_at"] = f"{then:%Y-%m-%dT%H:%M}", then.isoformat()
        if "gauge" in more:
            page["gauge"], api["gauge"] = more["gauge"].pk, more["gauge"].number
        own = self.roll.code
        return Sent(
            code, named, (f"/pieces/{own}/reading/", page), (f"pieces/{own}/readings/", api)
        )

    def release(self, order: RegrindOrder, code: str, named: str) -> Sent:
        number = order.number
        page = f"/regrinds/orders/{number}/release/"
        return Sent(code, named, (page, {}), (f"regrind-orders/{number}/release/", {}))


def while_away(s: OrderScene) -> Sent:
    s.shop.send(s.by, s.order(THIRD))
    return s.measured("6.03", "piece_away", "Alder Grinding")


def before_its_cut(s: OrderScene) -> Sent:
    order = s.order(THIRD, vendor=None)
    s.shop.send(s.by, order)
    s.shop.back(s.by, order, to=None)
    return s.measured("6.03", "before_cut", s.roll.code, days=2)


def in_the_wrong_unit(s: OrderScene) -> Sent:
    """6.04 that is said to be in mm."""
    own, page = s.roll.code, {"dimension": "drive_diameter", "value": "6.04 mm"}
    api = {"dimension": "drive_diameter", "value_mm": "6.04"}
    return Sent("wrong_unit", "6.04 mm", (f"/pieces/{own}/reading/", page),
                (f"pieces/{own}/readings/", api))  # fmt: skip


def grown(s: OrderScene) -> Sent:
    for days, size in ((1, "6.039"), (2, "6.030")):
        record_reading(
            by=s.by, at=s.shop.later(days), piece=s.shop.piece(THIRD), unit="in",
            dimension="drive_diameter", value_nm=inches(size), gauge=s.shop.gauge,
        )  # fmt: skip
    return s.measured("6.038", "grown", "6.030", gauge=s.shop.gauge)


def not_on_the_order(s: OrderScene) -> Sent:
    order = s.order(THIRD)
    s.shop.send(s.by, order)
    stranger, rack = s.shop.pieces[1, "top", 1].code, s.shop.rack
    return Sent(
        "not_on_order", stranger,
        (f"/regrinds/orders/{order.number}/back/", {"code": stranger, "to": rack.path_name}),
        (f"regrind-orders/{order.number}/back/", {"codes": [stranger], "to": rack.code}),
    )  # fmt: skip


def diameter_off(s: OrderScene) -> Sent:
    order = s.ready(sizes={f"{s.roll.code} drive_diameter": inches("6.0085")})
    return s.release(order, "diameter_off", s.roll.code)


def mark_missing(s: OrderScene) -> Sent:
    return s.release(s.ready(marks=False), "mark_missing", s.first)


def unread_after_the_cut(s: OrderScene) -> Sent:
    return s.release(s.ready(sizes=False), "unread_after_cut", s.first)


def owner_silent(s: OrderScene) -> Sent:
    order = s.ready()
    owner = Owner.objects.create(code="ORN", name="Orn & Sons")
    Piece.objects.filter(pk=s.roll.pk).update(owner=owner)
    return s.release(order, "owner_approval_missing", "Orn & Sons")


def sent_while_the_owner_is_silent(s: OrderScene) -> Sent:
    owner = Owner.objects.create(code="ORN", name="Orn & Sons")
    Piece.objects.filter(pk=s.roll.pk).update(owner=owner)
    number = s.order(THIRD).number
    return Sent(
        "owner_approval_missing", "Orn & Sons",
        (f"/regrinds/orders/{number}/send/", {}), (f"regrind-orders/{number}/send/", {}),
    )  # fmt: skip


def one_pass_cut_alone(s: OrderScene) -> Sent:
    """6.000, 6.020, 6.010, 6.060."""
    return s.release(s.ready(*ALONE), "speed_slack", "Pass 2 to 3")


def staged_while_held(s: OrderScene) -> Sent:
    order, kit = s.order(THIRD), a_kit(s.shop, s.crew)
    now = timezone.now().isoformat()
    scan = {"id": "00000000-0000-4000-8000-000000000001", "happened_at": now, "to": kit.number,
            "code": s.roll.code, "how": "scan"}  # fmt: skip
    return Sent("piece_held", order.number,
                ("/scan/enter/", {"code": s.roll.code, "to": kit.number}),
                ("scans/", {"device": "gate", "device_now": now, "scans": [scan]}))  # fmt: skip


def below_its_least(s: OrderScene) -> Sent:
    own = s.roll.code
    form = {"codes": own, "kinds": "regrind", "take_off": "0.301 in"}
    line = {"piece": own, "take_off_in": "0.301"}
    return Sent("below_least_diameter", "5.74", ("/regrinds/orders/new/", form),
                ("regrind-orders/", {"lines": [line]}))  # fmt: skip


OF_ORDERS = (while_away, before_its_cut, in_the_wrong_unit, grown, not_on_the_order, diameter_off,
             mark_missing, unread_after_the_cut, owner_silent, sent_while_the_owner_is_silent,
             one_pass_cut_alone, staged_while_held, below_its_least)  # fmt: skip


@dataclass
class RunScene:
    """A setup on its mill, that ran from 400 m to 650 m of its counter."""

    stood: Mounted
    by: Person
    told: dict[str, Any] = field(default_factory=dict)

    def ran(self, code: str, named: str, start: int, end: int, minutes: int) -> Sent:
        number, then = self.stood.kit.number, self.stood.at + timedelta(minutes=minutes)
        page = {"length": str(end), "kind": "now", "counter_start": str(start),
                "happened_at": f"{timezone.localtime(then):%Y-%m-%dT%H:%M}"}  # fmt: skip
        api = {"setup": number, "counter_start_m": str(start), "counter_end_m": str(end),
               "happened_at": then.isoformat()}  # fmt: skip
        return Sent(code, named, (f"/setups/{number}/runs/", page), ("runs/", api))


def struck_down(s: RunScene) -> Sent:
    then = s.stood.at + timedelta(minutes=100)
    strip_down.take_off(by=s.by, at=then, setup=s.stood.setup, stations=s.stood.stations)
    strip_down.strike(by=s.by, at=then, setup=s.stood.setup, reason="done")
    return s.ran("setup_closed", s.stood.kit.number, 700, 800, 200)


def repeated(s: RunScene) -> Sent:
    return s.ran("counter_repeated", "stretch", 500, 700, 90)


def late(s: RunScene) -> Sent:
    return s.ran("counter_late", "650 m", 100, 300, 90)


def backwards(s: RunScene) -> Sent:
    return s.ran("counter_backwards", "set back", 900, 800, 90)


OF_RUNS = (struck_down, repeated, late, backwards)


def refused(sent: Sent, person: Person, api_as: Any) -> None:
    """Sent by the API and by the page it is refused, by its code and naming what it is about;
    nothing moved, so that the page meets what the API met."""
    api, client = Api(api_as(person)), Client()
    client.force_login(person, backend="tooling.web.zone.ShopBackend")
    before = everything()
    for way in ("api", "page"):
        if way == "api":
            told = api.post(*sent.api)
            assert told.codes == (sent.code,)
        else:
            told = Pages(client).post(*sent.page)
            assert sent.code in told.codes, told
        assert sent.named in told.words, way
        assert 400 <= told.status < 500 or sent.code == "piece_held", way
        assert everything() == before, way
        assert differences() == [], way


@pytest.mark.parametrize("case", OF_ORDERS, ids=lambda case: case.__name__)
def test_orders_and_readings(
    case: Callable[[OrderScene], Sent], world: World, cast: dict[str, Person], api_as: Any
) -> None:
    sent = case(OrderScene(world, cast["crew"], cast["engineer"]))
    refused(sent, cast["engineer"], api_as)


@pytest.mark.parametrize("case", OF_RUNS, ids=lambda case: case.__name__)
def test_runs(
    case: Callable[[RunScene], Sent], world: World, cast: dict[str, Person], api_as: Any
) -> None:
    world.at = timezone.now() - timedelta(hours=6)
    crew = cast["crew"]
    stood = mounted(world, crew)
    said = RunIn(counter_start_nm=400 * M, counter_end_nm=650 * M)
    runs.record_run(by=crew, at=stood.at + timedelta(minutes=60), setup=stood.setup, said=said)
    refused(case(RunScene(stood, crew)), crew, api_as)


def test_what_is_warned_of_and_what_is_left_is_told_by_both(
    world: World, engineer: Person, api_as: Any, log_in: Any
) -> None:
    """9.000 on 6.000 at 1.5, each less 0.030: 0.17 % off; 6.000 to 5.700 by 0.030: 10 cuts."""
    shop = Grinding(world, tops=(9.0, 9.03, 9.06, 9.09), ratio="1.5")
    lines = [OrderLineIn(shop.piece((1, s, 1)), take_off_nm=inches("0.03"))
             for s in ("top", "bottom")]  # fmt: skip
    order = regrind_orders.request_order(by=engineer, at=world.at, lines=lines)
    told = api_as(engineer).get(f"/api/v1/regrind-orders/{order.number}/").json()
    (warned,) = [each for one in told["judged"]["sets"] for each in one["checks"]
                 if each["code"] == "ratio_off"]  # fmt: skip
    assert (warned["level"], "0.168 %" in warned["message"]) == ("warn", True)
    assert [line["cuts_left"] for line in told["lines"]] == [10, 10]
    page = log_in(engineer).get(f"/regrinds/orders/{order.number}/").content.decode()
    assert page.count("10 cuts left at this size") == 2
    assert 'class="problem mild" data-code="ratio_off"' in page


def test_a_gauge_out_of_calibration_is_read_with_and_nothing_is_stated(
    world: World, engineer: Person, api_as: Any, log_in: Any
) -> None:
    shop = Grinding(world)
    world.at = timezone.now()
    client, piece = api_as(engineer), shop.pieces[THIRD]
    client.patch("/api/v1/gauges/MIC-1/", {"due_on": "2020-01-01"}, format="json")
    point = {"name": "tread", "dimension": "drive_diameter", "limit_in": "5.9"}
    client.post("/api/v1/drawings/D3b/gauge-points/", point, format="json")
    body = {"piece": piece.code, "point": "tread", "value_in": "6.04", "gauge": "MIC-1"}
    told = client.post("/api/v1/readings/", body, format="json").json()
    assert told["conformity"] == "gauge_overdue"
    pk = piece.drawing.gauge_points.get().pk
    url = f"/wear/readings/keep/?piece={piece.code}&point={pk}&end="
    form = {f"value-{piece.code}-{pk}-": "6.039 in", "gauge": "MIC-1"}
    said = log_in(engineer).post(url, form).content.decode()
    assert 'data-said="gauge_overdue"' in said
    client.patch("/api/v1/gauges/MIC-1/", {"due_on": None}, format="json")
    told = client.post("/api/v1/readings/", {**body, "value_in": "6.038"}, format="json").json()
    assert told["conformity"] == "gauge_uncalibrated"
    assert client.get("/api/v1/gauges/MIC-1/").json()["is_uncalibrated"]
    assert "never calibrated" in log_in(engineer).get("/shop/gauges/").content.decode()
    assert piece.readings.count() == 3

"""The pages of mills as they stand, changeovers, times, checks, rules and striking down."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from tests.services.mounted import Mounted, mounted
from tests.world import World
from tooling.models import Delay, Job, MillRule, Person, Setup, SetupStep, Station
from tooling.task_kinds import HANDLERS
from tooling.tasks import work_once

LogIn = Callable[[Person], Client]


@pytest.fixture
def stood(world: World, crew: Person) -> Mounted:
    return mounted(world, crew)


def problems(body: str) -> set[str]:
    return set(re.findall(r'class="problem[^"]*" data-code="([a-z_]+)"', body))


def text(answer: object) -> str:
    return answer.content.decode()  # type: ignore[attr-defined, no-any-return]


def test_the_mills_page_shows_what_stands_and_polls(
    stood: Mounted, log_in: LogIn, viewer: Person
) -> None:
    client = log_in(viewer)
    body = text(client.get("/mills/"))
    assert len(re.findall(r'<g class="piece\b', body)) == 12
    assert "24-1187" in body
    version = re.search(r'data-version="(\w+)"', body)
    assert version is not None
    assert client.get(f"/mills/live/?v={version[1]}").status_code == 204
    assert client.get("/mills/live/?v=other").status_code == 200
    one = text(client.get("/mills/M1/"))
    assert len(re.findall(r'<g class="piece\b', one)) == 12
    version = re.search(r'id="mill-live" data-version="(\w+)"', one)
    assert version is not None
    assert client.get(f"/mills/M1/live/?v={version[1]}").status_code == 204
    Setup.objects.filter(pk=stood.setup.pk).update(good_at=stood.at)
    assert client.get(f"/mills/M1/live/?v={version[1]}").status_code == 200


def test_empty_pages_teach(world: World, log_in: LogIn, engineer: Person) -> None:
    client = log_in(engineer)
    for address in ("/mills/", "/changeovers/"):
        assert 'class="teach"' in text(client.get(address))
    world.mill("M1", stations=1)
    for address in ("/changeovers/", "/mills/M1/rules/"):
        assert 'class="teach"' in text(client.get(address))
    assert client.get("/mills/M1/").status_code == 200
    world.mill("M2", stations=1)
    assert "?mill=M2" in text(client.get("/changeovers/"))
    assert client.get("/changeovers/?mill=M9").status_code == 404


def test_the_pieces_page_says_where_on_the_mill(
    stood: Mounted, log_in: LogIn, viewer: Person
) -> None:
    piece = stood.shop.pieces[1, "bottom", 1]
    said = "on Mill M1, station 2 bottom, first from the shoulder"
    assert said in text(log_in(viewer).get(f"/pieces/{piece.code}/"))


def test_times_by_tap_and_back(stood: Mounted, log_in: LogIn, crew: Person, viewer: Person) -> None:
    client, base = log_in(crew), f"/setups/{stood.kit.number}/times/"
    assert client.post(f"{base}step/", {"what": "stopped"}).status_code == 302
    assert client.post(
        f"{base}delay/", {"cause": "strip", "minutes": "10", "other": "12,5", "station": "2"}
    ).status_code == 302  # fmt: skip
    delay, step = Delay.objects.get(), SetupStep.objects.get()
    assert (delay.minutes, delay.station_number) == (12.5, 2)
    body = text(client.get(base))
    assert "waited for strip" in body
    assert client.post(f"{base}steps/{step.pk}/undo/").status_code == 302
    assert client.post(f"{base}delays/{delay.pk}/undo/").status_code == 302
    refused = client.post(f"{base}delay/", {"cause": "strip", "other": "long"})
    assert refused.status_code == 400
    assert problems(text(refused)) == {"improbable_value"}
    assert 'value="long"' in text(refused), "what was typed stays"
    assert client.post(f"{base}delays/{delay.pk}/undo/").status_code == 409
    assert client.post(f"{base}steps/99999/undo/").status_code == 404
    assert "<form" not in text(log_in(viewer).get(base)).split("<h1")[1].split("title-block")[0]


def test_strike_down_by_rows(stood: Mounted, log_in: LogIn, crew: Person) -> None:
    client, base = log_in(crew), f"/setups/{stood.kit.number}/strip-down/"
    gap = stood.shop.pieces[1, "top", 1]
    assert "All 3 rows are full: 6 pieces" in text(client.get(base))
    first, *rest = stood.stations
    assert client.post(f"{base}off/", {"station": first, "gap": gap.code}).status_code == 302
    body = text(client.get(base))
    assert "not on its peg" in body
    assert client.post(f"{base}strike/").status_code == 409
    act = re.search(r'name="act" value="([0-9a-f-]+)">', body)
    assert act is not None
    assert client.post(f"{base}undo/", {"act": act[1]}).status_code == 302
    assert client.post(f"{base}undo/", {"act": "nothing"}).status_code == 400
    assert client.post(f"{base}off/", {"station": stood.stations}).status_code == 302
    again = client.post(f"{base}off/", {"station": rest})
    assert (again.status_code, problems(text(again))) == (409, {"nothing_on"})
    assert client.post(f"{base}clean/").status_code == 302
    assert client.post(f"{base}clean/undo/").status_code == 302
    assert client.post(f"{base}spacers/").status_code == 302
    flagged = {"code": gap.code, "what": "chipped"}
    assert client.post(f"{base}flag/", flagged).status_code == 302
    assert client.post(f"{base}strike/").status_code == 302
    body = text(client.get(base))
    assert "This setup is struck down." in body
    assert "<form" not in body.split("<h1")[1].split("title-block")[0]


def test_the_order_is_asked_for_shown_and_accepted(
    world: World, log_in: LogIn, engineer: Person, crew: Person
) -> None:
    mill, shelf = world.mill("M1", stations=2), world.place("Shelf")
    sets = {}
    for name in "AB":
        drawing = world.drawing(f"{name}-1")
        sets[name] = world.tool_set(name, {(1, "top", 1): drawing})
        world.copy(sets[name], "A", {(1, "top", 1): world.piece(drawing, shelf)})
        world.chart(sets[name], mill)
    now = timezone.now()
    for n, name in enumerate("ABA"):
        job = world.job(sets[name], mill, number=f"{name}{n}")
        starts = now + timedelta(days=n + 1)
        Job.objects.filter(pk=job.pk).update(starts_at=starts, gathers_at=starts)
    client, page = log_in(engineer), "/changeovers/?mill=M1"
    assert "Find the best order" in text(client.get(page))
    assert client.post("/changeovers/order/ask/", {"mill": "M1"}).status_code == 302
    part = text(client.get("/changeovers/order/?mill=M1"))
    assert "hx-trigger" in part
    task = re.search(r'name="task" value="(\d+)">Stop', part)
    assert task is not None
    assert (
        client.post("/changeovers/order/stop/", {"mill": "M1", "task": task[1]}).status_code == 302
    )
    assert "It was stopped." in text(client.get("/changeovers/order/?mill=M1"))
    assert client.post("/changeovers/order/stop/", {"mill": "M1", "task": "0"}).status_code == 404
    assert client.post("/changeovers/order/ask/", {"mill": "M1"}).status_code == 302
    assert work_once(HANDLERS)
    body = text(client.get(page))
    assert "It opens 1 station fewer" in body
    task = re.search(r'name="task" value="(\d+)">Accept', body)
    assert task is not None
    settle = {"mill": "M1", "task": task[1]}
    client = log_in(crew)
    assert client.post("/changeovers/order/accept/", settle).status_code == 403
    assert "Accept" not in text(client.get(page))
    client = log_in(engineer)
    assert client.post("/changeovers/order/accept/", settle).status_code == 302
    order = Job.objects.order_by("starts_at").values_list("number", flat=True)
    assert list(order) == ["A0", "A2", "B1"]
    refused = client.post("/changeovers/order/keep/", settle)
    assert (refused.status_code, problems(text(refused))) == (409, {"order_settled"})


def test_checks_and_rules(world: World, log_in: LogIn, engineer: Person, viewer: Person) -> None:
    world.mill("M1", stations=3)
    client, old = log_in(engineer), (timezone.localdate() - timedelta(days=400)).isoformat()
    care = "/mills/M1/care/"
    assert text(client.get(care)).count('name="station"') == 3
    done = client.post(care, {"what": "aligned", "on": old, "station": ["1", "3"]})
    assert done.status_code == 302
    assert Station.objects.filter(aligned_on=old).count() == 2
    assert "checks_due" in problems(text(client.get("/mills/M1/")))
    refused = client.post(care, {"what": "aligned", "on": "2099-01-01", "station": ["1"]})
    assert refused.status_code == 400
    assert client.post(care, {"what": "aligned", "on": old}).status_code == 400
    assert log_in(viewer).post(care, {"what": "aligned", "on": old}).status_code == 403
    client = log_in(engineer)
    rules = "/mills/M1/rules/"
    assert client.post(rules, {"kind": "apart", "first": "oiled", "then": ""}).status_code == 400
    assert client.post(rules, {"kind": "last", "first": "scaled"}).status_code == 302
    rule = MillRule.objects.get()
    assert "scaled" in text(client.get(rules))
    assert client.post(f"{rules}{rule.pk}/remove/").status_code == 302
    assert client.post(f"{rules}{rule.pk}/remove/").status_code == 404


def test_everybody_reads_a_mills_checks_and_who_mounts_zeroes_its_screws(
    log_in: LogIn, world: World, viewer: Person, crew: Person
) -> None:
    world.mill("M7", stations=2)
    url = "/mills/M7/care/"
    page = log_in(viewer).get(url).content.decode()
    assert "never" in page
    assert "<button formaction" not in page
    assert 'name="station"' not in page
    page = log_in(crew).get(url).content.decode()
    assert "Screws of the ticked stations are zeroed" in page
    assert "Write it down" not in page
    assert log_in(crew).post(url, {"what": "aligned"}).status_code == 403
    answer = log_in(crew).post("/mills/M7/zeroed/", {"station": ["1", "2"]})
    assert answer["Location"] == url

"""Closed by default: ``tests/access_table.json`` says who may do what at every address."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client, override_settings
from django.urls import URLResolver, get_resolver

from tests.photographs import a_png
from tests.world import MM, World, make_person
from tooling.models import (
    Approval,
    Contradiction,
    Delay,
    Device,
    DrawingFile,
    Gauge,
    Import,
    ImportFile,
    Kit,
    MillRule,
    Owner,
    OwnerReport,
    Person,
    PieceAlias,
    Role,
    Run,
    SetPosition,
    Setup,
    SetupStep,
    Task,
)
from tooling.services import (
    badges,
    certificates,
    counts,
    files,
    holds,
    imports,
    kits,
    pictures,
    purchases,
    receiving,
    regrind_orders,
    regrind_plans,
)
from tooling.services.purchases import LineIn
from tooling.services.receiving import Papers
from tooling.services.regrind_targets import OrderLineIn

TABLE: dict[str, dict[str, str]] = json.loads(
    (Path(__file__).parent.parent / "access_table.json").read_text()
)
TABLE.pop("how to read")
LETTERS = {role.value[0]: role for role in Role}
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
NOWHERE = r"api/v1/^[\s\S]*$"
QUERIES = {
    "scan/bin/": "?code={bin}",
    "scan/read/": "?code={code}",
    "scan/stop/": "?code={code}",
    "scan/condition/": "?code={code}",
    "pieces/out/slip.pdf": "?act={act}",
    "labels.pdf": "?codes={code}",
    "changeovers/order/": "?mill=M1",
    "api/v1/changeovers/": "?mill=M1",
    "labels/etching.svg": "?text={code}",
}
AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
SHEET = ("places.csv", b"Name,Kind\nRack B,rack\n")
PARAMETER = re.compile(r"<\w+:(\w+)>")


def routes(resolver: Any = None, before: str = "") -> Iterator[str]:
    """Every address of the house as its pattern."""
    for each in (resolver or get_resolver()).url_patterns:
        route = before + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from routes(each, route)
        elif route != NOWHERE:
            yield route


def test_every_address_is_in_the_table() -> None:
    missing = sorted(set(routes()) - set(TABLE))
    assert not missing, f"decide in tests/access_table.json who may: {missing}"


def test_the_table_names_no_address_that_is_gone() -> None:
    assert not sorted(set(TABLE) - set(routes()))


def test_the_table_is_written_in_its_own_words() -> None:
    for route, methods in TABLE.items():
        for method, who in methods.items():
            assert method in METHODS, route
            assert who == "*" or "".join(sorted(who)) == "".join(sorted(set(who) & set(LETTERS)))


@pytest.fixture(scope="module")
def folder(django_db_setup: None, django_db_blocker: Any, tmp_path_factory: Any) -> Any:
    """Where this file's shop keeps its files."""
    folder = tmp_path_factory.mktemp("access")
    with django_db_blocker.unblock(), override_settings(FILES_DIR=folder, DATA_DIR=folder):
        yield folder


@pytest.fixture(scope="module")
def looked_over(folder: Path) -> Import:
    """An import with its preview, as it came out of a transaction of its own: looking over makes
    tables, and after that SQLite reads its whole schema anew at every rollback to a savepoint."""
    with transaction.atomic():
        by = make_person("before", Role.ENGINEER)
        made = imports.bring(by=by, at=AT, brought=[imports.Brought(*SHEET)])
        made.refresh_from_db()
        transaction.set_rollback(True)
    return made


@pytest.fixture(scope="module")
def standing(folder: Path, looked_over: Import) -> Any:
    """One transaction under the whole walk: each request takes its own changes back."""
    with transaction.atomic():
        yield folder
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def world(standing: Path) -> World:
    return World(at=AT)


@pytest.fixture(scope="module")
def cast(standing: Path) -> dict[str, Person]:
    return {role.value: make_person(role.value, role) for role in Role}


@pytest.fixture(scope="module")
def visitors(standing: Path, cast: dict[str, Person]) -> Visitors:
    """Logged in outside of every test's own transaction."""
    those = Visitors()
    for person in (None, *cast.values()):
        those.answer(person, "GET", "/healthz")
    return those


@pytest.fixture(scope="module")
def found(world: World, cast: dict[str, Person], standing: Path, looked_over: Import) -> Any:
    """One record of every kind: the beginning of an address → what its parameters stand for."""
    at, engineer = world.at, cast["engineer"]
    drawing = world.drawing("R-1", bore_nm=60 * MM, face_width_nm=40 * MM)
    rack = world.place("Rack A")
    piece = world.piece(drawing, rack, mark="1")
    alias = PieceAlias.objects.create(piece=piece, text="old 1")
    line = world.stock(world.drawing("S-1", kind="spacer"), rack, 9)
    mill = world.mill("M1", stations=2)
    station = mill.stations.get(number=1)
    tool_set = world.tool_set("T-1", {(1, "top", 1): drawing})
    copy = world.copy(tool_set)
    chart = world.chart(tool_set, mill)
    job = world.job(tool_set, mill)
    kit = kits.open_kit(by=engineer, at=at, job=job)
    count = counts.open_count(by=engineer, at=at, place=rack)
    Gauge.objects.create(number="G-1", name="Micrometer")
    brought = _again(looked_over, engineer)
    file = files.store(data=b"%PDF-1.7", at=at)
    DrawingFile.objects.create(revision=drawing.revisions.get(), file=file, name="a.pdf", at=at)
    made = {"kind": "labels", "by": engineer, "created_at": at}
    task = Task.objects.create(**made)
    done = Task.objects.create(state="done", file=file, **made)
    register = Task.objects.create(**{**made, "kind": "register"})
    drawn = Task.objects.create(state="done", file=file, **{**made, "kind": "register"})
    theirs = world.piece(drawing, rack, owner=Owner.objects.create(code="ORN", name="Orn"))
    asked = {"owner": theirs.owner, "kind": "scrap", "answer": "asked", "dated_on": at.date()}
    letter = Approval.objects.create(**asked, file=file, file_name="a.pdf", at=at)
    report = OwnerReport.objects.create(
        owner=theirs.owner, piece=theirs, kind="loss", what_happened="gone", opened_at=at
    )
    backup = Task.objects.create(**{**made, "kind": "backup"})
    (standing / "backups").mkdir(exist_ok=True)
    (standing / "backups" / "rollroom-20260101T000000Z.zip").write_bytes(b"PK")
    certificates.make(at=at)
    badge = badges.issue_badge(by=cast["supervisor"], at=at, person=cast["crew"]).badge
    contrary = Contradiction.objects.create(kind="late", piece=piece, found_at=at)
    device = Device.objects.create(name="Gate tablet")
    position = SetPosition.objects.get()
    kit_row = {"number": kit.number, "station": 1, "which": "top"}
    rule = MillRule.objects.create(mill=mill, kind="last", first="scaled")
    mill_row = {"number": "M1", "station": 1, "shaft": station.shafts.first().pk, "which": "top",
                "rule": rule.pk}  # fmt: skip
    setup = Setup.objects.create(kit=kit, mill=mill, started_at=at)
    said = {"setup": setup, "happened_at": at, "received_at": at, "by": engineer}
    step = SetupStep.objects.create(what="stopped", **said)
    delay = Delay.objects.create(cause="strip", minutes=5, **said)
    setup_row = {**kit_row, "other": _earlier_setup(world, tool_set, mill)}
    run = Run.objects.create(length_nm=MM, way="counter", **said)
    revision = drawing.revisions.get()
    photo = SimpleUploadedFile("a.png", a_png())
    picture = pictures.keep(by=engineer, at=at, upload=photo, piece=piece)
    incident = holds.stop(by=engineer, at=at, piece=piece, what="chipped")
    order = purchases.create_purchase(
        by=engineer, at=at, number="PO-1", vendor="Halden Tool", owner=world.shop,
        ordered_on=at.date(), lines=[LineIn(drawing.revisions.get(), 2)],
    )  # fmt: skip
    paper = SimpleUploadedFile("3.1.pdf", b"%PDF-1.7")
    receipt = receiving.receive_piece(
        by=engineer, at=at, line=order.lines.get(), place=rack, papers=Papers(certificate=paper)
    )
    work = OrderLineIn(piece, kinds=("polish",))
    asked_for = regrind_orders.request_order(by=engineer, at=at, lines=[work])
    work_row = {"number": asked_for.number, "code": piece.code}
    planned = regrind_plans.start_plan(by=engineer, at=at, copies=[copy])
    order_row = {"number": "PO-1", "line": 1, "receipt": receipt.pk, "dimension": "bore"}
    set_row = {"number": "T-1", "position": position.pk, "copy": copy.pk, "letter": "A",
               "mill": "M1", "chart": chart.pk, "set_pass": position.set_pass_id,
               "fill": 1, "shaft": "top", "after_order": 1, "name": "web"}  # fmt: skip
    return {
        "pieces/<slug:code>/stop/": {"code": piece.code, "number": incident.pk},
        "kits/jobs/": {"number": job.number},
        "kits/": kit_row,
        "pieces/stock/": {"code": line.code},
        "pieces/orders/": order_row,
        "regrinds/orders/": work_row,
        "regrinds/plans/": {"number": planned.number},
        "api/v1/regrind-plans/": {"number": planned.number, "code": piece.code},
        "api/v1/regrind-orders/": work_row,
        "api/v1/purchases/": order_row,
        "api/v1/receipts/": order_row,
        "pieces/counts/": {"number": count.number},
        "pieces/contrary/": {"number": contrary.pk},
        "api/v1/contradictions/": {"number": contrary.pk},
        "pieces/": {"code": piece.code, "number": alias.pk, "act": piece.placed_by.uuid},
        "scan/put-away/": {"code": rack.code},
        "incidents/": {"number": incident.pk},
        "pictures/": {"number": picture.pk, "sha256": picture.small.sha256},
        "mills/": mill_row,
        "setups/<slug:number>/times/steps/": {**setup_row, "row": step.pk},
        "setups/<slug:number>/times/delays/": {**setup_row, "row": delay.pk},
        "setups/": setup_row,
        "runs/": {"number": run.pk},
        "wear/": {"code": piece.code},
        "api/v1/runs/": {"number": run.pk},
        "api/v1/wear/": {"code": piece.code},
        "api/v1/gauges/": {"number": "G-1"},
        "sets/drawings/": {
            "number": "R-1",
            "revision": revision.pk,
            "sha256": file.sha256,
            "order": 1,
        },
        "sets/": set_row,
        "shop/places/": {"code": rack.code},
        "shop/owners/reports/": {"number": report.pk},
        "shop/owners/letters/": {"number": letter.pk},
        "shop/owners/registers/<int:number>.pdf": {"number": drawn.pk},
        "shop/owners/registers/": {"number": register.pk},
        "shop/owners/": {"code": "SHOP"},
        "shop/people/": {"username": "crew", "number": badge.pk},
        "shop/devices/": {"key": device.pk},
        "api/v1/people/": {"username": "crew", "number": badge.pk},
        "api/v1/devices/": {"key": device.pk},
        "shop/gauges/": {"number": "G-1"},
        "shop/backups/": {"number": backup.pk, "name": "rollroom-20260101T000000Z.zip"},
        "shop/settings/": {"name": "improbable_reading"},
        "shop/spreadsheets/": {
            "number": brought.pk,
            "kind": "pieces",
            "key": brought.files.get().pk,
        },
        "labels/<int:number>.pdf": {"number": done.pk},
        "labels/": {"number": task.pk},
        "api/v1/pictures/": {"number": picture.pk},
        "api/v1/incidents/": {"number": incident.pk},
        "api/v1/counts/": {"number": count.number},
        "api/v1/pieces/": {"code": piece.code},
        "api/v1/stock/": {"code": line.code},
        "api/v1/places/": {"code": rack.code},
        "api/v1/loans/": {"number": piece.placed_by.uuid},
        "api/v1/owners/": {"code": "SHOP"},
        "api/v1/approvals/": {"number": letter.pk},
        "api/v1/owner-reports/": {"number": report.pk},
        "api/v1/tasks/<int:number>/file/": {"number": done.pk},
        "api/v1/drawings/": {
            "number": "R-1",
            "revision": "A",
            "sha256": file.sha256,
            "order": 1,
            "name": "root",
        },
        "api/v1/mills/": mill_row,
        "api/v1/setups/<str:number>/steps/": {**setup_row, "row": step.pk},
        "api/v1/setups/<str:number>/delays/": {**setup_row, "row": delay.pk},
        "api/v1/setups/": setup_row,
        "api/v1/sets/": {**set_row, "set_pass": 1},
        "api/v1/jobs/": {"number": job.number},
        "api/v1/kits/": kit_row,
        "api/v1/imports/": {"number": brought.pk, "key": brought.files.get().pk},
        "api/v1/tasks/": {"number": task.pk},
    }


def _again(made: Import, by: Person) -> Import:
    """The same import with its file, by somebody who is here."""
    name, data = SHEET
    made.pk, made.by = None, by
    made.save(force_insert=True)
    ImportFile.objects.create(brought_by=made, file=files.store(data=data, at=AT), name=name)
    return made


def _earlier_setup(world: World, tool_set: Any, mill: Any) -> str:
    """Another setup of the set, struck down, to compare with."""
    job = world.job(tool_set, mill, number="J0")
    kit = Kit.objects.create(number=world.code("K"), job=job)
    Setup.objects.create(
        kit=kit, mill=mill, started_at=world.at, state="struck", struck_at=world.at
    )
    return str(kit.number)


def address_of(route: str, found: dict[str, dict[str, Any]]) -> str:
    """The address of a record that exists."""
    values = next((each for start, each in found.items() if route.startswith(start)), {})

    def fill(match: re.Match[str]) -> str:
        assert match[1] in values, f"say in test_access.py what {match[0]} of {route} may be"
        return str(values[match[1]])

    return "/" + PARAMETER.sub(fill, route)


class Visitors:
    """One client for each of the cast, logged in once, and one for a stranger."""

    def __init__(self) -> None:
        self.clients: dict[Person | None, Client] = {}

    def answer(self, person: Person | None, method: str, address: str) -> Any:
        """The answer to one request of that person, whose changes are taken back."""
        client = self._client(person)
        cookies = dict(client.cookies)
        with transaction.atomic():
            got = client.generic(method, address, content_type=_kind(address))
            b"".join(got.streaming_content if got.streaming else [])
            transaction.set_rollback(True)
        client.cookies.clear()
        client.cookies.update(cookies)
        return got

    def _client(self, person: Person | None) -> Client:
        if person not in self.clients:
            self.clients[person] = Client(raise_request_exception=False)
            if person is not None:
                backend = "django.contrib.auth.backends.ModelBackend"
                self.clients[person].force_login(person, backend=backend)
        return self.clients[person]


def _kind(address: str) -> str:
    is_form = not address.startswith("/api/") or "imports" in address
    return "application/x-www-form-urlencoded" if is_form else "application/json"


def is_shut_out(got: Any) -> bool:
    """Refused for who it is: to the log-in, 401, or 403."""
    return got.status_code in (401, 403) or got.headers.get("Location", "").startswith("/login/?")


def looks_sheets_over(route: str) -> bool:
    """These come last: see ``looked_over``."""
    return route.startswith(("shop/spreadsheets/", "api/v1/imports/"))


@pytest.mark.one_database
@pytest.mark.django_db
@pytest.mark.parametrize("route", sorted(TABLE, key=looks_sheets_over))
def test_whoever_may_gets_in_and_nobody_else(
    route: str, found: dict[str, dict[str, Any]], cast: dict[str, Person], visitors: Visitors
) -> None:
    answer = visitors.answer
    address = address_of(route, found)
    shown: Any = None
    for method, who in TABLE[route].items():
        assert is_shut_out(answer(None, method, address)) == (who != "*"), method
        for letter, role in LETTERS.items():
            got = answer(cast[role.value], method, address)
            said = f"{method} {address} as {role.value}: {got.status_code}"
            assert is_shut_out(got) == (who != "*" and letter not in who), said
            assert got.status_code < 500, said
            shown = got if (method, role) == ("GET", Role.SUPERVISOR) else shown
    _others_do_nothing(route, address, cast["supervisor"], visitors)
    if "GET" in TABLE[route]:
        if query := QUERIES.get(route, ""):
            those = {**found["pieces/"], "bin": found["pieces/stock/"]["code"]}
            shown = answer(cast["supervisor"], "GET", address + query.format(**those))
        assert shown.status_code < 400, f"the walk met no record at {address}: {shown.status_code}"


def _others_do_nothing(route: str, address: str, person: Person, visitors: Visitors) -> None:
    asks = None if "*" in TABLE[route].values() else person
    for method in sorted(set(METHODS) - set(TABLE[route])):
        got = visitors.answer(asks, method, address)
        assert got.status_code == 405, f"{method} {route}: {got.status_code}"

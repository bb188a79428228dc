"""What a device fetches for scanning without the server: the worker, the empty page, the labels."""

from __future__ import annotations

import gzip
import json
import re
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from tests.web.kit_shop import small_shop
from tests.world import World
from tooling.models import LabelEvent, Person, Piece, PieceAlias
from tooling.services import scans
from tooling.services.scan_moves import ScanIn
from tooling.web.offline import KEPT
from tooling.web.offline_files import version_of

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]
MODULES = Path(__file__).parents[2] / "tooling" / "static" / "rollroom"


def put(by: Person, code: str, to: str) -> None:
    scan = ScanIn(id=uuid.uuid4(), happened_at=timezone.now(), to=to, code=code)
    now = timezone.now()
    [result] = scans.record_batch(by=by, at=now, device="phone", device_now=now, scans=[scan])
    assert result.status == "taken"


def keep(client: Client) -> dict[str, Any]:
    """What the service worker is told to keep."""
    first = client.get("/sw.js").content.decode().splitlines()[0]
    found = re.fullmatch(r"const KEEP = (.*);", first)
    assert found is not None
    told: dict[str, Any] = json.loads(found[1])
    return told


def known(client: Client) -> dict[str, Any]:
    told: dict[str, Any] = client.get("/scan/known/").json()
    return told


def test_the_worker_stands_at_the_root_and_is_asked_for_anew(client: Client) -> None:
    answer = client.get("/sw.js")
    assert answer.headers["Content-Type"] == "text/javascript; charset=utf-8"
    assert answer.headers["Cache-Control"] == "no-cache"


def test_every_file_that_the_worker_keeps_is_there_and_the_reader_is_not_among_them(
    client: Client,
) -> None:
    told = keep(client)
    for address in [*told["files"], *told["later"]]:
        assert finders.find(address.removeprefix("/static/")), address
    assert not set(told["files"]) & set(told["later"])
    assert all("zxing" in address for address in told["later"])


NEEDS_THE_SERVER = {"/static/vendor/htmx/htmx.min.js", "/static/rollroom/page.js"}


def test_the_worker_keeps_all_of_the_scan_page_that_works_without_the_server(
    client: Client, log_in: Any, attendant: Any
) -> None:
    page = log_in(attendant).get("/scan/").content.decode()
    loaded = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', page))
    assert loaded - NEEDS_THE_SERVER <= set(keep(client)["files"])


def test_the_worker_keeps_every_module_that_the_scan_page_names(client: Client) -> None:
    kept = {Path(address).name for address in keep(client)["files"]}
    for name in [each for each in kept if each.endswith(".js") and (MODULES / each).exists()]:
        named = re.findall(r'(?:from|import)\s*\(?\s*"\./([^"]+)"', (MODULES / name).read_text())
        assert set(named) <= kept, name


def test_other_content_is_another_version() -> None:
    files = {"a.js": b"1", "b.css": b"2"}
    version = version_of(files)
    assert version_of(dict(files)) == version
    assert version_of({**files, "b.css": b"3"}) != version
    assert version_of({"a.js": b"12", "b.css": b""}) != version
    assert version_of({"a.js": b"1"}) != version


def test_the_empty_page_holds_nobody_and_nothing(client: Client, world: World) -> None:
    world.piece(world.drawing("D1"), world.place("Rack A"), mark="12-T")
    page = client.get("/scan/shell/").content.decode()
    assert "data-shell" in page
    assert 'data-person=""' in page
    assert 'name="csrfmiddlewaretoken"' not in page
    assert "Rack A" not in page


def test_the_page_can_be_installed(client: Client) -> None:
    answer = client.get("/manifest.webmanifest")
    told = answer.json()
    assert answer.headers["Content-Type"] == "application/manifest+json"
    assert (told["start_url"], told["scope"], told["display"]) == ("/scan/", "/", "standalone")
    sizes = {(icon["sizes"], icon["purpose"]) for icon in told["icons"]}
    assert sizes == {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")}
    assert all(finders.find(icon["src"].removeprefix("/static/")) for icon in told["icons"])


@pytest.mark.parametrize(
    ("address", "may"), [("/scan/", True), ("/scan/shell/", True), ("/login/", False)]
)
def test_only_pages_that_scan_may_run_the_reader(client: Client, address: str, may: bool) -> None:
    headers = client.get(address).headers
    assert ("'wasm-unsafe-eval'" in headers["Content-Security-Policy"]) is may
    assert "worker-src 'self'" in headers["Content-Security-Policy"]
    assert "camera=(self)" in headers["Permissions-Policy"]


def test_who_is_here_and_a_token_that_the_server_takes(crew: Person) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(crew, backend="tooling.web.zone.ShopBackend")
    answer = client.get("/scan/session/")
    told = answer.json()
    assert told["person"] == "crew"
    assert answer.headers["Cache-Control"] == "no-store"
    batch = {"device": "x", "device_now": "2026-11-25T09:00:00Z", "scans": []}
    for token, status in ((told["token"], 200), ("a" * 32, 403)):
        sent = client.post("/api/v1/scans/", batch, content_type="application/json",
                           headers={"X-CSRFToken": token})  # fmt: skip
        assert sent.status_code == status


def test_nobody_is_here_without_a_log_in(client: Client) -> None:
    assert client.get("/scan/session/").status_code == 302


@pytest.fixture
def piece(world: World) -> Piece:
    return world.piece(world.drawing("D1"), world.place("Rack A"), mark="12-T")


def test_the_device_learns_what_the_labels_mean(
    log_in: LogIn, attendant: Person, world: World, piece: Piece
) -> None:
    cart = world.place("Cart 1", kind="cart")
    grinder = world.place("Hollinwell", kind="grinder")
    shelf = world.place("Shelf 1", kind="shelf")
    told = known(log_in(attendant))
    rest, mark, drawing, place = told["pieces"][piece.code[:5]].split("\t")
    assert (piece.code[:5] + rest, mark) == (piece.code, "12-T")
    assert told["drawings"][int(drawing)] == "D1"
    assert told["places"][int(place)] == [piece.place.code, "Rack A", 0]
    assert [cart.code, "Cart 1", 1 + 4 + 16] in told["places"]
    assert [shelf.code, "Shelf 1", 32] in told["places"]
    assert [grinder.code, "Hollinwell", 2] in told["places"]
    assert (told["idle_s"], told["guard_s"]) == (300, 3)


def test_old_numbers_stand_at_the_end_of_a_piece_s_line(
    log_in: LogIn, attendant: Person, world: World, piece: Piece
) -> None:
    client = log_in(attendant)
    tag = client.get("/scan/known/").headers["ETag"]
    for text in ("old 7", "A\t8"):
        PieceAlias.objects.create(piece=piece, text=text)
    other = world.piece(piece.drawing, piece.place, mark="13-T")
    cache.delete(KEPT)
    answer = client.get("/scan/known/", headers={"If-None-Match": tag})
    lines = answer.json()["pieces"][piece.code[:5]].split("\n")
    assert [line.split("\t")[4:] for line in lines] == [["old 7", "A 8"], []]
    assert other.code[5:] == lines[1].split("\t")[0]


def test_the_device_learns_what_open_kits_chose_and_what_is_there(
    log_in: LogIn, attendant: Person, world: World
) -> None:
    shop = small_shop(world, passes=1)
    kit, first = shop.open(attendant), shop.pieces[(1, "top", 1)]
    client = log_in(attendant)
    tag = client.get("/scan/known/").headers["ETag"]
    lines = known(client)["wants"][kit.number].split("\n")
    assert f"{first.code}\tpass 1, top, 1 from the shoulder\t" in lines
    assert len(lines) == len(shop.pieces)
    put(attendant, first.code, kit.number)
    cache.delete(KEPT)
    answer = client.get("/scan/known/", headers={"If-None-Match": tag})
    assert (
        f"{first.code}\tpass 1, top, 1 from the shoulder\t1" in answer.json()["wants"][kit.number]
    )
    assert kit.place is not None
    assert answer.json()["kits"][0][:4] == [
        kit.number, kit.place.name, kit.job.number, kit.place.code,
    ]  # fmt: skip


def test_an_empty_shop_has_nothing_to_learn(log_in: LogIn, attendant: Person) -> None:
    told = known(log_in(attendant))
    assert (told["pieces"], told["places"], told["kits"], told["bins"]) == ({}, [], [], [])


def test_what_a_device_has_is_not_sent_again_until_something_moved(
    log_in: LogIn, attendant: Person, world: World, piece: Piece
) -> None:
    client = log_in(attendant)
    tag = client.get("/scan/known/").headers["ETag"]
    again = client.get("/scan/known/", headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")
    scan = ScanIn(id=uuid.uuid4(), happened_at=world.at, to=world.place("Rack B").code,
                  code=piece.code)  # fmt: skip
    scans.record_batch(by=attendant, at=world.at, device="x", device_now=world.at, scans=[scan])
    cache.delete(KEPT)  # as when its time is over
    after = client.get("/scan/known/", headers={"If-None-Match": tag})
    assert after.status_code == 200
    assert after.headers["ETag"] != tag


def test_it_comes_zipped_with_its_age(log_in: LogIn, attendant: Person, piece: Piece) -> None:
    answer = log_in(attendant).get("/scan/known/", headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip"
    assert json.loads(gzip.decompress(answer.content))["pieces"]
    assert 0 <= int(answer.headers["Age"]) < 60


def test_a_void_label_is_known_with_what_took_its_place(
    log_in: LogIn, attendant: Person, world: World, piece: Piece
) -> None:
    LabelEvent.objects.create(at=world.at, code=piece.code, what="void")
    assert known(log_in(attendant))["void"] == {piece.code: ""}

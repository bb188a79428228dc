"""Bad input over every way in: page, API, sheet. The answer is a sentence that names the value
where it happened, and nothing is half-saved: every row of every table is as before, and what is
derived still agrees with history."""

from __future__ import annotations

import csv
import html
import io
import re
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.utils import timezone
from openpyxl import load_workbook
from rest_framework.test import APIClient

from tests.rolling import Rolling
from tests.standing import Standing
from tests.world import World
from tooling.engineering.codes import make_code
from tooling.history import CURRENT, HISTORY
from tooling.models import (
    Device,
    Import,
    ImportFile,
    Kit,
    Person,
    Piece,
    Place,
    RefusedScan,
    StockLine,
    StoredFile,
)
from tooling.services import kits
from tooling.services.rebuild import differences
from tooling.services.scan_moves import ScanIn
from tooling.services.scans import record_batch

pytestmark = pytest.mark.django_db
KEPT_ON_PURPOSE = (RefusedScan, Device, Import, ImportFile, StoredFile)
"""What a refused scan or a sheet that was looked over leaves behind by design."""

NOBODYS = str(make_code("R", 31_415))
PICTURE = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


class Scene:
    """A rack with a shelf, a kit that is gathered, another that holds a piece, one closed."""

    def __init__(self, world: World, crew: Person, at: datetime) -> None:
        shop = Rolling(world)
        self.shop, self.at = shop, at
        self.rack, self.cart = shop.rack, shop.cart
        self.shelf = world.place("Shelf", kind="shelf", parent=shop.rack)
        self.piece: Piece = shop.pieces[1, "top", 1]
        self.spacers: StockLine = world.stock(
            world.drawing("SP", kind="spacer", face_width_nm=10_000_000), shop.rack, 4
        )
        self.misread = self.piece.code[:-1] + ("0" if self.piece.code[-1] != "0" else "1")
        self.kit = shop.kit(crew)
        kits.set_gathering_place(by=crew, at=at, kit=self.kit, place=shop.cart)
        self.other = shop.kit(crew, number="J2", in_hours=400)
        plate = world.place("Plate 9", kind="plate")
        kits.set_gathering_place(by=crew, at=at, kit=self.other, place=plate)
        self.staged: Piece = shop.pieces[1, "bottom", 1]
        (result,) = record_batch(
            by=crew, at=at, device="gate", device_now=at,
            scans=[ScanIn(id=uuid.uuid4(), happened_at=at, to=self.other.number,
                          code=self.staged.code, how="scan")],
        )  # fmt: skip
        assert result.status == "taken", result
        self.closed = shop.kit(crew, number="J3", in_hours=800)
        kits.close(by=crew, at=at, kit=self.closed, reason="strip did not come")


@pytest.fixture(scope="module")
def standing_scene(standing_world: World, standing_cast: dict[str, Person]) -> Scene:
    standing_world.at = timezone.now()
    return Scene(standing_world, standing_cast["crew"], standing_world.at)


@pytest.fixture
def scene(standing: Standing, standing_scene: Scene) -> Scene:
    return standing.copy(standing_scene)


@pytest.fixture
def at(scene: Scene) -> datetime:
    return scene.at


def everything() -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table but those kept on purpose, as the database has it."""
    found = {}
    with connection.cursor() as cursor:
        for meta in (each._meta for each in (*CURRENT, *HISTORY) if each not in KEPT_ON_PURPOSE):
            cursor.execute(f'SELECT * FROM "{meta.db_table}" ORDER BY "{meta.pk.column}"')
            found[meta.db_table] = cursor.fetchall()
    return found


@pytest.fixture
def nothing_changes(scene: Scene, cast: dict[str, Person], request: Any) -> Any:
    """Compare the whole database before and after what the test sends, logged in already."""
    for name in {"way"} & set(request.fixturenames):
        request.getfixturevalue(name)
    before = everything()
    yield
    assert everything() == before
    assert differences() == []


@dataclass(frozen=True)
class Told:
    """What the answer said: codes and words."""

    status: int
    codes: tuple[str, ...]
    words: str


class Api:
    def __init__(self, client: APIClient) -> None:
        self.client = client

    def _told(self, answer: Any) -> Told:
        body = answer.json()
        if "results" in body:
            found = [each for each in body["results"] if each["status"] == "refused"]
        elif "problems" in body:
            found = body["problems"]
        else:
            assert set(body) == {"code", "message", "detail"}
            found = [body]
        words = " ".join(str(each["message"]) for each in found)
        return Told(answer.status_code, tuple(each["code"] for each in found), words)

    def post(self, path: str, body: dict[str, Any]) -> Told:
        return self._told(self.client.post(f"/api/v1/{path}", body, format="json"))

    def scan(self, code: str, to: str) -> Told:
        now = timezone.now().isoformat()
        scan = {
            "id": str(uuid.uuid4()), "happened_at": now, "to": to, "code": code, "how": "scan",
        }  # fmt: skip
        return self.post("scans/", {"device": "gate", "device_now": now, "scans": [scan]})

    def tick(self, code: str, to: str) -> Told:
        return self.scan(code, to)

    def look_up(self, code: str) -> Told:
        return self._told(self.client.get(f"/api/v1/pieces/{code}/"))

    def put_inside(self, place: Place, outer: Place) -> Told:
        body = {"inside": outer.code}
        return self._told(self.client.patch(f"/api/v1/places/{place.code}/", body, format="json"))

    def measure(self, piece: Piece, value: str) -> Told:
        body = {"dimension": "drive_diameter", "value_mm": value}
        return self.post(f"pieces/{piece.code}/readings/", body)

    def use_up(self, line: StockLine, quantity: int) -> Told:
        return self.post(f"stock/{line.code}/change/", {"what": "use_up", "quantity": quantity})

    def gather(self, kit: Kit, place: Place) -> Told:
        answer = self.client.patch(
            f"/api/v1/kits/{kit.number}/", {"place": place.code}, format="json"
        )
        return self._told(answer)

    def ran(self, piece: Piece, metres: str) -> Told:
        return self.post(f"pieces/{piece.code}/lengths/", {"length_m": metres})

    def bring(self, name: str, data: bytes) -> Told:
        files = {"files": [SimpleUploadedFile(name, data)]}
        return self._told(self.client.post("/api/v1/imports/", files, format="multipart"))

    def apply(self, number: int) -> Told:
        return self.post(f"imports/{number}/apply/", {})


class Pages:
    def __init__(self, client: Client) -> None:
        self.client = client

    def _told(self, answer: Any) -> Told:
        text = re.sub(r"<template.*?</template>", "", answer.content.decode(), flags=re.DOTALL)
        codes = tuple(re.findall(r'class="problem[^"]*" data-code="([^"]*)"', text))
        parts = re.findall(
            r'class="problem[^"]*" data-code="[^"]*"[^>]*>(.*?)</div>', text, re.DOTALL
        )
        parts = [re.sub(r"<(a|button)\b.*?</\1>", "", each, flags=re.DOTALL) for each in parts]
        words = html.unescape(" ".join(re.sub(r"<[^>]+>", " ", each) for each in parts))
        return Told(answer.status_code, codes, re.sub(r"\s+", " ", words))

    def post(self, path: str, form: dict[str, Any]) -> Told:
        return self._told(self.client.post(path, form))

    def scan(self, code: str, to: str) -> Told:
        return self.post("/scan/enter/", {"code": code, "to": to})

    def tick(self, code: str, to: str) -> Told:
        return self.post("/scan/tick/", {"code": code, "to": to})

    def look_up(self, code: str) -> Told:
        return self._told(self.client.get(f"/pieces/{code}/"))

    def put_inside(self, place: Place, outer: Place) -> Told:
        form = {"name": place.name, "kind": place.kind, "parent": outer.code, "is_active": "on"}
        return self.post(f"/shop/places/{place.code}/edit/", form)

    def measure(self, piece: Piece, value: str) -> Told:
        form = {"dimension": "drive_diameter", "value": value}
        return self.post(f"/pieces/{piece.code}/reading/", form)

    def use_up(self, line: StockLine, quantity: int) -> Told:
        form = {"verb": "use_up", "quantity": quantity}
        return self.post(f"/pieces/stock/{line.code}/change/", form)

    def gather(self, kit: Kit, place: Place) -> Told:
        return self.post(f"/kits/{kit.number}/place/", {"place": place.code})

    def ran(self, piece: Piece, metres: str) -> Told:
        return self.post(f"/pieces/{piece.code}/length/", {"length": f"{metres} m"})

    def bring(self, name: str, data: bytes) -> Told:
        file = SimpleUploadedFile(name, data)
        answer = self.client.post("/shop/spreadsheets/bring/", {"files": file})
        if answer.status_code == 302:
            answer = self.client.get(answer["Location"])
        return self._told(answer)

    def apply(self, number: int) -> Told:
        return self.post(f"/shop/spreadsheets/{number}/apply/", {})


Way = Api | Pages


@pytest.fixture(params=["api", "page"])
def way(request: Any, scene: Scene, engineer: Person, api_as: Any) -> Way:
    if request.param == "api":
        return Api(api_as(engineer))
    client = Client()
    client.force_login(engineer, backend="django.contrib.auth.backends.ModelBackend")
    return Pages(client)


def sheet(*rows: str) -> bytes:
    return "\n".join(rows).encode()


def pieces_sheet(size: str, **fields: str) -> bytes:
    place = fields.get("place", "Rack")
    return sheet("Old no,Drawing,Place,Units,OD", f"R-77,D1t,{place},mm,{size}")


def hundred_owners() -> bytes:
    rows = [f"A{n},Owner {n},no" for n in range(1, 101)]
    rows[41] = "A42,Owner 42,perhaps"
    return sheet("Code,Name,Our own shop", *rows)


Act = Callable[[Way, Scene], Told]
BAD: dict[str, tuple[Act, str, Callable[[Scene], str]]] = {
    # Scans and codes.
    "a code that nothing has": (
        lambda way, s: way.scan(NOBODYS, s.rack.code), "unknown_code", lambda s: NOBODYS),
    "a misread code": (
        lambda way, s: way.scan(s.misread, s.rack.code),
        "bad_check_character", lambda s: s.misread),
    "a page of a piece that is not there": (
        lambda way, s: way.look_up(NOBODYS), "unknown_code", lambda s: NOBODYS),
    "a page of a misread code": (
        lambda way, s: way.look_up(s.misread), "bad_check_character", lambda s: s.misread),
    "a piece that is staged elsewhere": (
        lambda way, s: way.scan(s.staged.code, s.kit.number),
        "piece_taken", lambda s: s.other.number),
    "a scan into a closed kit": (
        lambda way, s: way.scan(s.piece.code, s.closed.number), "kit_closed", lambda s: "J3"),
    "gathering a closed kit": (
        lambda way, s: way.gather(s.closed, s.cart), "kit_closed", lambda s: s.closed.number),
    "a mark that nothing has": (
        lambda way, s: way.scan("no such mark", s.rack.code),
        "unknown_code", lambda s: "no such mark"),
    # Places.
    "a rack inside its own shelf": (
        lambda way, s: way.put_inside(s.rack, s.shelf),
        "place_inside_itself", lambda s: "Rack"),
    "a rack inside itself": (
        lambda way, s: way.put_inside(s.rack, s.rack), "place_inside_itself", lambda s: "Rack"),
    "a cart onto itself": (
        lambda way, s: way.tick(s.cart.code, s.cart.code),
        "place_inside_itself", lambda s: s.cart.name),
    # Sizes, counts, lengths.
    "a negative size": (
        lambda way, s: way.measure(s.piece, "-150.2"), "negative_length", lambda s: "-150.2"),
    "an absurd size": (
        lambda way, s: way.measure(s.piece, "15000000 mm"),
        "absurd_length", lambda s: "15000000"),
    "a size in the wrong unit": (
        lambda way, s: way.measure(s.piece, "5.94 mm"), "wrong_unit", lambda s: "5.94"),
    "a size far from what it was": (
        lambda way, s: way.measure(s.piece, "120 mm"), "improbable_value", lambda s: "120"),
    "a size with two meanings": (
        lambda way, s: way.measure(s.piece, "150,125"), "ambiguous_length", lambda s: "150,125"),
    "a size in words": (
        lambda way, s: way.measure(s.piece, "about 150"), "not_a_length", lambda s: "about 150"),
    "more used up than there is": (
        lambda way, s: way.use_up(s.spacers, 5), "stock_short", lambda s: "4"),
    "a negative length of strip": (
        lambda way, s: way.ran(s.piece, "-40"), "negative_length", lambda s: "-40"),
    # Sheets.
    "a picture for a sheet": (
        lambda way, s: way.bring("rolls.png", PICTURE), "no_spreadsheet",
        lambda s: "rolls.png"),
    "a sheet of nothing": (
        lambda way, s: way.bring("rolls.csv", b""), "empty_file", lambda s: "rolls.csv"),
    "a workbook cut short": (
        lambda way, s: way.bring("rolls.xlsx", b"PK\x03\x04 cut short"),
        "damaged_file", lambda s: "rolls.xlsx"),
    "one bad row of a hundred": (
        lambda way, s: way.bring("owners.csv", hundred_owners()),
        "not_yes_or_no", lambda s: "perhaps"),
    "a negative size in a sheet": (
        lambda way, s: way.bring("rolls.csv", pieces_sheet("-180")),
        "negative_length", lambda s: "-180"),
    "an absurd size in a sheet": (
        lambda way, s: way.bring("rolls.csv", pieces_sheet("180000 m")),
        "absurd_length", lambda s: "180000 m"),
    "an improbable size in a sheet": (
        lambda way, s: way.bring("rolls.csv", pieces_sheet("7.09")),
        "improbable_value", lambda s: "7.09"),
    "an ambiguous size in a sheet": (
        lambda way, s: way.bring("rolls.csv", pieces_sheet('"180,125"')),
        "ambiguous_length", lambda s: "180,125"),
    "an unknown place in a sheet": (
        lambda way, s: way.bring("rolls.csv", pieces_sheet("180", place="Nowhere")),
        "unknown_place", lambda s: "Nowhere"),
    "a misread code in a sheet": (
        lambda way, s: way.bring(
            "rolls.csv", sheet("Label code,Drawing,Place", f"{s.misread},D1t,Rack")),
        "bad_check_character", lambda s: s.misread),
    "an unknown code in a sheet": (
        lambda way, s: way.bring(
            "readings.csv",
            sheet("Piece,Dimension,Value mm,Date", f"{NOBODYS},OD,180,2026-01-02")),
        "unknown_piece", lambda s: NOBODYS),
    "a place inside itself in a sheet": (
        lambda way, s: way.bring("places.csv", sheet("Name,Inside,Kind", "Bay,Bay,area")),
        "place_inside_itself", lambda s: "Bay"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_named_in_place_and_changes_nothing(
    nothing_changes: None, way: Way, scene: Scene, case: str
) -> None:
    act, code, value = BAD[case]
    told = act(way, scene)
    assert told.codes == (code,), told
    assert value(scene) in told.words
    assert told.words.rstrip()[-1] in ".?!”"
    assert told.status in (200, 201, 400, 404, 409)


def test_a_hundred_rows_with_one_bad_cannot_be_applied(
    nothing_changes: None, way: Way, scene: Scene
) -> None:
    way.bring("owners.csv", hundred_owners())
    told = way.apply(Import.objects.get().pk)
    assert told.status == 409
    assert "import_has_problems" in told.codes
    assert "row 43" in told.words


@pytest.mark.parametrize("mark", ["=2+5", "+1", "-12 T", "@SUM(A1)", "=cmd|'/c calc'!A0", "\tx"])
def test_a_cell_that_looks_like_a_formula_leaves_as_text(
    world: World, client: Client, engineer: Person, at: datetime, mark: str
) -> None:
    rack = world.place("Rack A")
    drawing = world.drawing("D-1")
    world.piece(drawing, rack, mark=mark)
    client.force_login(engineer, backend="django.contrib.auth.backends.ModelBackend")
    text = client.get("/shop/spreadsheets/pieces.csv").content.decode("utf-8-sig")
    assert f"'{mark}" in [row["Mark"] for row in csv.DictReader(io.StringIO(text))]
    book = load_workbook(io.BytesIO(client.get("/shop/spreadsheets/rollroom.xlsx").content))
    cells = [cell for line in book["Pieces"].iter_rows() for cell in line]
    assert not [cell for cell in cells if cell.data_type == "f"]
    assert any(str(cell.value).endswith(mark.strip()) for cell in cells)

"""Another mapping through the API: the same choices, codes and refusals as on the page."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.services.importing import csv
from tests.spreadsheets.messy import INCH_PRINTS, inch_crib
from tooling.models import Import, ImportMapping, Person, Piece

pytestmark = pytest.mark.django_db
API = "/api/v1/imports/"


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


@pytest.fixture
def brought(api_as: Any, engineer: Person) -> tuple[Any, dict[str, Any]]:
    client = api_as(engineer)
    files = [
        SimpleUploadedFile("prints.csv", csv(INCH_PRINTS)),
        SimpleUploadedFile("crib.xlsx", inch_crib()),
    ]
    return client, client.post(API, {"files": files}, format="multipart").json()


def remap(client: Any, number: int, *sheets: dict[str, Any], **more: Any) -> Any:
    return client.post(f"{API}{number}/mapping/", {"sheets": sheets, **more}, format="json")


def test_choices_are_sent_kept_and_applied(brought: tuple[Any, dict[str, Any]]) -> None:
    client, made = brought
    entry = made["mapping"]["sheets"][1]
    chosen = {**entry["mapping"], "date_order": "mdy", "copies": "letters"}
    answer = remap(client, made["id"], {}, {"mapping": chosen}, {"left_out": False}, keep_as="Crib")
    assert (answer.status_code, answer.json()["problems"]) == (200, [])
    assert client.post(f"{API}{made['id']}/apply/").json()["state"] == "applied"
    assert Piece.objects.filter(mark="4U").count() == 2
    kept = client.get("/api/v1/import-mappings/").json()
    assert [each["name"] for each in kept] == ["Crib"]
    assert "rows" not in kept[0]["mapping"]["sheets"][1]


def test_a_table_can_stand_elsewhere_and_rows_be_left_out(
    brought: tuple[Any, dict[str, Any]],
) -> None:
    client, made = brought
    region = {**made["mapping"]["sheets"][1]["region"], "last_row": 4}
    answer = remap(client, made["id"], {}, {"region": region, "drop_rows": [3]}).json()
    entry = answer["mapping"]["sheets"][1]
    assert (entry["region"]["last_row"], entry["body"], entry["drop_rows"]) == (4, 2, [3])
    assert {p["row"] for p in answer["problems"]} == {4}


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"region": {"heading_row": 0, "heading_last": 0}}, "bad_region"),
        ({"region": {"heading_row": "two"}}, "bad_region"),
        ({"region": {"heading_row": 90, "heading_last": 90}}, "no_headings"),
        ({"mapping": {"kind": "gadgets"}}, "unknown_kind"),
        ({"mapping": {"kind": "pieces", "columns": {"sku": "A"}}}, "bad_mapping"),
        ({"mapping": {"kind": "pieces", "splits": {"Stamp": "{figures}"}}}, "bad_pattern"),
        ({"mapping": {"kind": "owners", "copies": "letters"}}, "bad_mapping"),
        ({"leave": ["because"]}, "bad_mapping"),
        ({"drop_rows": ["7"]}, "bad_mapping"),
        ({"groups": "perhaps"}, "bad_mapping"),
    ],
)
def test_what_cannot_be_used_is_refused_and_nothing_is_changed(
    brought: tuple[Any, dict[str, Any]], given: dict[str, Any], code: str
) -> None:
    client, made = brought
    answer = remap(client, made["id"], {}, given)
    assert answer.status_code == (404 if code == "unknown_kind" else 400)
    assert answer.json()["code"] == code
    assert Import.objects.get().mapping == made["mapping"]


def test_a_further_table_must_be_of_a_sheet_of_the_import(
    brought: tuple[Any, dict[str, Any]],
) -> None:
    client, made = brought
    further = {"file": "other.xlsx", "sheet": "Crib", "region": {}}
    answer = remap(client, made["id"], {}, {}, {}, further)
    assert (answer.status_code, answer.json()["code"]) == (400, "bad_mapping")


def test_an_import_is_put_away(brought: tuple[Any, dict[str, Any]]) -> None:
    client, made = brought
    assert client.post(f"{API}{made['id']}/drop/").json()["state"] == "dropped"
    again = client.post(f"{API}{made['id']}/drop/")
    assert (again.status_code, again.json()["code"]) == (409, "import_over")


def test_nobody_else_maps_drops_or_looks(
    brought: tuple[Any, dict[str, Any]], api_as: Any, crew: Person
) -> None:
    _client, made = brought
    other = api_as(crew)
    answers = [
        remap(other, made["id"], {"left_out": True}),
        other.post(f"{API}{made['id']}/drop/"),
        other.get("/api/v1/import-mappings/"),
    ]
    assert [each.status_code for each in answers] == [403] * 3
    assert not ImportMapping.objects.exists()

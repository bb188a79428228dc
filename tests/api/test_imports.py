"""Spreadsheets in through the API: bring, look, apply, each by who may."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.services.importing import OWNERS, PLACES, csv
from tooling.models import Import, ImportMapping, Owner, Person
from tooling.services import imports

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


def upload(name: str, data: bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data)


def bring(client: Any, *files: SimpleUploadedFile, **fields: str) -> Any:
    return client.post("/api/v1/imports/", {"files": list(files), **fields}, format="multipart")


def test_bring_look_and_apply(api_as: Any, engineer: Person) -> None:
    client = api_as(engineer)
    made = bring(client, upload("owners.csv", csv(OWNERS)), upload("places.csv", csv(PLACES)))
    assert made.status_code == 201
    assert made.json()["rows"] == {"create": 7, "change": 0, "same": 0}
    assert made.json()["problems"] == []
    address = f"/api/v1/imports/{made.json()['id']}/"
    assert client.get(address).json()["state"] == "ready"
    assert not Owner.objects.exists()
    applied = client.post(f"{address}apply/")
    assert (applied.status_code, applied.json()["state"]) == (200, "applied")
    assert Owner.objects.count() == 2


def test_each_problem_says_sheet_row_column_value_and_reason(api_as: Any, engineer: Person) -> None:
    client = api_as(engineer)
    made = bring(client, upload("owners.csv", b"Code,Name,Our own shop\nA,Alder,perhaps")).json()
    assert made["problems"] == [
        {
            "sheet": "owners",
            "row": 2,
            "column": "Our own shop",
            "value": "perhaps",
            "code": "not_yes_or_no",
            "message": "“perhaps” is neither yes nor no.",
        }
    ]
    refused = client.post(f"/api/v1/imports/{made['id']}/apply/")
    assert (refused.status_code, refused.json()["code"]) == (409, "import_has_problems")
    assert not Owner.objects.exists()


def test_a_kept_mapping_is_asked_for_by_its_name(api_as: Any, engineer: Person, at: Any) -> None:
    made = imports.bring(by=engineer, at=at, brought=[imports.Brought("o.csv", csv(OWNERS))])
    imports.keep_mapping(by=engineer, at=at, made=made, name="ours")
    assert ImportMapping.objects.count() == 1
    client = api_as(engineer)
    assert bring(client, upload("o.csv", csv(OWNERS)), mapping="ours").status_code == 201
    refused = bring(client, upload("o.csv", csv(OWNERS)), mapping="theirs")
    assert (refused.status_code, refused.json()["code"]) == (400, "unknown_mapping")


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("a.xlsx", b"\x89PNG\r\n\x1a\n", "no_spreadsheet"),
        ("a.csv", b"  \n", "empty_file"),
    ],
)
def test_what_is_no_spreadsheet_is_refused(
    api_as: Any, engineer: Person, name: str, data: bytes, code: str
) -> None:
    refused = bring(api_as(engineer), upload(name, data))
    assert (refused.status_code, refused.json()["code"]) == (400, code)
    assert not Import.objects.exists()


def test_no_file_is_refused(api_as: Any, engineer: Person) -> None:
    refused = bring(api_as(engineer))
    assert (refused.status_code, refused.json()["code"]) == (400, "no_files")


def test_an_import_is_applied_once(api_as: Any, engineer: Person) -> None:
    client = api_as(engineer)
    made = bring(client, upload("owners.csv", csv(OWNERS))).json()
    address = f"/api/v1/imports/{made['id']}/apply/"
    assert client.post(address).status_code == 200
    again = client.post(address)
    assert (again.status_code, again.json()["code"]) == (409, "import_over")


def test_an_import_that_is_not_there(api_as: Any, engineer: Person) -> None:
    assert api_as(engineer).get("/api/v1/imports/77/").status_code == 404


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_others_neither_bring_nor_look_nor_apply(
    api_as: Any, cast: dict[str, Person], engineer: Person, role: str
) -> None:
    made = bring(api_as(engineer), upload("owners.csv", csv(OWNERS))).json()
    client = api_as(cast[role])
    address = f"/api/v1/imports/{made['id']}/"
    answers = [
        bring(client, upload("owners.csv", csv(OWNERS))),
        client.get("/api/v1/imports/"),
        client.get(address),
        client.post(f"{address}apply/"),
    ]
    assert [(each.status_code, each.json()["code"]) for each in answers] == [
        (403, "not_allowed")
    ] * 4
    assert not Owner.objects.exists()


def test_nobody_without_a_token(client: Any) -> None:
    assert client.get("/api/v1/imports/").status_code == 401


def test_the_list_has_the_newest_first(api_as: Any, engineer: Person) -> None:
    client = api_as(engineer)
    numbers = [bring(client, upload("o.csv", csv(OWNERS))).json()["id"] for _n in range(2)]
    assert [each["id"] for each in client.get("/api/v1/imports/").json()] == numbers[::-1]

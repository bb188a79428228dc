"""The pages of spreadsheets in and out."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from tests.services.importing import OWNERS, PLACES, csv
from tooling.models import Import, ImportMapping, Owner, Person, Place

pytestmark = pytest.mark.django_db
LIST = "/shop/spreadsheets/"


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


def bring(client: Any, name: str, data: bytes, **fields: str) -> Any:
    files = [SimpleUploadedFile(name, data)]
    return client.post(f"{LIST}bring/", {"files": files, **fields}, follow=True)


def test_from_upload_to_applied(log_in: Any, engineer: Person) -> None:
    client = log_in(engineer)
    shown = bring(client, "owners.csv", csv(OWNERS))
    assert "2 new, 0 changed, 0 the same" in shown.content.decode()
    assert not Owner.objects.exists()
    number = Import.objects.get().pk
    applied = client.post(f"{LIST}{number}/apply/", follow=True)
    assert "Applied. Rows: 2 new" in applied.content.decode()
    assert Owner.objects.count() == 2


def test_a_problem_stands_with_its_place_value_and_reason(log_in: Any, engineer: Person) -> None:
    page = bring(log_in(engineer), "o.csv", b"Code,Name,Our own shop\nA,Alder,perhaps").content
    text = page.decode()
    assert '<div class="problem" data-code="not_yes_or_no" data-row="2">' in text
    assert "“perhaps” is neither yes nor no." in text
    assert "o · Our own shop · 1 problem" in text
    assert "Apply all of it" not in text


def test_hundreds_of_problems_are_put_together_by_reason(log_in: Any, engineer: Person) -> None:
    rows = "\n".join(f"C{n},Owner,perhaps" for n in range(500))
    page = bring(log_in(engineer), "o.csv", f"Code,Name,Our own shop\n{rows}".encode())
    text = page.content.decode()
    assert "500 problems keep it" in text
    assert text.count('class="problem"') == 300
    assert "292 more like these" in text
    assert "and 200 more" in text


def test_problems_that_keep_it_from_being_applied_are_said_on_the_page(
    log_in: Any, engineer: Person
) -> None:
    client = log_in(engineer)
    bring(client, "o.csv", b"Code,Name,Our own shop\nA,Alder,perhaps")
    answer = client.post(f"{LIST}{Import.objects.get().pk}/apply/")
    assert answer.status_code == 409
    assert 'data-code="import_has_problems"' in answer.content.decode()


def test_the_mapping_is_changed_kept_and_used_again(log_in: Any, engineer: Person) -> None:
    client = log_in(engineer)
    german = "Kürzel;Firma\nTANNE;Tannhof\n".encode()
    bring(client, "kunden.csv", german)
    number = Import.objects.get().pk
    form = {"s0-kind": "owners", "s0-h0": "code", "s0-h1": "name"}
    for keep in ("", "Kunden"):
        shown = client.post(f"{LIST}{number}/columns/", {**form, "keep_as": keep}, follow=True)
    assert "Mapping kept as “Kunden”" in shown.content.decode()
    assert "1 new, 0 changed" in shown.content.decode()
    assert ImportMapping.objects.get().name == "Kunden"
    again = bring(client, "kunden2.csv", german, mapping="Kunden")
    assert "1 new, 0 changed" in again.content.decode()


def test_a_field_given_twice_is_said_and_nothing_is_changed(log_in: Any, engineer: Person) -> None:
    client = log_in(engineer)
    bring(client, "o.csv", csv(OWNERS))
    made = Import.objects.get()
    form = {"s0-kind": "owners", "s0-h0": "code", "s0-h1": "name", "s0-h3": "name"}
    answer = client.post(f"{LIST}{made.pk}/columns/", form)
    assert answer.status_code == 400
    assert 'data-code="field_twice"' in answer.content.decode()
    before = made.mapping
    made.refresh_from_db()
    assert made.mapping == before


def test_a_needed_field_that_no_column_gives_can_be_given_to_every_row(
    log_in: Any, engineer: Person
) -> None:
    client = log_in(engineer)
    bring(client, "places.csv", b"Name,Inside\nRack A,\n")
    number = Import.objects.get().pk
    shown = client.get(f"{LIST}{number}/").content.decode()
    assert 'name="s0-f-kind"' in shown
    form = {"s0-kind": "places", "s0-h0": "name", "s0-h1": "inside", "s0-f-kind": "rack"}
    client.post(f"{LIST}{number}/columns/", form)
    client.post(f"{LIST}{number}/apply/")
    assert Place.objects.get().kind == "rack"


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [("rolls.xlsx", b"\x89PNG\r\n\x1a\n", "no_spreadsheet"), ("rolls.csv", b"\n", "empty_file")],
)
def test_what_is_no_spreadsheet_is_said_where_it_was_brought(
    log_in: Any, engineer: Person, name: str, data: bytes, code: str
) -> None:
    answer = bring(log_in(engineer), name, data)
    assert answer.status_code == 400
    assert f'data-code="{code}"' in answer.content.decode()
    assert "Look at them" in answer.content.decode()


def test_put_away(log_in: Any, engineer: Person) -> None:
    client = log_in(engineer)
    bring(client, "o.csv", csv(OWNERS))
    number = Import.objects.get().pk
    client.post(f"{LIST}{number}/put-away/")
    assert Import.objects.get().state == "dropped"
    shown = client.get(f"{LIST}{number}/").content.decode()
    assert "Put away. Nothing was changed." in shown
    assert "Apply all of it" not in shown


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_others_see_the_list_and_take_sheets_away_but_bring_none(
    log_in: Any, cast: dict[str, Person], role: str
) -> None:
    client = log_in(cast[role])
    shown = client.get(LIST)
    assert shown.status_code == 200
    assert "Look at them" not in shown.content.decode()
    assert bring(client, "o.csv", csv(OWNERS)).status_code == 403
    assert client.get(f"{LIST}owners.csv").status_code == 200
    assert not Import.objects.exists()


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
@pytest.mark.parametrize("act", ["", "columns/", "apply/", "put-away/"])
def test_others_touch_no_import(
    client: Any, cast: dict[str, Person], engineer: Person, role: str, act: str, log_in: Any
) -> None:
    bring(log_in(engineer), "o.csv", csv(OWNERS))
    number = Import.objects.get().pk
    other = log_in(cast[role])
    address = f"{LIST}{number}/{act}"
    answer = other.post(address) if act else other.get(address)
    assert answer.status_code == 403
    assert Import.objects.get().state == "ready"


def test_templates_are_empty_workbooks_with_headings_in_either_unit(
    log_in: Any, viewer: Person
) -> None:
    client = log_in(viewer)
    for unit in ("mm", "in"):
        answer = client.get(f"{LIST}empty/drawings.xlsx?unit={unit}")
        book = load_workbook(BytesIO(answer.content))
        assert f"Bore ({unit})" in [cell.value for cell in book.worksheets[0][1]]


def test_a_template_of_no_kind_is_not_found(log_in: Any, viewer: Person) -> None:
    assert log_in(viewer).get(f"{LIST}empty/wishes.xlsx").status_code == 404


def test_everything_is_one_workbook(log_in: Any, viewer: Person) -> None:
    answer = log_in(viewer).get(f"{LIST}rollroom.xlsx")
    assert len(load_workbook(BytesIO(answer.content)).worksheets) == 19
    assert answer["Content-Disposition"] == 'attachment; filename="rollroom.xlsx"'


def test_the_list_asks_the_same_few_questions_whatever_its_length(
    log_in: Any, engineer: Person
) -> None:
    client = log_in(engineer)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            client.get(LIST)
        return len(captured)

    bring(client, "o.csv", csv(OWNERS))
    one = queries()
    for _n in range(5):
        bring(client, "p.csv", csv(PLACES))
    assert queries() == one

"""The import pages ask the same few questions however much was brought, and say what they read."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.services.importing import look
from tooling.models import Import, Person
from tooling.queries.import_tables import table_line
from tooling.queries.imports import import_page, imports_page
from tooling.spreadsheets.entries import guess_entries, titled

pytestmark = pytest.mark.django_db
COUNTS = json.loads((Path(__file__).resolve().parent.parent / "query_counts.json").read_text())


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


def owners(count: int) -> str:
    return "Code,Name,Ours\n" + "".join(f"C{n},Owner {n},perhaps\n" for n in range(count))


@pytest.mark.parametrize("count", [1, 250])
def test_the_page_of_an_import_asks_no_more_for_more_rows(
    engineer: Person, at: Any, count: int
) -> None:
    made = look(engineer, at, owners=owners(count), places="Name,Kind\nRack A,rack\n")
    with CaptureQueriesContext(connection) as asked:
        page = import_page(made.pk)
    assert len(asked) == COUNTS["import page"]
    assert page.problem_count == count


@pytest.mark.parametrize("count", [0, 1, 12])
def test_the_list_of_imports_asks_no_more_for_more_imports(
    engineer: Person, at: Any, count: int
) -> None:
    for _turn in range(count):
        look(engineer, at, owners=owners(1))
    with CaptureQueriesContext(connection) as asked:
        assert len(imports_page().imports) == count
    assert len(asked) == COUNTS["import list" if count else "import list, none"]


def line(text: str, **mapping: Any) -> Any:
    (entry,) = titled(guess_entries(text.encode(), name="rolls.csv"))
    entry["mapping"] = {**entry["mapping"], **mapping}
    return table_line(0, entry, set())


def test_each_column_shows_a_few_cells_and_what_they_are_read_as() -> None:
    table = line("Mark;Dwg;Bore mm;Last measured\nA;D;63,5;03/04/2025\nB;D;n/a;14.3.2026\n")
    bore, measured = table.columns[2].choice, table.columns[3].choice
    assert [(s.raw, s.told) for s in bore.samples] == [("63,5", "63.5 mm"), ("n/a", "")]
    assert [(s.raw, s.code) for s in bore.samples][1] == ("n/a", "not_a_length")
    assert [s.told for s in measured.samples] == ["3 April 2025", "14 March 2026"]
    assert "because of “14.3.2026”" in " ".join(table.told)


def test_the_preview_marks_what_stands_in_a_row_above() -> None:
    table = line("Mark;Dwg\nA;D-1\nB;\n", fill_down=["drawing"])
    assert table.preview_headings == ("Mark", "Drawing")
    assert [[(c.told, c.above) for c in row.cells] for row in table.preview] == [
        [("A", False), ("D-1", False)],
        [("B", False), ("D-1", True)],
    ]
    assert table.columns[1].choice.blank_count == 1


def test_a_table_of_no_known_kind_is_shown_as_it_stands() -> None:
    (entry,) = titled(guess_entries(b"Gravur;Druck\nA;D\n", name="rolls.csv"))
    table = table_line(0, {**entry, "mapping": None}, set())
    assert (table.preview_headings, table.preview[0].cells[0].told) == (("Gravur", "Druck"), "A")


def test_an_entry_of_an_older_import_is_shown_all_the_same(engineer: Person, at: Any) -> None:
    entry = {"file": "o.csv", "sheet": "o", "headings": ["Code"], "mapping": None}
    made = Import.objects.create(
        state="mapping", mapping={"sheets": [entry]}, by=engineer, created_at=at
    )
    (table,) = import_page(made.pk).sheets
    assert (table.title, table.place, table.preview) == ("o", None, ())

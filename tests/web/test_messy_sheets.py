"""Ugly sheets of three toolrooms, each from the file over the page to the applied records."""

from __future__ import annotations

import re
from datetime import date
from html.parser import HTMLParser
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from tests.services.importing import csv
from tests.spreadsheets.messy import (
    INCH_PRINTS,
    WALL_PRINTS,
    inch_crib,
    stock_room,
    wall_chart,
)
from tooling.models import (
    DrawingRevision,
    Import,
    Owner,
    Person,
    Piece,
    SetPosition,
    StockLine,
    ToolSet,
)

pytestmark = pytest.mark.django_db
LIST = "/shop/spreadsheets/"


@pytest.fixture(autouse=True)
def _files(settings: Any, tmp_path: Any) -> None:
    settings.FILES_DIR = tmp_path


class Desk:
    """One person at the import pages: brings files, changes choices, looks again, applies."""

    def __init__(self, client: Any) -> None:
        self.client = client

    def bring(self, mapping: str = "", **files: bytes) -> str:
        brought = [SimpleUploadedFile(name.replace("_", "."), data) for name, data in files.items()]
        answer = self.client.post(
            f"{LIST}bring/", {"files": brought, "mapping": mapping}, follow=True
        )
        assert answer.status_code == 200
        return str(answer.content.decode())

    @property
    def made(self) -> Import:
        made = Import.objects.order_by("-pk").first()
        assert made is not None
        return made

    def look_again(self, **choices: str) -> str:
        """The form as it stands, with these choices changed: ``s1_h3`` is the field ``s1-h3``."""
        form = form_of(self.client.get(f"{LIST}{self.made.pk}/").content.decode())
        form.update({self._name(name): value for name, value in choices.items()})
        answer = self.client.post(f"{LIST}{self.made.pk}/columns/", form, follow=True)
        text = str(answer.content.decode())
        assert answer.status_code == 200, re.findall('class="problem" data-code="(.+?)"', text)
        return text

    @staticmethod
    def _name(name: str) -> str:
        return name if name == "keep_as" else name.replace("__", ".").replace("_", "-")

    def apply(self) -> None:
        assert self.made.problems == []
        self.client.post(f"{LIST}{self.made.pk}/apply/", follow=True)
        assert self.made.state == "applied"

    def problems(self) -> list[tuple[str, int, str, str]]:
        return [(p["sheet"], p["row"], p["value"], p["code"]) for p in self.made.problems]


def form_of(page: str) -> dict[str, str]:
    """What a browser would send of the mapping form."""
    reader = _FormReader()
    reader.feed(page)
    return reader.values


class _FormReader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.values: dict[str, str] = {}
        self._inside, self._select = False, ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._inside = said.get("id") == "mapping"
        elif not self._inside:
            return
        elif tag == "select":
            self._select = said["name"]
        elif tag == "option" and ("selected" in said or self._select not in self.values):
            self.values[self._select] = said["value"]
        elif tag == "input" and (said.get("type") != "checkbox" or "checked" in said):
            blank = "on" if said.get("type") == "checkbox" else ""
            self.values[said["name"]] = said.get("value", blank)


@pytest.fixture
def desk(log_in: Any, engineer: Person) -> Desk:
    return Desk(log_in(engineer))


def test_the_wall_chart_of_a_tube_mill(desk: Desk) -> None:
    """Merged sets, positions in one cell, decimal commas, two heading rows, a remark below."""
    desk.bring(prints_csv=csv(WALL_PRINTS), chart_xlsx=wall_chart())
    entry = desk.made.mapping["sheets"][1]
    assert entry["headings"][:6] == [
        "Tool set", "Where", "Print no", "Strip (mm) t min", "Strip (mm) t max", "Marks face",
    ]  # fmt: skip
    desk.look_again(s1_kind="sets")
    page = desk.look_again(s1_p1="P{number} {letters}{number}")
    assert "P01 T1 → 01 | T | 1" in page
    assert desk.made.mapping["sheets"][1]["mapping"]["columns"]["shaft"] == "Where ›2"
    desk.look_again(s1_h3="thickness_least", s1_u3="mm", s1_h4="thickness_most", s1_u4="mm")
    assert desk.problems() == []
    desk.look_again(keep_as="Wall chart")
    desk.apply()
    sixty = ToolSet.objects.get(number="60 round")
    assert (sixty.thickness_least_nm, sixty.thickness_most_nm) == (1_500_000, 3_000_000)
    assert [
        (p.set_pass.number, p.shaft, p.order, p.drawing.number, p.mark_faces)
        for p in SetPosition.objects.order_by("set_pass__number", "-shaft")
    ] == [
        (1, "top", 1, "CB-60-01T", "outboard"),
        (1, "bottom", 1, "CB-60-01B", "outboard"),
        (2, "top", 1, "CB-60-02T", "inboard"),
        (2, "bottom", 1, "CB-60-02B", "outboard"),
        (3, "top", 1, "CB-80-03T", "outboard"),
        (3, "bottom", 1, "CB-80-03B", "outboard"),
    ]


def test_next_months_chart_is_read_by_the_kept_mapping_though_a_title_row_was_added(
    desk: Desk,
) -> None:
    test_the_wall_chart_of_a_tube_mill(desk)
    desk.bring(mapping="Wall chart", april_xlsx=wall_chart(titles=4))
    assert desk.made.mapping["sheets"][0]["region"]["heading_row"] == 6
    assert desk.problems() == []
    assert desk.made.rows == {"create": 0, "change": 0, "same": 6}


def test_a_position_that_is_written_otherwise_is_a_problem_that_names_it(desk: Desk) -> None:
    chart = wall_chart(more=(["90 round", "spare", "CB-60-01T", None, None, "out", None],))
    desk.bring(prints_csv=csv(WALL_PRINTS), chart_xlsx=chart)
    desk.look_again(s1_kind="sets")
    page = desk.look_again(s1_p1="P{number} {letters}{number}")
    assert desk.problems() == [("Wall chart", 12, "spare", "not_split")]
    assert "These do not: spare" in page


def test_the_three_lists_of_a_stock_room_in_one_text_file(desk: Desk) -> None:
    """Windows letters, decimal commas, points between thousands, totals, hard spaces."""
    desk.bring(owners_csv=b"Code,Name,Ours\nEIB,Eibenhof,yes\n", lager_txt=stock_room())
    desk.look_again(s1_new_row="4")
    tables = desk.made.mapping["sheets"][1:]
    assert [entry["region"]["heading_row"] for entry in tables] == [4, 9, 15]
    assert [entry["left_rows"] for entry in tables] == [
        [],
        [[13, "total", "Summe · 1,405"]],
        [
            [19, "total", "Summe · 2.350"],
            [21, "footer", "Gezählt von der Frühschicht im Lager Süd"],
        ],
    ]
    desk.look_again(s1_kind="places", s2_kind="drawings", s3_kind="stock")
    page = desk.look_again(
        s1_h0="name", s1_h1="inside", s1_f_kind="rack",
        s2_h0="drawing", s2_h1="bore", s2_h2="face_width", s2_h3="outside_diameter",
        s2_h4="mass", s2_f_kind="spacer",
        s3_h0="drawing", s3_h1="place", s3_h2="count", s3_h3="least_count",
    )  # fmt: skip
    assert "Decimals are read with a comma" in page
    assert [code for _s, _r, _v, code in desk.problems()] == ["ambiguous_number"] * 2
    desk.look_again(s3_decimal=",")
    desk.apply()
    sizes = {
        each.drawing.number: (each.face_width_nm, each.mass_g)
        for each in DrawingRevision.objects.select_related("drawing")
    }
    # 2,5 mm and 64 g; 12,7 mm and 323 g; 40,0 mm and 1018 g
    assert sizes == {
        "DR-70-2,5": (2_500_000, 64),
        "DR-70-12,7": (12_700_000, 323),
        "DR-70-40": (40_000_000, 1_018),
    }
    lines = StockLine.objects.order_by("drawing__number", "place__path_name")
    assert [(x.drawing.number, x.place.path_name, x.count, x.least_count) for x in lines] == [
        ("DR-70-12,7", "Regal Süd / Fach 1", 96, 0),
        ("DR-70-2,5", "Regal Süd / Fach 1", 1_250, 200),
        ("DR-70-40", "Regal Süd / Fach 2", 1_004, 100),
    ]


def test_the_crib_of_an_inch_shop_with_two_lists_side_by_side(desk: Desk) -> None:
    """Kept formula results, a fraction, dates that read two ways, one mark on two rolls."""
    page = desk.bring(prints_csv=csv(INCH_PRINTS), crib_xlsx=inch_crib())
    assert [e["title"] for e in desk.made.mapping["sheets"]] == ["prints", "Crib (1)", "Crib (2)"]
    assert "Hidden in the workbook, but read like the others: Belongs to." in page
    assert desk.problems() == [
        ("Crib (1)", 3, "03/04/2025", "ambiguous_date"),
        ("Crib (1)", 4, "12/01/2024", "ambiguous_date"),
    ]
    page = desk.look_again(s1_dates="mdy")
    assert "03/04/2025</span> → 4 March 2025" in page
    assert desk.problems() == [("Crib (1)", 4, "4U, GP-4, GANNET", "duplicate_row")]
    desk.look_again(s1_copies="letters")
    assert desk.problems() == []
    desk.apply()
    rolls = {
        (p.mark, p.copy_letter): (p.owner.code, p.now_bore_nm)
        for p in Piece.objects.select_related("owner")
    }
    # 2.5 in = 63.5 mm; 2.5005 in = 63.5127 mm; 2.499 in = 63.4746 mm
    assert rolls == {
        ("4U", "A"): ("GANNET", 63_500_000),
        ("4U", "B"): ("GANNET", 63_500_000),
        ("4L", ""): ("HOLT", 63_512_700),
        ("5U", ""): ("GANNET", 63_474_600),
    }
    assert sorted(Owner.objects.values_list("code", "is_shop")) == [
        ("GANNET", True), ("HOLT", False),
    ]  # fmt: skip
    first = Piece.objects.get(mark="4U", copy_letter="A").readings.get()
    assert first.happened_at.date() == date(2025, 3, 4)
    desk.bring(crib_xlsx=inch_crib())
    desk.look_again(s0_dates="mdy", s0_copies="letters")
    assert desk.made.rows == {"create": 0, "change": 0, "same": 6}


@pytest.mark.parametrize(
    ("choices", "code"),
    [
        ({"s1_from": "7"}, "bad_region"),
        ({"s1_from": "E", "s1_to": "B"}, "bad_region"),
        ({"s1_last": "soon"}, "not_a_number"),
        ({"s1_drop": "the last"}, "not_a_number"),
        ({"s1_new_row": "90"}, "no_headings"),
        ({"s1_p0": "{figures}"}, "bad_pattern"),
        ({"s1_h1": "mark"}, "field_twice"),
    ],
)
def test_a_choice_that_cannot_be_used_is_said_and_the_form_stays_as_it_was_filled_in(
    desk: Desk, choices: dict[str, str], code: str
) -> None:
    desk.bring(prints_csv=csv(INCH_PRINTS), crib_xlsx=inch_crib())
    before = desk.made.mapping
    address = f"{LIST}{desk.made.pk}/"
    form = form_of(desk.client.get(address).content.decode())
    form.update({Desk._name(name): value for name, value in choices.items()})
    form["s1-dates"] = "mdy"
    answer = desk.client.post(f"{address}columns/", form)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert f'<div class="problem" data-code="{code}">' in page
    again = form_of(page)
    assert again["s1-dates"] == "mdy"
    changed = {name for name in form if name in again and form[name] != again[name]}
    assert changed <= {"csrfmiddlewaretoken", "s1-p0"}
    assert desk.made.mapping == before

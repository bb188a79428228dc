"""The list of spacers to make on paper: every piece once, with a code that is scanned back."""

from __future__ import annotations

from datetime import UTC, datetime

import pypdfium2
import pytest

from tests.filling import Filling
from tests.paper.reading import codes, page_texts, pages, read
from tests.world import MM, World
from tooling.models import Person
from tooling.paper.make_list import MakeRow, MakeSheet, make_list_pdf
from tooling.paper.pages import PaperName
from tooling.queries.fill_page import fill_page
from tooling.web.make_paper import sheet_of

KIT = codes(1, "K")[0]


def sheet(count: int, *impossible: str) -> MakeSheet:
    rows = tuple(
        MakeRow(f"{20 + n}.5 mm", f"Station {n + 1}, top, inboard fill", "on a shaft of 60 mm")
        for n in range(count)
    )
    return MakeSheet(
        "J-7", KIT, 3, datetime(2026, 11, 27, 6, 5, tzinfo=UTC), f"{count} pieces",
        (("Mill", "Mill 2"),), rows, impossible,
    )  # fmt: skip


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("count", [0, 1, 250])
def test_every_piece_stands_once_and_every_page_is_numbered(count: int, paper: PaperName) -> None:
    data = make_list_pdf(sheet(count, "Station 9, top: no room."), paper=paper)
    texts = page_texts(data)
    text = " ".join(texts)
    assert [text.count(f" {20 + n}.5 mm") for n in range(count)] == [1] * count
    for number, each in enumerate(texts, start=1):
        assert f"page {number} of {len(texts)}" in each
        assert f"{KIT} · version 3 · {count} to make" in each
        assert "2026-11-27 06:05" in each
    assert "What no piece can put right" in text
    assert ("Nothing has to be made" in text) == (count == 0)
    assert read(pages(data)[0]) == [KIT]
    wanted = (595.28, 841.89) if paper == "a4" else (612, 792)
    assert pypdfium2.PdfDocument(data)[0].get_size() == pytest.approx(wanted, abs=0.01)


def test_words_that_are_too_long_stay_on_the_page() -> None:
    long = MakeRow("grind to " + "9.99 mm " * 30, "Station 1 " * 60, "on a shaft of " * 60)
    made = MakeSheet("J" * 200, KIT, 1, datetime(2026, 1, 1, tzinfo=UTC), "x " * 300, (), (long,))
    document = pypdfium2.PdfDocument(make_list_pdf(made))
    page = document[0].get_textpage()
    width, height = document[0].get_size()
    boxes = [page.get_charbox(n) for n in range(page.count_chars())]
    assert all(a >= 0 and c <= width and b >= 0 and d <= height for a, b, c, d in boxes)


@pytest.mark.django_db
def test_a_kit_that_stock_cannot_fill_says_what_to_make(world: World, crew: Person) -> None:
    shop = Filling(world, crew, stations=1, lengths={100: 9})
    shop.make_in_steps_of(20)
    shop.fill()
    page = fill_page(shop.kit.number)
    found = sheet_of(page, "mm")
    assert [row.length for row in found.rows] == ["20 mm"] * 4
    assert {row.fits for row in found.rows} == {"on a shaft of 60 mm, key 18 mm wide"}
    assert "Station 1" in found.rows[0].goes_to
    assert page.answer is not None
    assert page.answer.make_total_nm == 80 * MM
    text = " ".join(page_texts(make_list_pdf(sheet_of(page, "in"))))
    assert "in" in text

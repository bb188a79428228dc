"""The setup sheet on paper at its sizes: nothing lost, nothing beside the page."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pypdfium2
import pytest

from tests.paper.reading import codes, page_texts, pages, read
from tooling.errors import ToolingError
from tooling.paper.pages import PaperName
from tooling.paper.setup_rows import (
    SettingLine,
    SetupPaper,
    ShaftPart,
    StackLine,
    StationPart,
)
from tooling.paper.setup_sheet import setup_sheet_pdf

KIT = codes(1, "K")[0]
PRINTED = datetime(2026, 11, 26, 5, 40, tzinfo=ZoneInfo("Europe/Berlin"))


def _sheet(*stations: StationPart, **more: object) -> SetupPaper:
    given = {
        "title": "1472 · M1", "kit_code": KIT, "version": 3, "revision": "chart B",
        "printed_at": PRINTED, "is_proved": True, "proof": "Proved", "proof_why": "By a good run.",
        "facts": (("Set", "1472"),), "notes": (), "stations": stations, "line": (), **more,
    }  # fmt: skip
    return SetupPaper(**given)  # type: ignore[arg-type]


def _station(number: int, top: int, bottom: int, name: str = "mark {n}-{i}-{s}") -> StationPart:
    def shaft(which: str, count: int) -> ShaftPart:
        lines = tuple(
            StackLine(
                f"{i}.", name.format(n=number, i=i, s=which[0]), "R000001L", "1472-01",
                ("90.0 mm", "Ø 150.25", "12.5 kg"),
            )
            for i in range(1, count + 1)
        )  # fmt: skip
        return ShaftPart(which, which, f"{count}", lines)

    return StationPart(
        number=number, title=f"Station {number}", code="M0000018",
        shafts=(shaft("top", top), shaft("bottom", bottom)), side=(), gap=(("Gap", "1.25 mm"),),
        problems=(), moves=(), settings=(SettingLine("Gap, inboard end", "1.25 mm"),),
    )  # fmt: skip


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize(("stations", "each"), [(0, 0), (1, 1), (24, 5), (1, 125)])
def test_every_piece_stands_once_whatever_the_size(
    stations: int, each: int, paper: PaperName
) -> None:
    sheet = _sheet(*(_station(n, each, each) for n in range(1, stations + 1)))
    texts = page_texts(setup_sheet_pdf(sheet, paper=paper))
    told = " ".join(texts)
    names = [
        f"mark {n}-{i}-{s}"
        for n in range(1, stations + 1)
        for i in range(1, each + 1)
        for s in ("t", "b")
    ]
    assert [told.split().count(name.split()[1]) for name in names] == [1] * len(names)
    for number, text in enumerate(texts, start=1):
        assert f"page {number} of {len(texts)}" in text
        assert "2026-11-26 05:40" in text
        assert "chart B" in text


def test_a_stack_that_goes_on_names_its_station_again() -> None:
    texts = page_texts(setup_sheet_pdf(_sheet(_station(7, 60, 60))))
    assert len(texts) > 2
    assert all("Station 7" in text for text in texts)
    assert texts[0].count("(goes on)") == 0


def test_a_station_that_fits_on_a_page_is_not_broken() -> None:
    sheet = _sheet(*(_station(n, 6, 6) for n in range(1, 9)))
    for text in page_texts(setup_sheet_pdf(sheet)):
        assert "goes on" not in text
        for n in range(1, 9):
            assert (f"mark {n}-1-t" in text) == (f"mark {n}-6-t" in text)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_nothing_is_drawn_beside_the_page_or_over_something_else(paper: PaperName) -> None:
    long = "W" * 80
    station = _station(1, 2, 2, name=long)
    sheet = _sheet(station, title=long, proof_why=long, notes=(long * 3,), revision="B" * 10)
    data = setup_sheet_pdf(sheet, paper=paper)
    document = pypdfium2.PdfDocument(data)
    for page in document:
        width, height = page.get_size()
        for thing in page.get_objects():
            left, bottom, right, top = thing.get_bounds()
            assert left >= -1
            assert bottom >= -1
            assert right <= width + 1
            assert top <= height + 1
    document.close()


def test_the_code_can_be_read_beside_a_long_title() -> None:
    first = pages(setup_sheet_pdf(_sheet(title="W" * 80)))[0]
    assert read(first) == [KIT]


def test_an_unknown_paper_and_a_bad_code_are_refused() -> None:
    with pytest.raises(ToolingError) as refused:
        setup_sheet_pdf(_sheet(), paper="b5")  # type: ignore[arg-type]
    assert refused.value.code == "unknown_paper"
    with pytest.raises(ValueError, match="no bare label code"):
        setup_sheet_pdf(_sheet(kit_code="K1"))

"""The pull list on paper: everything once, in walking order, ticked, cautioned, scanned back."""

from __future__ import annotations

from datetime import datetime
from random import Random
from zoneinfo import ZoneInfo

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.paper.reading import codes, page_texts, pages, read
from tooling.errors import ToolingError
from tooling.paper.pull_list import PaperName, pull_list_pdf
from tooling.paper.pull_sheet import PullRow, PullSheet, PullStop

KIT = codes(1, "K")[0]
PRINTED = datetime(2026, 11, 26, 5, 40, tzinfo=ZoneInfo("Europe/Berlin"))


def _sheet(*stops: PullStop, not_to_fetch: tuple[PullRow, ...] = ()) -> PullSheet:
    return PullSheet(
        title="J-118", kit_code=KIT, version=17, printed_at=PRINTED,
        header="41 of 48 pieces here, 5 to fetch", facts=(("Bring to", "Toolroom / cart 7"),),
        stops=stops, not_to_fetch=not_to_fetch,
    )  # fmt: skip


def _row(name: str, code: str = "", **more: object) -> PullRow:
    return PullRow(name, code, **more)  # type: ignore[arg-type]


def _many(count: int) -> tuple[PullStop, ...]:
    """So many pieces in stops of one to nine."""
    random, found = Random(2), codes(count)
    stops: list[PullStop] = []
    while found:
        taken = [found.pop(0) for _each in range(min(len(found), random.randint(1, 9)))]
        rows = tuple(_row(f"mark {code}", code, what="roll", mass_kg=12.0) for code in taken)
        stops.append(PullStop(f"Toolroom / Rack {len(stops)}", rows))
    return tuple(stops)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("count", [0, 1, 250])
def test_every_piece_stands_once_in_the_order_of_the_walk(count: int, paper: PaperName) -> None:
    text = " ".join(page_texts(pull_list_pdf(_sheet(*_many(count)), paper=paper)))
    wanted = codes(count)
    assert [text.count(f"mark {code}") for code in wanted] == [1] * count
    places = [text.index(f"mark {code}") for code in wanted]
    assert places == sorted(places)


def test_every_page_says_which_of_how_many_and_when() -> None:
    texts = page_texts(pull_list_pdf(_sheet(*_many(250))))
    assert len(texts) > 5
    for number, text in enumerate(texts, start=1):
        assert f"page {number} of {len(texts)}" in text
        assert "2026-11-26 05:40" in text
        assert f"{KIT} · version 17 · 250 to fetch" in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_kits_code_is_scanned_back_from_the_sheet(paper: PaperName) -> None:
    first = pages(pull_list_pdf(_sheet(*_many(30)), paper=paper))[0]
    assert read(first) == [KIT]


@pytest.mark.parametrize(
    ("paper", "size"), [("a4", (595.28, 841.89)), ("letter", (612, 792))]
)  # ISO 216 and ANSI Y14.1 in points
def test_the_page_has_the_papers_size(paper: PaperName, size: tuple[float, float]) -> None:
    document = pypdfium2.PdfDocument(pull_list_pdf(_sheet(), paper=paper))
    assert document[0].get_size() == pytest.approx(size, abs=0.01)
    document.close()


def test_mass_and_lifting_caution_are_said_in_words() -> None:
    rows = (
        _row("light", mass_kg=3.24, caution="none"),
        _row("weighty", mass_kg=17.0, caution="heavy"),
        _row("huge", mass_kg=140.4, caution="two_people"),
        _row("strange"),
    )
    (text,) = page_texts(pull_list_pdf(_sheet(PullStop("Rack", rows))))
    assert "3.2 kg" in text
    assert "17.0 kg" in text
    assert "140 kg" in text
    assert "? kg" in text
    assert text.count("heavy: lift with care") == 1
    assert text.count("two people or hoist") == 1


def test_the_cautions_of_the_trade_stand_on_the_sheet() -> None:
    text = page_texts(pull_list_pdf(_sheet()))[0]
    for word in ("Lock out", "Guards", "nip points", "sharp edges", "the lift"):
        assert word in text
    assert "qualified people decide" in text
    assert "safe" not in text.lower().replace("safety", "")


def test_a_stop_names_its_place_large_with_the_way_to_it() -> None:
    stop = PullStop("Toolroom / Rack B / B3", (_row("W24"),), "P0000012")
    (text,) = page_texts(pull_list_pdf(_sheet(stop)))
    assert "1. B3" in text
    assert "Toolroom › Rack B › P0000012" in text


def test_a_count_of_a_bin_is_one_line_with_how_many() -> None:
    (text,) = page_texts(pull_list_pdf(_sheet(PullStop("B", (_row("6.35", quantity=4),)))))
    assert "6.35 × 4" in text
    assert "4 to fetch" in text


def test_a_single_piece_has_no_count() -> None:
    (text,) = page_texts(pull_list_pdf(_sheet(PullStop("B", (_row("W24"),)))))
    assert "×" not in text


def test_what_cannot_be_fetched_stands_apart_with_its_reason() -> None:
    row = _row("W24-14 T2", note="Missing: last seen on cart 2.")
    (text,) = page_texts(pull_list_pdf(_sheet(not_to_fetch=(row,))))
    assert text.index("Cannot be fetched") < text.index("W24-14 T2") < text.index("Missing: last")


def test_an_empty_list_says_that_nothing_is_left() -> None:
    assert "Nothing is left to fetch." in page_texts(pull_list_pdf(_sheet()))[0]


def test_a_heading_never_stands_last_on_a_page() -> None:
    stops = tuple(PullStop(f"Shelf {n:03d}", (_row(f"item{n:03d}"),)) for n in range(120))
    for text in page_texts(pull_list_pdf(_sheet(*stops))):
        headings = text.count("Shelf ")
        assert headings == text.count("item")


def test_a_long_name_takes_two_lines_and_is_then_shortened_visibly() -> None:
    stop = PullStop("rack " * 60, (_row("upper inboard segment " * 12, note="why " * 200),))
    (text,) = page_texts(pull_list_pdf(_sheet(stop)))
    assert text.count("…") == 3


@settings(max_examples=30, deadline=None)
@given(st.text(max_size=300), st.text(max_size=300), st.text(max_size=300))
def test_no_text_whatever_breaks_the_list(name: str, place: str, note: str) -> None:
    row = _row(name, what=note, goes_to=name, note=note)
    sheet = _sheet(PullStop(place, (row,)), not_to_fetch=(row,))
    assert read(pages(pull_list_pdf(sheet))[0]) == [KIT]


def test_an_unknown_paper_is_refused_with_those_there_are() -> None:
    with pytest.raises(ToolingError) as problem:
        pull_list_pdf(_sheet(), paper="a5")  # type: ignore[arg-type]
    assert problem.value.code == "unknown_paper"
    assert "a4 or letter" in problem.value.message

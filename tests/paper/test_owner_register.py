"""An owner's register and the list of values on paper: everything once, dated, scanned back."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO
from zoneinfo import ZoneInfo

import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from tests.paper.reading import codes, page_texts, pages, read
from tooling.errors import ToolingError
from tooling.paper.insured_list import Column, InsuredSheet, Table, insured_pdf
from tooling.paper.owner_register import register_pdf
from tooling.paper.pages import PaperName
from tooling.paper.register_sheet import CountRow, RegisterPlace, RegisterRow, RegisterSheet

PRINTED = datetime(2026, 11, 26, 5, 40, tzinfo=ZoneInfo("Europe/Berlin"))


def _picture(red: int) -> bytes:
    out = BytesIO()
    Image.new("RGB", (220, 165), (red, 0, 0)).save(out, "JPEG")
    return out.getvalue()


def _sheet(*rows: RegisterRow, **more: object) -> RegisterSheet:
    stops = [rows[at : at + 7] for at in range(0, len(rows), 7)]
    places = tuple(
        RegisterPlace(f"Toolroom / Rack {n}", f"P000000{n % 10}", stop)
        for n, stop in enumerate(stops)
    )
    return RegisterSheet(
        title="Tooling of Orn & Sons", owner_code="ORN", printed_at=PRINTED,
        sentence=f"{len(rows)} pieces", places=places, **more,
    )  # fmt: skip


def _rows(count: int, **more: object) -> tuple[RegisterRow, ...]:
    return tuple(RegisterRow(f"mark {code}", code, **more) for code in codes(count))


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("count", [0, 1, 250])
def test_every_piece_stands_once_and_every_page_says_which_it_is(
    count: int, paper: PaperName
) -> None:
    texts = page_texts(register_pdf(_sheet(*_rows(count)), paper=paper))
    whole = " ".join(texts)
    assert [whole.count(f"mark {code}") for code in codes(count)] == [1] * count
    for number, text in enumerate(texts, start=1):
        assert f"page {number} of {len(texts)}" in text
        assert "2026-11-26 05:40" in text
        assert "Tooling of Orn & Sons (ORN)" in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_piece_is_scanned_back_from_its_row(paper: PaperName) -> None:
    found = [code for page in pages(register_pdf(_sheet(*_rows(12)), paper=paper), 200)
             for code in read(page)]  # fmt: skip
    assert sorted(found) == sorted(codes(12))


def test_a_row_holds_what_the_owner_asks() -> None:
    facts = (("Condition", "sound"), ("Value", "1 250.00 USD"), ("Owner's mark", "yes, 2026-11-02"))
    (text,) = page_texts(
        register_pdf(_sheet(*_rows(1, what=("1472-T1 revision C",), facts=facts, note="1 report")))
    )
    for said in ("1472-T1 revision C", "1 250.00 USD", "yes, 2026-11-02", "1 report", "no picture"):
        assert said in text


def test_the_picture_of_a_piece_stands_in_its_own_row_and_ink_is_black_else() -> None:
    rows = _rows(2, picture="first")[:1] + _rows(2)[1:]
    data = register_pdf(_sheet(*rows, picture=lambda key: _picture(255)))
    document = pypdfium2.PdfDocument(data)
    image = document[0].render(scale=1).to_pil().convert("RGB")
    document.close()
    red = [y for y in range(image.height) for x in (60,) if image.getpixel((x, y))[0] > 200
           and image.getpixel((x, y))[1] < 60]  # fmt: skip
    assert 40 < len(red) < 70
    plain = pypdfium2.PdfDocument(register_pdf(_sheet(*_rows(2))))
    colours = plain[0].render(scale=1).to_pil().convert("RGB").getcolors(1_000_000)
    plain.close()
    assert all(max(colour) - min(colour) <= 8 for _count, colour in colours or ())


def test_a_picture_that_the_folder_lost_leaves_the_row_whole() -> None:
    (text,) = page_texts(register_pdf(_sheet(*_rows(1, picture="gone"))))
    assert "no picture" in text


def test_counted_bins_stand_in_the_list_and_nothing_is_said_to_be_nothing() -> None:
    counts = (CountRow("B0000012", "SP-6.35", 14, "Toolroom / Bin 2", "counted 2026-01-01"),)
    (text,) = page_texts(register_pdf(_sheet(counts=counts)))
    assert "SP-6.35 × 14" in text
    assert "Nothing of this owner's lies here." in page_texts(register_pdf(_sheet()))[0]


def test_progress_goes_from_page_to_page_to_the_end_and_may_stop_the_work() -> None:
    shares: list[float] = []
    register_pdf(_sheet(*_rows(60)), progress=shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1

    def stop(share: float) -> None:
        raise InterruptedError

    with pytest.raises(InterruptedError):
        register_pdf(_sheet(*_rows(60)), progress=stop)


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=300), st.text(max_size=300))
def test_no_text_whatever_breaks_the_register(name: str, place: str) -> None:
    row = RegisterRow(name, codes(1)[0], (name, place), ((name, place),) * 5, note=name)
    sheet = RegisterSheet(
        title=name, owner_code=place, printed_at=PRINTED, sentence=name, facts=((name, place),),
        places=(RegisterPlace(place, "", (row,)),),
        counts=(CountRow("B", name, 1, place, name),),
    )  # fmt: skip
    assert codes(1)[0] in read(pages(register_pdf(sheet), 200)[0])


def test_an_unknown_paper_is_refused_with_those_there_are() -> None:
    for draw, sheet in ((register_pdf, _sheet()), (insured_pdf, _values())):
        with pytest.raises(ToolingError) as problem:
            draw(sheet, paper="a5")  # type: ignore[operator]
        assert problem.value.code == "unknown_paper"


def _values(count: int = 3) -> InsuredSheet:
    columns = (Column("Owner", 0.6), Column("Value", 0.4, is_number=True))
    rows = tuple((f"Owner {n}", f"{n}.00 USD") for n in range(count))
    table = Table("By owner", columns, (*rows, ("In all", "9.00 USD")), True)
    return InsuredSheet("Value of the tooling", "9.00 USD", PRINTED, (table,))


@pytest.mark.parametrize("count", [0, 1, 250])
def test_the_list_of_values_holds_every_row_and_its_total(count: int) -> None:
    texts = page_texts(insured_pdf(_values(count)))
    whole = " ".join(texts)
    assert all(f"Owner {n} {n}.00 USD" in whole for n in range(count))
    assert "In all 9.00 USD" in texts[-1]
    assert f"page {len(texts)} of {len(texts)}" in texts[-1]

"""Every label can be read back by another program, whatever its stock, angle or dirt."""

from __future__ import annotations

import tracemalloc
from io import BytesIO
from random import Random

import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from tests.paper.reading import codes, labels, page_texts, pages, read, read_png
from tooling.errors import ToolingError
from tooling.paper.label_layout import LEAST_MODULE_MM, LabelText, lay_out
from tooling.paper.label_sizes import A4, LETTER, SIZES, LabelSize
from tooling.paper.labels import label_png, labels_pdf

ONE = LabelText("R0000145", "W24-07 T2", ("drawing 1408-T2 rev C",), "roll")
CODE = codes(1)[0]


@pytest.mark.parametrize("size", SIZES.values(), ids=lambda size: size.name)
def test_each_stock_is_read_back_at_150_dpi(size: LabelSize) -> None:
    some = labels(size.per_page)
    (page,) = pages(labels_pdf(some, size=size.name))
    assert read(page) == sorted(label.code for label in some)


@pytest.mark.parametrize(("count", "sheets"), [(1, 1), (250, 11)])
def test_every_one_of_many_labels_is_read_back(count: int, sheets: int) -> None:
    # 250 labels at 24 on a sheet: 10 full sheets and one of 10
    some = labels(count)
    printed = pages(labels_pdf(some, size="a4-24"))
    assert len(printed) == sheets
    assert sorted(code for page in printed for code in read(page)) == sorted(
        label.code for label in some
    )


@pytest.mark.parametrize("angle", range(0, 360, 24))
def test_a_turned_label_is_read(angle: int) -> None:
    (page,) = pages(labels_pdf([LabelText(CODE)], size="50x25"))
    assert read(page.rotate(angle, expand=True, fillcolor=255)) == [CODE]


@pytest.mark.parametrize("seed", range(8))
def test_dirt_within_the_level_does_not_hide_a_label(seed: int) -> None:
    # Level H restores about 30 % of the codewords; blots over 3 % of the symbol's area here,
    # clear of the three finders, which no level protects.
    label = LabelText(CODE)
    (page,) = pages(labels_pdf([label], size="62x29"))
    placed = lay_out(label, SIZES["62x29"])
    side = placed.symbol.modules * placed.module_mm
    dot = 150 / 25.4
    pen = ImageDraw.Draw(page)
    random = Random(seed)
    radius = side * 0.07
    for _blot in range(2):
        x = placed.symbol_x_mm + side * random.uniform(0.5, 0.9)
        y = placed.symbol_y_mm + side * random.uniform(0.5, 0.9)
        box = [(x - radius) * dot, (y - radius) * dot, (x + radius) * dot, (y + radius) * dot]
        pen.ellipse(box, fill=random.choice([0, 255]))
    assert read(page) == [CODE]


@pytest.mark.parametrize("size", SIZES.values(), ids=lambda size: size.name)
def test_the_quiet_zone_is_kept_and_text_stays_on_the_label(size: LabelSize) -> None:
    label = LabelText(CODE, "M" * 80, ("W" * 80,) * 6, "side roll")
    placed = lay_out(label, size)
    module, quiet = placed.module_mm, 4 * placed.module_mm
    left, top = placed.symbol_x_mm - quiet, placed.symbol_y_mm - quiet
    right, bottom = left + 29 * module, top + 29 * module
    assert module >= LEAST_MODULE_MM
    assert min(left, top) >= -1e-6
    assert right <= size.width_mm + 1e-6
    assert bottom <= size.height_mm + 1e-6
    for text in placed.texts:
        assert text.x_mm >= right - 1e-6 or text.y_mm - 0.8 * text.size_mm >= bottom - 1.0
        assert text.y_mm <= size.height_mm


@pytest.mark.parametrize("size", ["50x25", "25x25", "a4-24", "letter-30", "100x150"])
def test_nothing_is_printed_in_the_quiet_zone(size: str) -> None:
    label = LabelText(CODE, "M" * 80, ("W" * 80,) * 6, "side roll")
    stock, dpi = SIZES[size], 300
    placed = lay_out(label, stock)
    page = pages(labels_pdf([label], size=size), dpi)[0]
    dot = dpi / 25.4
    corner = stock.corner_mm(0)
    x0, y0 = corner[0] + placed.symbol_x_mm, corner[1] + placed.symbol_y_mm
    side, quiet = 21 * placed.module_mm, 4 * placed.module_mm
    slack = 0.1
    box = (x0 - quiet, y0 - quiet, x0 + side + quiet, y0 + side + quiet)
    ring = page.crop((box[0] * dot, box[1] * dot, box[2] * dot, box[3] * dot))
    ImageDraw.Draw(ring).rectangle(
        [(quiet - slack) * dot] * 2 + [(quiet + side + slack) * dot] * 2, fill=255
    )
    assert min(ring.tobytes()) > 200


def test_the_symbol_is_version_1_at_level_h() -> None:
    (page,) = pages(labels_pdf([LabelText(CODE)], size="50x25"))
    (found,) = zxingcpp.read_barcodes(page)
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    assert found.ec_level == "H"
    assert lay_out(LabelText(CODE), SIZES["50x25"]).symbol.modules == 21


def test_the_code_stands_in_type_beside_the_symbol_with_the_module_size() -> None:
    (text,) = page_texts(labels_pdf([LabelText(CODE, "W24-07")], size="50x25"))
    assert CODE in text
    assert "W24-07" in text
    assert "module 0.75 mm" in text


@pytest.mark.parametrize("size", SIZES.values(), ids=lambda size: size.name)
def test_the_code_is_never_shortened(size: LabelSize) -> None:
    for label in labels(60):
        assert label.code in [text.text for text in lay_out(label, size).texts]


def test_a_name_that_does_not_fit_ends_in_a_visible_ellipsis() -> None:
    label = LabelText(CODE, "upper inboard segment " * 20, ("rack " * 40,), "roll")
    (text,) = page_texts(labels_pdf([label], size="50x25"))
    assert text.count("…") == 2
    assert CODE in text


def test_a_name_that_can_be_set_smaller_is_not_shortened() -> None:
    name = "W-24 upper middle segment of the panel"
    (text,) = page_texts(labels_pdf([LabelText(CODE, name, (), "roll")], size="62x29"))
    assert name in text


@pytest.mark.parametrize("name", ["Ролик верхний 14", "Κύλινδρος 7", "Válec č. 3 – žlutý", "Ống"])
def test_names_in_other_scripts_are_printed_as_text(name: str) -> None:
    (text,) = page_texts(labels_pdf([LabelText(CODE, name)], size="100x50"))
    assert name in text


def test_a_character_that_the_face_lacks_is_a_visible_box() -> None:
    def ink(name: str) -> int:
        (page,) = pages(labels_pdf([LabelText(CODE, name)], size="100x50"))
        return page.histogram()[0]

    assert ink("輥輥") > ink("") + 100


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=60), st.lists(st.text(max_size=60), max_size=4), st.text(max_size=20))
def test_no_text_whatever_breaks_a_label(headline: str, lines: list[str], kind: str) -> None:
    pdf = labels_pdf([LabelText(CODE, headline, tuple(lines), kind)], size="50x25")
    assert pdf.startswith(b"%PDF")
    assert read(pages(pdf)[0]) == [CODE]


def test_the_first_labels_of_a_used_sheet_are_skipped() -> None:
    some = labels(3)
    whole, begun = (pages(labels_pdf(some, size="a4-24", skip=skip)) for skip in (0, 23))
    assert len(whole) == 1
    assert [len(read(page)) for page in begun] == [1, 2]


@pytest.mark.parametrize(("size", "page_mm"), [("a4-24", A4), ("letter-30", LETTER)])
def test_sheets_have_the_size_of_their_paper(size: str, page_mm: tuple[float, float]) -> None:
    document = pypdfium2.PdfDocument(labels_pdf([ONE], size=size))
    width, height = document[0].get_size()
    document.close()
    assert (width / 72 * 25.4, height / 72 * 25.4) == pytest.approx(page_mm, abs=0.1)


@pytest.mark.parametrize("size", SIZES.values(), ids=lambda size: size.name)
def test_labels_of_a_sheet_lie_on_it_and_apart(size: LabelSize) -> None:
    corners = [size.corner_mm(index) for index in range(size.per_page)]
    assert len(set(corners)) == size.per_page
    assert all(x >= -1e-9 and x + size.width_mm <= size.page_mm[0] + 1e-6 for x, _ in corners)
    assert all(y >= -1e-9 and y + size.height_mm <= size.page_mm[1] + 1e-6 for _, y in corners)
    assert size.columns == 1 or size.pitch_x_mm >= size.width_mm
    assert size.rows == 1 or size.pitch_y_mm >= size.height_mm


def test_a_picture_of_a_label_is_read_back_at_203_and_300_dpi() -> None:
    label = LabelText(CODE, "W24-07 T2", (), "roll")
    for dpi in (203, 300):
        assert read_png(label_png(label, size="50x25", dpi=dpi)) == [CODE]


@pytest.mark.parametrize("size", [s.name for s in SIZES.values() if s.per_page == 1])
def test_a_picture_has_the_size_of_its_label_and_says_so(size: str) -> None:
    png = label_png(LabelText(CODE, "W24-07 T2"), size=size, dpi=300)
    picture = Image.open(BytesIO(png))
    stock = SIZES[size]
    assert picture.width / 300 * 25.4 == pytest.approx(stock.width_mm, abs=0.05)
    assert picture.info["dpi"][0] == pytest.approx(300, abs=0.1)
    assert read(picture) == [CODE]


def test_nothing_to_print_is_said() -> None:
    with pytest.raises(ToolingError) as problem:
        labels_pdf([])
    assert problem.value.code == "no_labels"


@pytest.mark.parametrize("skip", [-1, 24, 1000])
def test_skipping_more_than_a_sheet_is_refused(skip: int) -> None:
    with pytest.raises(ToolingError) as problem:
        labels_pdf([ONE], size="a4-24", skip=skip)
    assert problem.value.code == "label_skip_too_large"
    assert str(skip) in problem.value.message


def test_an_unknown_size_names_those_there_are() -> None:
    with pytest.raises(ToolingError) as problem:
        labels_pdf([ONE], size="postcard")
    assert problem.value.code == "unknown_label_size"
    assert "a4-24" in problem.value.message


@pytest.mark.parametrize("dpi", [0, 149, 1201])
def test_an_absurd_resolution_is_refused(dpi: int) -> None:
    with pytest.raises(ToolingError) as problem:
        label_png(ONE, dpi=dpi)
    assert problem.value.code == "dpi_out_of_range"


@pytest.mark.parametrize("text", ["", "R00001", "r0000145", "R0000145X", "R000-145", "R00001ß5"])
def test_only_a_bare_code_becomes_a_label(text: str) -> None:
    with pytest.raises(ValueError, match="bare label code"):
        labels_pdf([LabelText(text)])


@pytest.mark.one_database
def test_a_thousand_labels_take_less_than_a_hundred_megabytes() -> None:
    some = labels(1000)
    tracemalloc.start()
    try:
        pdf = labels_pdf(some, size="a4-24")
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak <= 100e6
    assert len(pdf) < 1e6


@pytest.mark.parametrize("size", ["a4-24", "62x29", "50x25", "letter-20"])
def test_whose_it_is_stands_on_the_label_beside_a_long_mark(size: str) -> None:
    lines = ("property of A. Customer", "drawing 1472-11-S1 A")
    label = LabelText(CODE, "1472-11-S1 upper inboard B", lines, "side roll")
    text = page_texts(labels_pdf([label], size=size))[0]
    assert "property of A" in text
    assert "1472-11-S1 upper" in text

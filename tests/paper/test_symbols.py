"""Symbols as rectangles: exactly the dark modules, read back by another program."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.paper.reading import codes, rasterise_path, read
from tooling.errors import ToolingError
from tooling.paper.etching import etch_svg
from tooling.paper.symbols import SymbolKind, dark_runs, label_symbol


@given(st.lists(st.lists(st.booleans(), min_size=7, max_size=7), max_size=9))
def test_runs_cover_each_dark_module_once_and_no_light_one(rows: list[list[bool]]) -> None:
    covered = [
        (x + dx, y + dy)
        for x, y, width, height in dark_runs(rows)
        for dx in range(width)
        for dy in range(height)
    ]
    dark = [(x, y) for y, row in enumerate(rows) for x, is_dark in enumerate(row) if is_dark]
    assert sorted(covered) == sorted(dark)


def test_a_block_is_one_run() -> None:
    assert dark_runs([[1, 1, 0], [1, 1, 0], [0, 0, 0]]) == ((0, 0, 2, 2),)


def test_a_label_symbol_is_21_modules_whatever_the_code() -> None:
    # ISO/IEC 18004: version 1 is 21 modules; 1-H holds 10 alphanumeric characters
    assert {label_symbol(code).modules for code in codes(50)} == {21}
    assert {label_symbol(code).quiet for code in codes(50)} == {4}


@pytest.mark.parametrize("symbol", ["qr", "datamatrix"])
@pytest.mark.parametrize("text", ["R000145X", "W24-07 T2", "1408", "A/7 upper"])
def test_etching_artwork_is_read_back(symbol: SymbolKind, text: str) -> None:
    assert read(rasterise_path(etch_svg(text, symbol=symbol, size_mm=12))) == [text]


@pytest.mark.parametrize("symbol", ["qr", "datamatrix"])
def test_etching_artwork_is_read_back_turned(symbol: SymbolKind) -> None:
    picture = rasterise_path(etch_svg("R000145X", symbol=symbol, size_mm=12))
    for angle in range(0, 360, 30):
        assert read(picture.rotate(angle, expand=True, fillcolor=255)) == ["R000145X"]


@settings(max_examples=40, deadline=None)
@given(st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1, max_size=16))
def test_any_stamped_mark_can_be_etched_as_data_matrix(mark: str) -> None:
    assert read(rasterise_path(etch_svg(mark, size_mm=20))) == [mark]


def test_artwork_is_in_true_millimetres_with_its_clear_zone() -> None:
    # R, 00, 01, 45, X are five codewords, which 12 × 12 holds (ISO/IEC 16022, table 7); 2 clear
    svg = etch_svg("R000145X", size_mm=8, with_text=False)
    assert 'width="8mm" height="8mm"' in svg
    assert 'viewBox="-2 -2 16 16"' in svg


def test_the_mark_stands_in_type_under_its_symbol_and_is_escaped() -> None:
    assert ">A&lt;7&amp;</text>" in etch_svg("A<7&", size_mm=12)
    assert "<text" not in etch_svg("A<7&", size_mm=12, with_text=False)


def test_artwork_finer_than_an_etched_edge_is_refused_with_the_least_size() -> None:
    # 16 modules of 0.2 mm: 3.2 mm
    with pytest.raises(ToolingError) as problem:
        etch_svg("R000145X", size_mm=3)
    assert problem.value.code == "etching_too_small"
    assert "3.2 mm" in problem.value.message


def test_artwork_larger_than_a_face_is_refused() -> None:
    with pytest.raises(ToolingError) as problem:
        etch_svg("R000145X", size_mm=201)
    assert problem.value.code == "etching_too_large"


def test_qr_holds_marks_in_any_script_and_data_matrix_says_that_it_does_not() -> None:
    assert read(rasterise_path(etch_svg("Ролик 14½", symbol="qr", size_mm=20))) == ["Ролик 14½"]
    with pytest.raises(ToolingError) as problem:
        etch_svg("Ролик 14½", symbol="datamatrix", size_mm=20)
    assert problem.value.code == "mark_not_etchable"
    assert "QR" in problem.value.message


@pytest.mark.parametrize("text", ["", "x" * 41, "a\nb"])
def test_a_mark_that_no_symbol_should_hold_is_refused(text: str) -> None:
    with pytest.raises(ToolingError) as problem:
        etch_svg(text, size_mm=12)
    assert problem.value.code == "mark_not_etchable"

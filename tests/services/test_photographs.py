"""What a photograph becomes: upright, small, and without what a phone says beside it."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from tests.photographs import BLUE, RED, a_photo, a_png, segments, size_of
from tooling.errors import ToolingError
from tooling.services.photographs import MOST_PIXELS, Photograph, develop

PLAIN_MARKERS = {0xE0, 0xDB, 0xC0, 0xC2, 0xC4, 0xDA}
"""JFIF head, quantization, frame, Huffman, scan: nothing that could hold words."""


def developed(data: bytes) -> Photograph:
    return develop(io.BytesIO(data), name="roll.jpg")


def refusal(data: bytes) -> str:
    with pytest.raises(ToolingError) as refused:
        developed(data)
    assert "roll.jpg" in refused.value.message
    return refused.value.code


@pytest.mark.parametrize("which", ["full", "small"])
def test_nothing_but_pixels_is_left(which: str) -> None:
    sent = a_photo()
    assert b"Phonemaker" in sent
    assert b"secret place" in sent
    kept: bytes = getattr(developed(sent), which)
    held = segments(kept)
    assert {marker for marker, _held in held} <= PLAIN_MARKERS
    assert next(held for marker, held in held if marker == 0xE0).startswith(b"JFIF\x00")
    for word in (b"Exif", b"Phonemaker", b"Somebody", b"Secret", b"xmpmeta", b"GPS"):
        assert word not in kept


@pytest.mark.parametrize(
    ("orientation", "corner", "turned"),
    [(1, 0, False), (3, 2, False), (6, 3, True), (8, 1, True)],
)
def test_a_phone_held_any_way_gives_an_upright_picture(
    orientation: int, corner: int, turned: bool
) -> None:
    kept = developed(a_photo(1200, 900, orientation=orientation, corner=corner))
    assert (kept.width, kept.height) == ((900, 1200) if turned else (1200, 900))
    assert size_of(kept.full) == (kept.width, kept.height)
    picture = Image.open(io.BytesIO(kept.full))
    assert near(picture.getpixel((20, 20)), RED)
    assert near(picture.getpixel((kept.width - 20, kept.height - 20)), BLUE)


def near(found: object, wanted: tuple[int, int, int]) -> bool:
    assert isinstance(found, tuple)
    return all(abs(a - b) < 12 for a, b in zip(found, wanted, strict=True))


@pytest.mark.parametrize(
    ("sent", "kept", "small"),
    [
        ((4000, 3000), (2560, 1920), (480, 360)),
        ((1000, 5000), (512, 2560), (96, 480)),
        ((300, 200), (300, 200), (300, 200)),
        ((1, 1), (1, 1), (1, 1)),
        ((4000, 1), (2560, 1), (480, 1)),
    ],
)
def test_large_ones_are_scaled_and_small_ones_left(
    sent: tuple[int, int], kept: tuple[int, int], small: tuple[int, int]
) -> None:
    found = developed(a_png(*sent))
    assert (size_of(found.full), size_of(found.small)) == (kept, small)


def test_what_is_clear_becomes_white() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(out, "PNG")
    assert near(Image.open(io.BytesIO(developed(out.getvalue()).full)).getpixel((9, 9)), (255,) * 3)


@pytest.mark.parametrize(
    ("mode", "kind"),
    [("L", "JPEG"), ("CMYK", "JPEG"), ("P", "PNG"), ("1", "PNG"), ("LA", "PNG"), ("RGB", "WEBP")],
)
def test_every_colour_of_file_is_taken(mode: str, kind: str) -> None:
    out = io.BytesIO()
    Image.new(mode, (80, 60)).save(out, kind)
    assert size_of(developed(out.getvalue()).full) == (80, 60)


def test_a_profile_is_used_and_left_behind() -> None:
    out = io.BytesIO()
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.new("RGB", (80, 60), RED).save(out, "JPEG", icc_profile=lab)
    kept = developed(out.getvalue()).full
    assert near(Image.open(io.BytesIO(kept)).getpixel((9, 9)), RED)
    broken = io.BytesIO()
    Image.new("RGB", (80, 60), RED).save(broken, "JPEG", icc_profile=b"no profile at all")
    assert near(Image.open(io.BytesIO(developed(broken.getvalue()).full)).getpixel((9, 9)), RED)


def png_head(width: int, height: int) -> bytes:
    """A PNG that says how large it would be, and has almost no bytes."""

    def chunk(kind: bytes, held: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(kind + held))
        return struct.pack(">I", len(held)) + kind + held + check

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    pixels = chunk(b"IDAT", zlib.compress(b"\0" * 99))
    return b"\x89PNG\r\n\x1a\n" + head + pixels + chunk(b"IEND", b"")


def moving(kind: str) -> bytes:
    out = io.BytesIO()
    pictures = [Image.new("RGB", (30, 30), colour) for colour in (RED, BLUE)]
    pictures[0].save(out, kind, save_all=True, append_images=pictures[1:], duration=100)
    return out.getvalue()


REFUSED: dict[str, tuple[Callable[[], bytes], str]] = {
    "a HEIC picture": (lambda: b"\0\0\0\x18ftypheic" + b"\0" * 40, "heic_picture"),
    "a film": (lambda: b"\0\0\0\x18ftypmp42" + b"\0" * 40, "unknown_picture_type"),
    "a GIF": (lambda: b"GIF89a" + b"\0" * 40, "unknown_picture_type"),
    "a TIFF": (lambda: b"II*\0" + b"\0" * 40, "unknown_picture_type"),
    "a page": (lambda: b"<html><script>alert(1)</script>", "not_a_picture"),
    "a drawing in SVG": (lambda: b"<svg xmlns='http://www.w3.org/2000/svg'/>", "not_a_picture"),
    "a PDF": (lambda: b"%PDF-1.7\n", "not_a_picture"),
    "two bytes": (lambda: b"\xff\xd8", "not_a_picture"),
    "a JPEG cut short": (lambda: a_photo()[:9000], "picture_breaks_off"),
    "a PNG cut short": (lambda: a_png(600, 600, compress_level=0)[:5000], "picture_breaks_off"),
    "a JPEG's head alone": (lambda: a_photo()[:40], "picture_breaks_off"),
    "a bomb": (lambda: png_head(50_000, 50_000), "too_many_pixels"),
    "one pixel row beyond the limit": (
        lambda: png_head(10_000, MOST_PIXELS["PNG"] // 10_000 + 1), "too_many_pixels"
    ),
    "a PNG that says more than it has": (lambda: png_head(3000, 3000), "picture_breaks_off"),
    "a moving PNG": (lambda: moving("PNG"), "moving_picture"),
    "a moving WebP": (lambda: moving("WEBP"), "moving_picture"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_photograph_is_refused_by_what_it_is(name: str) -> None:
    made, code = REFUSED[name]
    assert refusal(made()) == code


def test_the_second_picture_in_a_phones_file_is_left() -> None:
    out = io.BytesIO()
    main, extra = Image.new("RGB", (400, 300), RED), Image.new("RGB", (40, 30), BLUE)
    main.save(out, "MPO", save_all=True, append_images=[extra])
    kept = developed(out.getvalue())
    assert (kept.width, kept.height) == (400, 300)


@pytest.mark.filterwarnings("ignore:::PIL")
@settings(max_examples=60)
@given(where=st.integers(0, 3000), what=st.binary(min_size=1, max_size=12))
def test_a_damaged_file_is_kept_or_refused_and_nothing_else(where: int, what: bytes) -> None:
    data = bytearray(a_photo(300, 200))
    data[where : where + len(what)] = what
    try:
        kept = developed(bytes(data))
    except ToolingError:
        return
    assert {marker for marker, _held in segments(kept.full)} <= PLAIN_MARKERS

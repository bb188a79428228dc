"""Photographs as they are kept: upright, at most 2560 px long, nothing in them but the picture.

What a file is, is told by its bytes. A photograph from a phone carries the place and time it was
taken, the phone's make and more; all of that is left behind by painting the pixels into a new
picture. The size is read from the head of the file and checked before anything is unpacked.
"""

from __future__ import annotations

import io
import struct
import threading
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, BinaryIO

from django.utils.translation import gettext_lazy as _
from PIL import Image, ImageCms, ImageOps

from tooling.errors import ToolingError

LONGEST_PX = 2560
SMALL_PX = 480
MOST_PIXELS = {"JPEG": 89_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
"""A JPEG is unpacked at a fraction of its size where it is large; the others only whole."""
QUALITY = 85
SMALL_QUALITY = 80
HEADS: tuple[tuple[bytes, str], ...] = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
)
APPLE_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")
OTHER_HEADS = (b"GIF8", b"BM", b"II*\x00", b"MM\x00*", b"\x00\x00\x01\x00", b"8BPS", b"\xff\x0a")
BREAKS = (OSError, SyntaxError, ValueError, EOFError, struct.error, zlib.error)
"""What Pillow raises on a file that is cut short or damaged."""

_one_at_a_time = threading.Lock()


@dataclass(frozen=True)
class Photograph:
    """Two JPEG files of one picture, and the size of the large one in pixels."""

    full: bytes
    small: bytes
    width: int
    height: int


def develop(file: BinaryIO, *, name: str) -> Photograph:
    """The photograph as it is kept. ``name`` is what the sentences call it.

    Raises ToolingError ``heic_picture``, ``not_a_picture``, ``unknown_picture_type``,
    ``too_many_pixels``, ``moving_picture``, ``picture_breaks_off``. One at a time, so that many
    phones together do not fill the memory.
    """
    kind = kind_of(file, name=name)
    with _one_at_a_time, _breaks_are_said(name), Image.open(file, formats=(kind,)) as opened:
        _check_head(opened, kind, name)
        picture = _bare(_scaled(opened))
        full = _jpeg(picture, QUALITY)
        size = picture.size
        picture.thumbnail((SMALL_PX, SMALL_PX), Image.Resampling.LANCZOS)
        return Photograph(full, _jpeg(picture, SMALL_QUALITY), *size)


def kind_of(file: BinaryIO, *, name: str) -> str:
    """JPEG, PNG or WEBP by the first bytes; anything else is refused with what to do."""
    file.seek(0)
    head = file.read(32)
    file.seek(0)
    for start, kind in HEADS:
        if head.startswith(start):
            return kind
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "WEBP"
    if head[4:8] == b"ftyp" and head[8:12] in APPLE_BRANDS:
        raise ToolingError(
            "heic_picture",
            _("{name} is a HEIC picture, which most screens here cannot show. Set the phone's "
              "camera to “Most compatible”, or take the picture from this page."),
            name=name,
            in_field="file",
        )  # fmt: skip
    if head.startswith(OTHER_HEADS) or head[4:8] == b"ftyp":
        raise ToolingError(
            "unknown_picture_type",
            _("{name} is a picture or film of another kind. Pictures are kept from JPEG, PNG and "
              "WebP: save it as one of them."),
            name=name,
            in_field="file",
        )  # fmt: skip
    raise ToolingError(
        "not_a_picture",
        _("{name} is not a picture inside, whatever it is called. Choose a photograph."),
        name=name,
        in_field="file",
    )


def _check_head(opened: Image.Image, kind: str, name: str) -> None:
    pixels = opened.width * opened.height
    if pixels > MOST_PIXELS[kind]:
        raise ToolingError(
            "too_many_pixels",
            _("{name} has {size} million pixels; at most {most} million are unpacked. Take it "
              "with a smaller picture size."),
            name=name,
            size=pixels // 1_000_000,
            most=MOST_PIXELS[kind] // 1_000_000,
            in_field="file",
        )  # fmt: skip
    # A phone's JPEG may carry a second picture (depth, a smaller copy); it does not move.
    if kind != "JPEG" and getattr(opened, "n_frames", 1) > 1:
        raise ToolingError(
            "moving_picture",
            _("{name} moves; one still picture is wanted. Take a photograph."),
            name=name,
            in_field="file",
        )


def _scaled(opened: Image.Image) -> Image.Image:
    """Made smaller before anything else, so that the large one stands in memory once."""
    opened.draft("RGB", (LONGEST_PX, LONGEST_PX))
    smooth = opened
    if opened.mode in ("1", "P", "PA"):
        smooth = opened.convert("RGBA" if "transparency" in opened.info else "RGB")
    smooth.thumbnail((LONGEST_PX, LONGEST_PX), Image.Resampling.LANCZOS)
    return smooth


def _bare(scaled: Image.Image) -> Image.Image:
    """The pixels alone, upright, in the colours that every screen takes them for."""
    upright: Any = ImageOps.exif_transpose(scaled)
    plain = _in_plain_colours(upright)
    bare = Image.new("RGB", plain.size, "white")
    if plain.mode in ("RGBA", "LA") or "transparency" in plain.info:
        clear = plain.convert("RGBA")
        bare.paste(clear, mask=clear.getchannel("A"))
    else:
        bare.paste(plain.convert("RGB"))
    return bare


def _in_plain_colours(picture: Image.Image) -> Image.Image:
    """Colours by the picture's own profile, where it has one that can be read, as sRGB."""
    profile = picture.info.get("icc_profile")
    if not profile or picture.mode not in ("RGB", "CMYK"):
        return picture
    try:
        given = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        turned = ImageCms.profileToProfile(
            picture, given, ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
    except (ImageCms.PyCMSError, OSError):
        return picture  # a profile that says nothing: the colours are taken as they stand
    return turned or picture


def _jpeg(picture: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()


@contextmanager
def _breaks_are_said(name: str) -> Iterator[None]:
    """What cannot be unpacked to its end is said so; a picture is never half kept."""
    try:
        yield
    except Image.DecompressionBombError as error:
        raise ToolingError(
            "too_many_pixels",
            _("{name} has more pixels than are unpacked. Take it with a smaller picture size."),
            name=name,
            in_field="file",
        ) from error
    except BREAKS as error:
        raise ToolingError(
            "picture_breaks_off",
            _("{name} breaks off or is damaged: it was not wholly sent. Take or choose it again."),
            name=name,
            in_field="file",
        ) from error

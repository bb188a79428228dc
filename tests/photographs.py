"""Photographs as phones make them, and a reader of JPEG files that is not Pillow."""

from __future__ import annotations

import io
import struct

from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

RED, BLUE = (200, 30, 30), (30, 30, 200)
UPSIDE = {1: (0, 0), 3: (1, 1), 6: (0, 1), 8: (1, 0)}
"""By EXIF orientation: in which corner of the stored pixels the upright picture's upper left
corner lies, as (right, low)."""


def a_png(width: int = 64, height: int = 48, **options: object) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), RED).save(out, "PNG", **options)
    return out.getvalue()


def a_photo(
    width: int = 1200, height: int = 900, *, orientation: int = 1, corner: int = 0
) -> bytes:
    """A JPEG of blue with one red quarter, taken at 48° 12′ N by a phone that says who it is.

    ``orientation`` is what EXIF says; the red quarter is the stored pixels' upper left, or with
    ``corner`` 1 to 3 the next clockwise.
    """
    picture = Image.new("RGB", (width, height), BLUE)
    left = (width // 2) * (corner in (1, 2))
    top = (height // 2) * (corner in (2, 3))
    picture.paste(RED, (left, top, left + width // 2, top + height // 2))
    exif = Image.Exif()
    exif[Base.Orientation] = orientation
    exif[Base.Make] = "Phonemaker"
    exif[Base.Artist] = "Somebody Particular"
    exif.get_ifd(IFD.GPSInfo).update({GPS.GPSLatitudeRef: "N", GPS.GPSLatitude: (48.0, 12.0, 30.5)})
    out = io.BytesIO()
    picture.save(
        out,
        "JPEG",
        quality=90,
        exif=exif.tobytes(),
        comment=b"Secret comment",
        xmp=b"<x:xmpmeta>secret place</x:xmpmeta>",
    )
    return out.getvalue()


def segments(jpeg: bytes) -> list[tuple[int, bytes]]:
    """The markers of a JPEG file with what they hold, up to the pixels, by ISO/IEC 10918-1."""
    assert jpeg[:2] == b"\xff\xd8"
    found, at = [], 2
    while True:
        assert jpeg[at] == 0xFF, "a segment begins with FF"
        marker, length = jpeg[at + 1], struct.unpack(">H", jpeg[at + 2 : at + 4])[0]
        found.append((marker, jpeg[at + 4 : at + 2 + length]))
        at += 2 + length
        if marker == 0xDA:
            return found


def size_of(jpeg: bytes) -> tuple[int, int]:
    """Width and height by the frame header."""
    [frame] = [held for marker, held in segments(jpeg) if marker in (0xC0, 0xC1, 0xC2)]
    height, width = struct.unpack(">HH", frame[1:5])
    return width, height

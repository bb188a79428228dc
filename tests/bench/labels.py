"""1,000 labels: time against the bare encoding, memory of a process of its own, read back."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from dataclasses import dataclass

import pypdfium2
import qrcode
import zxingcpp

from tests.bench.clock import seconds
from tests.bench.label_memory import texts
from tooling.paper.labels import labels_pdf

DPI = 150
MASK = 3
"""The mask that the labels use; any fixed one costs the same."""


@dataclass(frozen=True)
class Measured:
    """What ``measure`` found."""

    bare_seconds: float
    ratio: float
    peak_mb: float
    unread: int


def measure(pieces: list[tuple[str, str]]) -> Measured:
    """``pieces``: (code, mark) pairs."""
    bare = min(seconds(lambda: _encode(pieces)) for _ in range(3))
    whole = min(seconds(lambda: _draw(pieces)) for _ in range(3))
    peak = json.loads(
        subprocess.run(
            [sys.executable, "-m", "tests.bench.label_memory"],
            input=json.dumps(pieces), stdout=subprocess.PIPE, text=True, check=True,
        ).stdout
    )  # fmt: skip
    unread = {code for code, _mark in pieces} - _read_back(_draw(pieces))
    return Measured(bare, whole / bare, peak, len(unread))


def _encode(pieces: list[tuple[str, str]]) -> None:
    for code, _mark in pieces:
        symbol = qrcode.QRCode(
            version=1,
            error_correction=qrcode.constants.ERROR_CORRECT_H,
            mask_pattern=MASK,
            border=0,
        )
        symbol.add_data(qrcode.util.QRData(code, mode=qrcode.util.MODE_ALPHA_NUM))
        symbol.make(fit=False)


def _draw(pieces: list[tuple[str, str]]) -> bytes:
    return labels_pdf(texts(pieces), size="a4-24")


def _read_back(pdf: bytes) -> set[str]:
    found: set[str] = set()
    document = pypdfium2.PdfDocument(io.BytesIO(pdf))
    for page in document:
        image = page.render(scale=DPI / 72, grayscale=True).to_pil()
        found |= {barcode.text for barcode in zxingcpp.read_barcodes(image)}
    return found

"""The most memory of a process that only draws labels: pieces on standard input, MB on output."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from django.conf import settings

from tooling.paper.label_layout import LabelText
from tooling.paper.labels import labels_pdf


def texts(pieces: list[tuple[str, str]]) -> list[LabelText]:
    """A label's text for each (code, mark)."""
    return [LabelText(code, mark or code, ("roll",), "roll") for code, mark in pieces]


def most_memory_mb() -> float:
    """The high-water mark since this program began; ``getrusage`` counts its parent too."""
    status = Path("/proc/self/status").read_text().splitlines()
    return next(float(line.split()[1]) / 1024 for line in status if line.startswith("VmHWM"))


if __name__ == "__main__":
    settings.configure(USE_I18N=False)
    labels_pdf(texts([(code, mark) for code, mark in json.load(sys.stdin)]), size="a4-24")
    print(most_memory_mb())

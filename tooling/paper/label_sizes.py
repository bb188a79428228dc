"""Label stock by plain names: sheets of A4 and Letter, and single labels. All in millimetres."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError

MM_PER_IN = 25.4
A4 = (210.0, 297.0)
LETTER = (8.5 * MM_PER_IN, 11 * MM_PER_IN)


@dataclass(frozen=True)
class LabelSize:
    """One kind of label stock: the label, and how labels lie on the page (one: a roll of labels).

    ``module_step_mm`` is what a module's size is a multiple of: printers of single labels have
    eight dots to a millimetre, and a module of whole dots prints sharp.
    """

    name: str
    width_mm: float
    height_mm: float
    page_mm: tuple[float, float]
    columns: int = 1
    rows: int = 1
    left_mm: float = 0.0
    top_mm: float = 0.0
    pitch_x_mm: float = 0.0
    pitch_y_mm: float = 0.0
    module_step_mm: float = 0.01

    @property
    def per_page(self) -> int:
        return self.columns * self.rows

    def corner_mm(self, index: int) -> tuple[float, float]:
        """The upper left corner of the label at this index on its page, from the page's own."""
        row, column = divmod(index % self.per_page, self.columns)
        return self.left_mm + column * self.pitch_x_mm, self.top_mm + row * self.pitch_y_mm


def _sheet(
    name: str,
    page: tuple[float, float],
    grid: tuple[int, int],
    label: tuple[float, float],
    pitch: tuple[float, float],
) -> LabelSize:
    """A sheet whose block of labels is centred on the page."""
    columns, rows = grid
    return LabelSize(
        name, *label, page, columns, rows,
        left_mm=(page[0] - pitch[0] * (columns - 1) - label[0]) / 2,
        top_mm=(page[1] - pitch[1] * (rows - 1) - label[1]) / 2,
        pitch_x_mm=pitch[0], pitch_y_mm=pitch[1],
    )  # fmt: skip


def _single(name: str, width: float, height: float, unit_mm: float = 1.0) -> LabelSize:
    page = (width * unit_mm, height * unit_mm)
    return LabelSize(name, *page, page, module_step_mm=0.125)


_ALL = (
    _sheet("a4-24", A4, (3, 8), (70.0, 36.0), (70.0, 36.0)),
    _sheet("a4-21", A4, (3, 7), (63.5, 38.1), (66.04, 38.1)),
    _sheet("a4-14", A4, (2, 7), (99.1, 38.1), (101.6, 38.1)),
    _sheet("a4-65", A4, (5, 13), (38.1, 21.2), (40.6, 21.2)),
    _sheet("letter-30", LETTER, (3, 10), (66.675, 25.4), (69.85, 25.4)),
    _sheet("letter-20", LETTER, (2, 10), (101.6, 25.4), (106.3625, 25.4)),
    _sheet("letter-10", LETTER, (2, 5), (101.6, 50.8), (106.3625, 50.8)),
    _single("25x25", 25, 25),
    _single("38x19", 38, 19),
    _single("50x25", 50, 25),
    _single("62x29", 62, 29),
    _single("70x40", 70, 40),
    _single("100x50", 100, 50),
    _single("100x150", 100, 150),
    _single("1x1in", 1, 1, MM_PER_IN),
    _single("2x1in", 2, 1, MM_PER_IN),
    _single("3x2in", 3, 2, MM_PER_IN),
    _single("4x2in", 4, 2, MM_PER_IN),
    _single("4x6in", 4, 6, MM_PER_IN),
)

SIZES: Mapping[str, LabelSize] = MappingProxyType({size.name: size for size in _ALL})
"""Every kind of label stock by its name."""


def size_named(name: str) -> LabelSize:
    """The label stock of this name. Raises ToolingError ``unknown_label_size``."""
    if name not in SIZES:
        raise ToolingError(
            "unknown_label_size",
            _("There is no label size “{name}”. Choose one of: {sizes}."),
            name=name[:40],
            sizes=", ".join(SIZES),
        )
    return SIZES[name]

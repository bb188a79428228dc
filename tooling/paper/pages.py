"""Sheets of A4 or Letter made of blocks that are not broken. Points from the lower left.

A first pass breaks the blocks into pages, a second draws them, so that each page can say of how
many it is one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, Protocol

from django.utils.translation import gettext_lazy
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfgen.canvas import Canvas

from tooling.errors import ToolingError
from tooling.paper.faces import PT_PER_MM

PaperName = Literal["a4", "letter"]
PAPERS: Mapping[str, tuple[float, float]] = MappingProxyType({"a4": A4, "letter": LETTER})

MARGIN = 14 * PT_PER_MM
FOOT = 16 * PT_PER_MM


@dataclass(frozen=True, slots=True)
class Room:
    """The room for blocks on a page of this size."""

    width: float
    height: float

    @property
    def left(self) -> float:
        return MARGIN

    @property
    def right(self) -> float:
        return self.width - MARGIN

    @property
    def top(self) -> float:
        return self.height - MARGIN

    @property
    def bottom(self) -> float:
        return FOOT + MARGIN / 2


class Draw(Protocol):
    """Draws a block with its upper edge at ``top``."""

    def __call__(self, canvas: Canvas, top: float) -> None: ...


@dataclass(frozen=True, slots=True)
class Block:
    """A part of a sheet that is not broken; ``leads`` stays with the block after it."""

    height: float
    draw: Draw
    leads: bool = False


def paper_size(paper: str) -> tuple[float, float]:
    """Width and height. Raises ToolingError ``unknown_paper``."""
    if paper not in PAPERS:
        raise ToolingError(
            "unknown_paper",
            gettext_lazy("“{paper}” is no paper that is printed here. Choose a4 or letter."),
            paper=str(paper)[:20],
        )
    return PAPERS[paper]


def broken(blocks: Sequence[Block], room: Room) -> list[list[Block]]:
    """Blocks onto pages; one that leads never stands last on one."""
    pages: list[list[Block]] = [[]]
    left = room.top - room.bottom
    for index, block in enumerate(blocks):
        following = blocks[index + 1].height if block.leads and index + 1 < len(blocks) else 0
        if pages[-1] and block.height + following > left:
            pages.append([])
            left = room.top - room.bottom
        pages[-1].append(block)
        left -= block.height
    return pages


def draw_blocks(canvas: Canvas, room: Room, blocks: Sequence[Block]) -> None:
    """One page's blocks from its top down."""
    y = room.top
    for block in blocks:
        block.draw(canvas, y)
        y -= block.height


def rule(canvas: Canvas, room: Room, y: float, line: float) -> None:
    """A line across, ``line`` points thick."""
    canvas.setLineWidth(line)
    canvas.line(room.left, y, room.right, y)

"""The setup sheet on A4 or Letter: stacks from the shoulder, gaps with their packs, last good
numbers, boxes to tick, black on white. Points from the lower left of the page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from django.utils.translation import gettext as _
from reportlab.pdfgen.canvas import Canvas

from tooling.paper.faces import (
    BOLD,
    PT_PER_MM,
    REGULAR,
    draw_text,
    plain,
    shortened,
    width_of,
    wrapped,
)
from tooling.paper.frame import (
    BODY,
    SMALL,
    caution_blocks,
    coded_head,
    draw_foot,
    draw_triangles,
    heading_block,
    lines_block,
    pages_pdf,
    sentence_block,
    tick_box,
    together,
)
from tooling.paper.pages import Block, PaperName, Room, paper_size, rule
from tooling.paper.setup_rows import SettingLine, SetupPaper, ShaftPart, StackLine, StationPart

_BOX = 4 * PT_PER_MM
_NAME, _LINE, _UNDER = 11.5, 14.5, 11.0
_GUTTER = 12.0
_PAD = 3.5
_TURN = 17.0
_SETTING = 23.0
_FIGURES = (44.0, 54.0, 48.0)
"""Columns of mass, drive diameter and width, from the right."""
_TALLEST, _PART = 0.92, 0.45
"""A station that takes more of a page than the first is broken between its rows, into parts of
about the second, which fill pages well."""

CAUTION_WORDS = {"heavy": 1, "two_people": 2}


def setup_sheet_pdf(sheet: SetupPaper, *, paper: PaperName = "a4") -> bytes:
    """The sheet as a PDF. Raises ToolingError ``unknown_paper``; ValueError for a bad kit code."""
    room = Room(*paper_size(paper))
    return pages_pdf(
        _blocks(sheet, room),
        room,
        title=f"{_('Setup sheet')} {sheet.title}",
        foot=partial(_draw_foot, room=room, sheet=sheet),
    )


def _blocks(sheet: SetupPaper, room: Room) -> Iterator[Block]:
    yield coded_head(
        title=f"{_('Setup sheet')} {sheet.title}", lines="", facts=sheet.facts,
        code=sheet.kit_code, room=room,
    )  # fmt: skip
    yield Block(30, partial(_draw_proof, room=room, sheet=sheet))
    yield from caution_blocks(room)
    for note in sheet.notes:
        lines = wrapped(plain(note), REGULAR, 10, room.right - room.left, 3)
        yield lines_block(lines, 13.5 * len(lines) + 3, room, face=REGULAR)
    if not sheet.stations:
        yield sentence_block(_("The kit puts nothing on any shaft yet."), room)
    for station in sheet.stations:
        yield from _station(station, room)
    if sheet.line:
        yield heading_block(_("On the line"), "", room)
        for line in sheet.line:
            yield _one_line(line, room)


def _draw_proof(canvas: Canvas, top: float, *, room: Room, sheet: SetupPaper) -> None:
    """The word in a frame, filled where the numbers are proved, with the reason beside."""
    word = plain(sheet.proof)
    width = width_of(word, BOLD, 13) + 16
    canvas.setLineWidth(1.4)
    canvas.rect(room.left, top - 24, width, 20, stroke=1, fill=1 if sheet.is_proved else 0)
    canvas.saveState()
    if sheet.is_proved:
        canvas.setFillGray(1)
    draw_text(canvas, room.left + 8, top - 18.5, word, face=BOLD, size=13)
    canvas.restoreState()
    left = room.left + width + 10
    why = shortened(plain(sheet.proof_why), REGULAR, BODY, room.right - left)
    draw_text(canvas, left, top - 18, why, size=BODY)


def _station(station: StationPart, room: Room) -> Iterator[Block]:
    """One block where it fits on a page, else its rows one by one under repeated headings."""
    rows = [*_stack_rows(station, room), *_numbers(station, room)]
    head = heading_block(station.title, station.code, room)
    page = room.top - room.bottom
    part: list[Block] = []
    height = head.height
    whole = height + sum(row.height for row in rows)
    most = (_TALLEST if whole <= _TALLEST * page else _PART) * page
    for row in rows:
        if part and height + row.height > most:
            yield together([head, *part])
            again = _("{station} (goes on)").format(station=station.title)
            head = heading_block(again, station.code, room)
            part, height = [], head.height
        part.append(row)
        height += row.height
    yield together([head, *part])


def _stack_rows(station: StationPart, room: Room) -> Iterator[Block]:
    """Top and bottom side by side, in order from the shoulder."""
    if not station.shafts:
        return
    width = (room.right - room.left - _GUTTER) / 2
    yield Block(17, partial(_draw_titles, room=room, shafts=station.shafts, width=width))
    for index in range(max(len(shaft.lines) for shaft in station.shafts)):
        pair = [
            shaft.lines[index] if index < len(shaft.lines) else None for shaft in station.shafts
        ]
        cells = [None if line is None else _Cell(line, width) for line in pair]
        height = max(cell.height for cell in cells if cell is not None)
        yield Block(height, partial(_draw_pair, room=room, cells=cells, width=width))


def _draw_titles(
    canvas: Canvas, top: float, *, room: Room, shafts: Sequence[ShaftPart], width: float
) -> None:
    for index, shaft in enumerate(shafts):
        x = room.left + index * (width + _GUTTER)
        draw_text(canvas, x, top - 12, plain(shaft.title), face=BOLD, size=BODY)
        total = plain(shaft.total)
        draw_text(canvas, x + width - width_of(total, REGULAR, SMALL), top - 12, total, size=SMALL)


def _draw_pair(
    canvas: Canvas, top: float, *, room: Room, cells: Sequence[_Cell | None], width: float
) -> None:
    for index, cell in enumerate(cells):
        if cell is not None:
            cell.draw(canvas, room.left + index * (width + _GUTTER), top)


class _Cell:
    """One thing of a stack in a column: what it says, broken to the column's width."""

    def __init__(self, line: StackLine, width: float) -> None:
        self.line, self.width = line, width
        self.left = _BOX + 6 + (_TURN if line.turn else 0)
        across = width - self.left
        name = plain(line.name)
        room = across - _figures_width(line.figures) - 6
        self.beside = width_of(name, BOLD, _NAME) <= room
        self.names = [name] if self.beside else wrapped(name, BOLD, _NAME, across, 2)
        under = plain(" · ".join(filter(None, (line.code, line.what))))
        self.under = wrapped(under, REGULAR, SMALL, across, 2)
        self.notes = wrapped(plain(line.note), BOLD, SMALL, across, 3)

    @property
    def height(self) -> float:
        small = len(self.under) + len(self.notes) + (0 if self.beside else 1)
        return 2 * _PAD + _LINE * len(self.names) + _UNDER * small

    def draw(self, canvas: Canvas, x: float, top: float) -> None:
        """Box, turn, name large, figures at the right; what it is and what to mind underneath."""
        canvas.setLineWidth(0.35)
        canvas.line(x, top, x + self.width, top)
        y = top - _PAD - _NAME * 0.85
        tick_box(canvas, x, y - 2, _BOX)
        draw_text(canvas, x + _BOX + 6, y, plain(self.line.turn), size=SMALL)
        if self.beside:
            _draw_figures(canvas, x + self.width, y, self.line.figures)
        for name in self.names:
            draw_text(canvas, x + self.left, y, name, face=BOLD, size=_NAME)
            y -= _LINE
        y += _LINE - _UNDER - 1
        if not self.beside:
            _draw_figures(canvas, x + self.width, y, self.line.figures)
            y -= _UNDER
        for under in self.under:
            draw_text(canvas, x + self.left, y, under, size=SMALL)
            y -= _UNDER
        self._draw_notes(canvas, x, y)

    def _draw_notes(self, canvas: Canvas, x: float, y: float) -> None:
        for index, note in enumerate(self.notes):
            at = x + self.left
            if index == 0 and self.line.caution in CAUTION_WORDS:
                at = draw_triangles(canvas, at, y, CAUTION_WORDS[self.line.caution])
            fits = shortened(note, BOLD, SMALL, x + self.width - at)
            draw_text(canvas, at, y, fits, face=BOLD, size=SMALL)
            y -= _UNDER


def _figures_width(figures: Sequence[str]) -> float:
    """How much room the figures take from the right."""
    wide = [width_of(plain(each), REGULAR, 10) if each else 0.0 for each in figures]
    if len(figures) != len(_FIGURES):
        return sum(wide) + 6 * len(wide)
    first = next((index for index, each in enumerate(wide) if each), len(wide))
    behind = sum(
        max(each + 6, column)
        for each, column in zip(wide[first + 1 :], _FIGURES[::-1][first + 1 :], strict=True)
    )
    return behind + (wide[first] if first < len(wide) else 0.0)


def _draw_figures(canvas: Canvas, right: float, y: float, figures: Sequence[str]) -> None:
    """From the right, each under the one above it where there are three."""
    columns = _FIGURES if len(figures) == len(_FIGURES) else ()
    for index, figure in enumerate(reversed(figures)):
        said = plain(figure)
        wide = width_of(said, REGULAR, 10)
        if said:
            draw_text(canvas, right - wide, y, said, size=10)
        right -= max(wide + 6, columns[index] if columns else 0)


def _one_line(line: StackLine, room: Room) -> Block:
    cell = _Cell(line, room.right - room.left)

    def draw(canvas: Canvas, top: float) -> None:
        cell.draw(canvas, room.left, top)

    return Block(cell.height, draw)


def _numbers(station: StationPart, room: Room) -> Iterator[Block]:
    """Side rolls, how the pass is gapped, moves, then a line for each number to set."""
    if station.side:
        yield _word(_("Side rolls"), room)
        yield from (_one_line(line, room) for line in station.side)
    for word, said in station.gap:
        yield _fact(word, said, room)
    for said in station.problems:
        yield from _sentences(said, room, face=BOLD)
    for said in (*station.moves, station.note):
        yield from _sentences(said, room, face=REGULAR)
    if station.settings:
        yield Block(15, partial(_draw_setting_head, room=room))
        for line in station.settings:
            yield _setting(line, room)
    yield Block(6, _nothing)


def _nothing(canvas: Canvas, top: float) -> None:
    """Room below a station."""


def _word(said: str, room: Room) -> Block:
    def draw(canvas: Canvas, top: float) -> None:
        draw_text(canvas, room.left, top - 12, plain(said), face=BOLD, size=BODY)

    return Block(16, draw)


def _fact(word: str, said: str, room: Room) -> Block:
    column = 30 * PT_PER_MM
    lines = wrapped(plain(said), BOLD, BODY, room.right - room.left - column, 2)

    def draw(canvas: Canvas, top: float) -> None:
        draw_text(canvas, room.left, top - 11, plain(word), size=SMALL)
        for index, line in enumerate(lines):
            y = top - 11 - 13 * index
            draw_text(canvas, room.left + column, y, line, face=BOLD, size=BODY)

    return Block(14 + 13 * (len(lines) - 1), draw)


def _sentences(said: str, room: Room, *, face: str) -> Iterator[Block]:
    if said:
        lines = wrapped(plain(said), face, 10, room.right - room.left, 3)
        yield lines_block(lines, 13.5 * len(lines) + 2, room, face=face)


def _columns(room: Room) -> tuple[float, float, float]:
    """Where target, last good and what is set begin."""
    width = room.right - room.left
    return room.left + 0.27 * width, room.left + 0.41 * width, room.left + 0.79 * width


def _draw_setting_head(canvas: Canvas, top: float, *, room: Room) -> None:
    target, last, found = _columns(room)
    heads = ((room.left, _("To set")), (target, _("Target")), (last, _("Last good, for today")),
             (found, _("As set")))  # fmt: skip
    for x, word in heads:
        draw_text(canvas, x, top - 11, plain(word), size=SMALL)


def _setting(line: SettingLine, room: Room) -> Block:
    """A number with room to write what was set; a struck number has a line through it."""
    target, last, found = _columns(room)

    def draw(canvas: Canvas, top: float) -> None:
        rule(canvas, room, top, 0.35)
        y = top - 14
        tick_box(canvas, room.left, y - 2, _BOX)
        left = room.left + _BOX + 6
        name = shortened(plain(line.name), BOLD, BODY, target - left - 6)
        draw_text(canvas, left, y, name, face=BOLD, size=BODY)
        draw_text(canvas, target, y, plain(line.target), face=BOLD, size=BODY)
        said = shortened(plain(line.last), REGULAR, BODY, 0.45 * (found - last))
        draw_text(canvas, last, y, said, size=BODY)
        end = last + width_of(said, REGULAR, BODY)
        if line.is_struck:
            canvas.setLineWidth(1.1)
            canvas.line(last - 1, y + 3.4, end + 1, y + 3.4)
        if line.why:
            room_for = found - end - 12
            lines = wrapped(plain(line.why), REGULAR, 8, room_for, 2)
            for index, each in enumerate(lines):
                at = y + (4 if len(lines) > 1 else 0) - 9 * index
                draw_text(canvas, end + 6, at, each, size=8)
        canvas.setLineWidth(0.7)
        canvas.line(found, y - 3, room.right, y - 3)

    return Block(_SETTING, draw)


def _draw_foot(canvas: Canvas, number: int, of: int, *, room: Room, sheet: SetupPaper) -> None:
    """The kit's code, revision, date and page on every sheet."""
    version = _("version {n}").format(n=sheet.version)
    left = plain(" · ".join(filter(None, (sheet.kit_code, sheet.revision, version))))
    stamp = f"{sheet.printed_at:%Y-%m-%d %H:%M}"
    draw_foot(canvas, room, left=left, stamp=stamp, number=number, of=of, aside=24)

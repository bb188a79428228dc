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
_WIDEST_STATION = 0.92
"""A station that takes more of a page than this is broken between its rows."""

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
    most = _WIDEST_STATION * (room.top - room.bottom)
    part: list[Block] = []
    height = head.height
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
        height = max(_stack_height(line, width) for line in pair if line is not None)
        yield Block(height, partial(_draw_pair, room=room, pair=pair, width=width))


def _draw_titles(
    canvas: Canvas, top: float, *, room: Room, shafts: Sequence[ShaftPart], width: float
) -> None:
    for index, shaft in enumerate(shafts):
        x = room.left + index * (width + _GUTTER)
        draw_text(canvas, x, top - 12, plain(shaft.title), face=BOLD, size=BODY)
        total = plain(shaft.total)
        draw_text(canvas, x + width - width_of(total, REGULAR, SMALL), top - 12, total, size=SMALL)


def _draw_pair(
    canvas: Canvas, top: float, *, room: Room, pair: Sequence[StackLine | None], width: float
) -> None:
    for index, line in enumerate(pair):
        if line is not None:
            _draw_stack_line(canvas, room.left + index * (width + _GUTTER), top, line, width)


def _under(line: StackLine) -> str:
    return plain(" · ".join(filter(None, (line.code, line.what))))


def _notes(line: StackLine, width: float) -> list[str]:
    return wrapped(plain(line.note), BOLD, SMALL, width - _TURN - _BOX - 6, 3)


def _stack_height(line: StackLine, width: float) -> float:
    lines = bool(_under(line)) + len(_notes(line, width))
    return 2 * _PAD + _LINE + _UNDER * lines


def _draw_stack_line(canvas: Canvas, x: float, top: float, line: StackLine, width: float) -> None:
    """Box, turn, name large, figures at the right; what it is and what to mind underneath."""
    canvas.setLineWidth(0.35)
    canvas.line(x, top, x + width, top)
    y = top - _PAD - _NAME * 0.85
    tick_box(canvas, x, y - 2, _BOX)
    left = x + _BOX + 6
    draw_text(canvas, left, y, plain(line.turn), size=SMALL)
    right = _draw_figures(canvas, x + width, y, line.figures)
    name = shortened(plain(line.name), BOLD, _NAME, right - left - _TURN - 6)
    draw_text(canvas, left + _TURN, y, name, face=BOLD, size=_NAME)
    y -= _UNDER + 1
    if _under(line):
        fits = shortened(_under(line), REGULAR, SMALL, width - _BOX - 6 - _TURN)
        draw_text(canvas, left + _TURN, y, fits, size=SMALL)
        y -= _UNDER
    for index, note in enumerate(_notes(line, width)):
        at = left + _TURN
        if index == 0 and line.caution in CAUTION_WORDS:
            at = draw_triangles(canvas, left + _TURN, y, CAUTION_WORDS[line.caution])
        fits = shortened(note, BOLD, SMALL, x + width - at)
        draw_text(canvas, at, y, fits, face=BOLD, size=SMALL)
        y -= _UNDER


def _draw_figures(canvas: Canvas, right: float, y: float, figures: Sequence[str]) -> float:
    """From the right, each under the one above it where there are three; where they begin."""
    begins = right
    columns = _FIGURES if len(figures) == len(_FIGURES) else ()
    for index, figure in enumerate(reversed(figures)):
        said = plain(figure)
        wide = width_of(said, REGULAR, 10)
        if said:
            draw_text(canvas, right - wide, y, said, size=10)
            begins = right - wide
        right -= max(wide + 6, columns[index] if columns else 0)
    return begins


def _one_line(line: StackLine, room: Room) -> Block:
    width = room.right - room.left

    def draw(canvas: Canvas, top: float) -> None:
        _draw_stack_line(canvas, room.left, top, line, width)

    return Block(_stack_height(line, width), draw)


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

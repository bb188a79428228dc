"""The rows of a kit's list, written by hand: hundreds of them are shown anew with every scan, and
a template would take most of the page's time for them."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from django import template
from django.template import Context
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from tooling.queries.kit_views import KitPage, PositionView, StationView
from tooling.templatetags.rollroom import SHAFT_WORDS, STATE_WORDS, length, mass

register = template.Library()


class _Words:
    """What every row says, looked up once."""

    def __init__(self, context: Context, kit: KitPage, may_tick: bool) -> None:
        self.context = context
        self.base = reverse("kit", args=[kit.number])
        self.may_tick = may_tick
        self.states = {state: escape(str(word)) for state, word in STATE_WORDS.items()}
        self.shafts = {shaft: escape(str(word)) for shaft, word in SHAFT_WORDS.items()}
        self.here, self.todo = escape(_("It is here")), escape(_("What to do"))
        self.line, self.on_line = escape(_("On the line")), escape(_("pass {number}, no. {order}"))
        self.new = escape(_("new, not proved yet"))
        self.note = escape(_("older revision, with note"))
        self.unseen, self.substitute = escape(_("not yet seen")), escape(_("substitute"))


@register.simple_tag(takes_context=True)
def kit_rows(context: Context, kit: KitPage, may_gather: bool = False) -> SafeString:
    """A ``tbody`` for each station that has positions, in the order of the ribbon, and one for
    what stands on the line."""
    words = _Words(context, kit, may_tick=may_gather and kit.is_open and bool(kit.place))
    bodies = [_body(words, station) for station in kit.stations if station.positions]
    if kit.line:
        bodies.append(_line_body(words, kit.line))
    return mark_safe("".join(bodies))


def _body(words: _Words, station: StationView) -> str:
    rows = "".join([_row(words, each) for each in station.positions])
    return f'<tbody role="rowgroup" id="list-{station.number}">{rows}</tbody>\n'


def _line_body(words: _Words, line: Sequence[PositionView]) -> str:
    head = (
        '<tr role="row" class="group"><th scope="rowgroup" role="rowheader" colspan="7">'
        f"{words.line}</th></tr>"
    )
    rows = "".join([_row(words, each) for each in line])
    return f'<tbody role="rowgroup" id="list-line">{head}\n{rows}</tbody>\n'


def _row(words: _Words, row: PositionView) -> str:
    way = f"{words.base}stations/{row.station}/{row.shaft}/#p-{row.order}"
    name = f"{row.station} {words.shafts[row.shaft]} {row.order}"
    if row.is_on_the_line:
        name = escape(row.where) or words.on_line.format(number=row.pass_number, order=row.order)
    width = length(words.context, row.face_width_nm, row.unit, unit=False)
    diameter = length(words.context, row.greatest_diameter_nm, row.unit)
    weighs = "" if row.mass_kg is None else mass(row.mass_kg)
    return (
        f'<tr role="row" data-code="{escape(row.code)}" data-state="{row.state}" '
        f'data-station="{row.station}" data-shaft="{row.shaft}" data-order="{row.order}">'
        f'<th scope="row" role="rowheader"><a href="{way}">{name}</a></th>'
        f'<td role="cell">{_state(words, row)}</td>'
        f'<td role="cell">{_piece(words, row)}</td>'
        f'<td role="cell" class="number">{escape(width)}</td>'
        f'<td role="cell" class="number">{escape(diameter)}</td>'
        f'<td role="cell" class="number">{escape(weighs)}</td>'
        f'<td role="cell">{_to_do(words, row, way)}</td></tr>\n'
    )


def _state(words: _Words, row: PositionView) -> str:
    where = f'<span class="where">{escape(row.place)}</span>' if row.place else ""
    return (
        f'<span class="state" data-state="{row.state}">'
        f'<svg class="shape" aria-hidden="true"><use href="#state-{row.state}"></use></svg>'
        f"<span>{words.states[row.state]}</span>{where}</span>"
    )


def _piece(words: _Words, row: PositionView) -> str:
    parts = [f"<strong>{escape(row.mark)}</strong>"] if row.mark else []
    if row.code:
        parts.append(f'<span class="tag">{escape(row.code)}</span>')
    if not row.mark:
        parts.append(escape(row.drawing))
    if row.not_yet_seen:
        parts.append(f'<span class="quiet">{words.unseen}</span>')
    if row.is_new:
        parts.append(f'<span class="quiet">{words.new}</span>')
    if row.revision_note:
        parts.append(f'<span class="quiet" title="{escape(row.revision_note)}">{words.note}</span>')
    if row.is_substitute:
        parts.append(f'<span class="quiet">{words.substitute}</span>')
    return " ".join(parts)


def _to_do(words: _Words, row: PositionView, way: str) -> str:
    if row.state == "to_fetch" and words.may_tick:
        return f'<button name="position" value="{row.id}">{words.here}</button>'
    return f'<a href="{way}">{words.todo}</a>' if row.is_trouble else ""

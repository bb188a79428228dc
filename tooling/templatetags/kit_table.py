"""The rows of a kit's list, written by hand: hundreds of them are shown anew with every scan, and
a template would take most of the page's time for them."""

from __future__ import annotations

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
        self.unseen, self.substitute = escape(_("not yet seen")), escape(_("substitute"))


@register.simple_tag(takes_context=True)
def kit_rows(context: Context, kit: KitPage, may_gather: bool = False) -> SafeString:
    """A ``tbody`` for each station that has positions, in the order of the ribbon."""
    words = _Words(context, kit, may_tick=may_gather and kit.is_open and bool(kit.place))
    bodies = [_body(words, station) for station in kit.stations if station.positions]
    return mark_safe("".join(bodies))


def _body(words: _Words, station: StationView) -> str:
    rows = "".join([_row(words, each) for each in station.positions])
    return f'<tbody role="rowgroup" id="list-{station.number}">{rows}</tbody>\n'


def _row(words: _Words, row: PositionView) -> str:
    way = f"{words.base}stations/{row.station}/{row.shaft}/#p-{row.order}"
    name = f"{row.station} {words.shafts[row.shaft]} {row.order}"
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
    if row.is_substitute:
        parts.append(f'<span class="quiet">{words.substitute}</span>')
    return " ".join(parts)


def _to_do(words: _Words, row: PositionView, way: str) -> str:
    if row.state == "to_fetch" and words.may_tick:
        return f'<button name="position" value="{row.id}">{words.here}</button>'
    return f'<a href="{way}">{words.todo}</a>' if row.is_trouble else ""

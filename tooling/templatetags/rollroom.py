"""Tags and filters of the pages. They show what they are given: none of them asks the database."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

from django import template
from django.template import Context
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.engineering.lengths import (
    format_length,
    format_strip_length,
    say_gauged,
    say_length,
)
from tooling.engineering.money import say_money
from tooling.models import Fill
from tooling.pictures.state_marks import STATE_WORDS
from tooling.queries.kit_views import PositionView
from tooling.queries.kit_words import where_words
from tooling.templatetags.person_time import say_day, say_time

register = template.Library()

SHAFT_WORDS = {
    "top": gettext_lazy("top"),
    "bottom": gettext_lazy("bottom"),
    "side": gettext_lazy("side"),
    "line": gettext_lazy("on the line"),
}

KM_PER_MILE = 1.609344
UNKNOWN = "–"


@register.simple_tag(takes_context=True)
def length(
    context: Context,
    nm: int | None,
    drawn_in: str = "mm",
    decimals: int | None = None,
    unit: bool = True,
) -> str:
    """A length in the unit of the person's choice; *as drawn* means the unit it was written in."""
    if nm is None:
        return UNKNOWN
    chosen = getattr(context.get("user"), "length_unit", "drawn")
    shown: Any = chosen if chosen in ("mm", "in") else drawn_in or "mm"
    if decimals is None and shown != drawn_in:
        said = say_length(nm, shown)
        return said if unit else said.removesuffix(f" {shown}")
    said = format_length(nm, shown, decimals)
    return f"{said} {shown}" if unit else said


@register.simple_tag(takes_context=True)
def gauged(
    context: Context, nm: int | None, drawn_in: str = "mm", step_nm: int | None = None,
    written: bool = False, unit: bool = True,
) -> str:  # fmt: skip
    """A reckoned length in the unit of the person's choice, no finer than a gauge reads.
    ``step_nm``: with the decimals of that gauge, see ``say_gauged``."""
    if nm is None:
        return UNKNOWN
    chosen = getattr(context.get("user"), "length_unit", "drawn")
    shown: Any = chosen if chosen in ("mm", "in") else drawn_in or "mm"
    if step_nm is not None:
        said = say_gauged(nm, shown, step_nm, written=written)
    else:
        said = say_length(nm, shown)
    return said if unit else said.removesuffix(f" {shown}")


@register.simple_tag(takes_context=True)
def strip_length(context: Context, nm: int | None) -> str:
    """A length of strip in the person's m or ft, in whole ones, thousands apart."""
    if nm is None:
        return UNKNOWN
    unit: Any = getattr(context.get("user"), "strip_unit", "m") or "m"
    whole = int(format_strip_length(nm, unit, 0))
    return f"{whole:,} {unit}".replace(",", "\u202f")


@register.filter
def thousands(n: int | None) -> str:
    """A whole number with its thousands apart."""
    return UNKNOWN if n is None else f"{n:,}".replace(",", "\u202f")


@register.simple_tag
def money(cents: int | None, currency: str = "") -> str:
    """An amount in the shop's currency; a dash for what nobody valued."""
    return UNKNOWN if cents is None else say_money(cents, currency)


@register.simple_tag(takes_context=True)
def money_of_strip(context: Context, cents_per_km: float | None, currency: str = "") -> str:
    """What strip costs for each km, or each mile where the person counts strip in feet."""
    if cents_per_km is None:
        return UNKNOWN
    if getattr(context.get("user"), "strip_unit", "m") == "ft":
        cents = round(cents_per_km * KM_PER_MILE)
        return _("{amount} a mile").format(amount=say_money(cents, currency))
    return _("{amount} a km").format(amount=say_money(round(cents_per_km), currency))


@register.filter
def mass(kg: float | None) -> str:
    """A mass with no more figures than a hand or a scale can tell."""
    if kg is None:
        return _("mass not known")
    return f"{kg:.1f} kg" if kg < 100 else f"{kg:.0f} kg"


@register.simple_tag(takes_context=True)
def when(context: Context, moment: datetime | None) -> str | SafeString:
    """A time as a person says it; exact in print and under ``datetime``."""
    if moment is None:
        return UNKNOWN
    at = context.get("at") or timezone.now()
    exact = date_format(timezone.localtime(moment), "Y-m-d H:i")
    return format_html(
        '<time datetime="{}" title="{}"><span class="screen-only">{}</span>'
        '<span class="print-only">{}</span></time>',
        moment.isoformat(),
        exact,
        say_time(moment, at=at),
        exact,
    )


@register.simple_tag(takes_context=True)
def on_day(context: Context, day: date) -> SafeString:
    """A day of which no hour is known, as a person says it; exact in print and ``datetime``."""
    today = timezone.localdate(context.get("at") or timezone.now())
    return format_html(
        '<time datetime="{0}" title="{0}"><span class="screen-only">{1}</span>'
        '<span class="print-only">{0}</span></time>',
        day.isoformat(),
        say_day(day, today=today),
    )


@register.simple_tag
def state_mark(state: str, where: str = "") -> SafeString:
    """A state as its shape and its word, and for a ring or an arrow the place beside it."""
    return format_html(
        '<span class="state" data-state="{}">{}<span>{}</span>{}</span>',
        state,
        state_shape(state),
        STATE_WORDS[state],
        format_html('<span class="where">{}</span>', where) if where else "",
    )


@register.simple_tag
def state_shape(state: str) -> SafeString:
    """Only the shape; the word must stand near it."""
    return format_html(
        '<svg class="shape" aria-hidden="true"><use href="#state-{}"></use></svg>', state
    )


@register.filter
def state_word(state: str) -> str:
    return str(STATE_WORDS[state])


@register.filter
def shaft_word(shaft: str) -> str:
    return str(SHAFT_WORDS[shaft])


@register.filter
def fill_word(fill: str) -> str:
    """Which fill of a shaft, in words."""
    return str(dict(Fill.choices).get(fill, fill))


@register.filter
def position_words(position: PositionView) -> str:
    """Where a position of a kit is: its station and shaft, or where on the line."""
    if position.is_on_the_line:
        said = where_words(position.pass_number, position.shaft, position.order, position.where)
        return f"{said[:1].upper()}{said[1:]}"
    return _("Station {station}, {shaft}, {order}").format(
        station=position.station, shaft=SHAFT_WORDS[position.shaft], order=position.order
    )


@register.simple_tag
def icon(name: str) -> SafeString:
    """A line picture from parts/icons.html; words stand beside it."""
    return format_html(
        '<svg class="icon" aria-hidden="true" fill="none" stroke="currentColor" '
        'stroke-width="1.75"><use href="#icon-{}"></use></svg>',
        name,
    )


@register.simple_tag
def tag(code: str, url: str = "") -> SafeString:
    """A label code as the tally that hangs on the piece, a link when there is a page."""
    if not code:
        return SafeString("")
    if url:
        return format_html(
            '<a class="tag-link" href="{}"><span class="tag">{}</span></a>', url, code
        )
    return format_html('<span class="tag">{}</span>', code)


@register.filter
def place_path(path_name: str) -> str | SafeString:
    """``Room / Rack B / B3`` with the innermost place, the one to walk to, in bold."""
    if not path_name:
        return UNKNOWN
    *outer, inner = path_name.split(" / ")
    return format_html(
        '<span class="place">{}<strong>{}</strong></span>',
        format_html_join("", '{} <span class="quiet">›</span> ', ((name,) for name in outer)),
        inner,
    )


@register.filter
def beside(cells: Sequence[Any], labels: Iterable[str]) -> list[tuple[str, Any]]:
    """Each cell with the heading of its column."""
    return list(zip(labels, cells, strict=True))

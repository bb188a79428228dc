"""Filters of the setup pages. They show what they are given."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from django import template
from django.template import Context
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.models import CheckLevel
from tooling.queries.setup_against import NumberPair
from tooling.templatetags.rollroom import UNKNOWN, length

register = template.Library()
ENDS = {"inboard": gettext_lazy("inboard end"), "outboard": gettext_lazy("outboard end")}


@register.filter
def of(values: Mapping[str, Any], key: str) -> Any:
    """The value of a key, nothing where there is none."""
    return values.get(key, "")


@register.filter
def end_word(end: str) -> str:
    return str(ENDS.get(end, end))


@register.filter
def checked_word(level: str) -> str:
    """How much was scanned."""
    return str(CheckLevel(level).label) if level else _("nothing")


@register.filter
def per_100(value: float) -> str:
    """A tilt, without its sign: the end that stands wider is named beside it."""
    return f"{abs(value):.3f}"


@register.filter
def minutes(lasted: timedelta | None) -> str:
    """How long something took, to the minute."""
    if lasted is None:
        return UNKNOWN
    hours, rest = divmod(round(lasted.total_seconds() / 60), 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


@register.simple_tag(takes_context=True)
def number(context: Context, value: float | None, pair: NumberPair, unit: str) -> str:
    """A number of two setups compared: a length in the person's unit, else in its own."""
    if value is None:
        return UNKNOWN
    if pair.is_length:
        return length(context, round(value), unit)
    return f"{value:g} {pair.unit}"

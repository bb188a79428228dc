"""Words and figures of the pages about counts."""

from __future__ import annotations

from django import template
from django.utils.translation import gettext_lazy as _

from tooling.templatetags.rollroom import UNKNOWN

register = template.Library()

OUTCOME_WORDS = {
    "found": _("found"),
    "missing": _("missing"),
    "moved": _("moved meanwhile"),
    "away": _("away"),
    "extra": _("extra"),
    "came": _("came meanwhile"),
    "agrees": _("agrees"),
    "differs": _("differs"),
    "uncounted": _("not counted"),
}
OFTEN_WORDS = {"often": _("moved most"), "middle": _("now and then"), "rest": _("seldom")}
DUE_WORDS = {
    "overdue": _("overdue"),
    "never": _("never counted"),
    "today": _("today"),
    "soon": _("soon"),
    "later": _("later"),
}


@register.filter
def outcome_word(outcome: str) -> str:
    """What became of a piece or bin, in a word or two."""
    return str(OUTCOME_WORDS[outcome])


@register.filter
def often_word(how_often: str) -> str:
    """How often things move in a place."""
    return str(OFTEN_WORDS[how_often])


@register.filter
def due_word(due: str) -> str:
    """When something is due to be counted."""
    return str(DUE_WORDS[due])


@register.filter
def share(value: float | None) -> str:
    """A share of 0 to 1 in percent with one decimal."""
    return UNKNOWN if value is None else f"{value * 100:.1f} %"
